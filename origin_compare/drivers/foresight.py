"""Prediction as the judge: can process and field say what a batch never seen will taste like?

Whole growers, and whole seasons, are left out; what is compared is the error on them with the
error of simply saying the mean of the others.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from origin_compare.answers import listed
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.usable_batches import (
    Kept,
    ProfileLike,
    chosen,
    keep,
    numbers_of,
    refuse_below,
    scores_of,
)
from origin_compare.drivers.wording import PROCESS, STILL, USUAL, Limits, joined, plain, title
from origin_compare.errors import NotEnoughData

AGRONOMY = (
    "grain_n_pct_dm",
    "screenings_pct",
    "thousand_grain_g",
    "rain_mm",
    "mean_temp_c",
    "extract_pct_dm",
    "fan_mg_l",
    "og_sg",
)
METHODS = ("ridge", "partial least squares")
STRENGTHS = np.logspace(-1, 4, 16)
MOST_COMPONENTS = 3
FEWEST_GROUPS = 5
"""Growers below which leaving each out in turn says too little to test."""


@dataclass(frozen=True)
class Foresight:
    """How well batches of growers (or seasons) never seen were foretold.

    `scores`: one row per left-out unit kind, method and attribute ("all told apart" first):
        `left_out, method, attribute, error` (root mean square, score points), `error_of_mean`,
        `gain` (1 less the ratio of squares; negative is worse than the mean), `p` (sign-flip test
        over growers), `q` (over methods for the whole, over attributes and methods for one;
        Bonferroni and Benjamini-Hochberg), `verdict`.
    """

    scores: pd.DataFrame
    predictors: tuple[str, ...]
    not_used: tuple[str, ...]
    origin: str
    kept: Kept

    def table(self) -> pd.DataFrame:
        """One row per method, attribute and what was left out."""
        return self.scores.copy()

    def sentence(self) -> str:
        """Whether anything beats the mean for a grower never seen."""
        return " ".join(self._said(unit) for unit in self.scores["left_out"].unique())

    def _said(self, unit: str) -> str:
        told = self.scores[self.scores["left_out"] == unit]
        whole = told[told["attribute"] == WHOLE].sort_values("gain", ascending=False)
        best = whole.to_dict("records")[0]
        name = title(unit)
        if best["verdict"] != BETTER:
            return (
                f"For a {name} never seen, process and field foretell the profile no better than "
                f"the mean of the others (best: {best['method']}, {_gain(best['gain'])})."
            )
        rows = told[(told["method"] == best["method"]) & (told["verdict"] == BETTER)]
        which = [a for a in rows["attribute"] if a != WHOLE]
        on = f", most plainly {listed(which)}" if which else ""
        return (
            f"For a {name} never seen, {best['method']} on process and field foretells the profile "
            f"with {_gain(best['gain'])}{on}."
        )

    def rests_on(self) -> str:
        """Batches, predictors, what was not recorded."""
        absent = (
            f" Not recorded well enough to use: {joined(title(n) for n in self.not_used)}."
            if self.not_used
            else ""
        )
        return (
            f"{self.kept.words()} Predictors: {joined(title(n) for n in self.predictors)}.{absent} "
            "Settings of each method were chosen inside the batches kept, never on those left out."
        )


WHOLE = "all told apart"
BETTER, NO_BETTER = "better than the mean", "no better than the mean"


def foresight(
    batches: pd.DataFrame,
    profile: ProfileLike,
    predictors: Iterable[str] | None = None,
    origin: str = "grower_id",
    *,
    attributes: Iterable[str] | None = None,
    leave_out: Iterable[str] = (),
    seed: int = 0,
    limits: Limits = USUAL,
) -> Foresight:
    """Ridge and partial least squares from process and field to the profile, against the mean.

    `predictors`: columns; by default process, still and field figures recorded for nine batches
    in ten. Raises NotEnoughData for fewer than five growers or no attribute told apart.
    """
    wanted = list(predictors) if predictors is not None else [*PROCESS, *STILL, *AGRONOMY]
    used, absent = _recorded(batches, wanted, strict=predictors is not None)
    kept = keep(batches, profile, used, origin, (), leave_out)
    refuse_below(len(kept.rows), 2 * FEWEST_GROUPS, "Foretelling")
    names = chosen(profile, list(profile.told) if attributes is None else attributes)
    groups = pd.factorize(kept.rows[origin].astype(str))[0]
    if not names or groups.max() + 1 < FEWEST_GROUPS:
        raise NotEnoughData(
            f"{len(names)} attributes told apart and {groups.max() + 1} {title(origin)}s: "
            f"foretelling needs one attribute and {FEWEST_GROUPS} {title(origin)}s at least."
        )
    X = numbers_of(kept.rows, used)
    X = X[:, X.std(axis=0) > 0]
    scores, _ = scores_of(kept, profile, names)
    parts = [_judged(origin, X, scores, groups, groups, names, seed, limits)]
    if "season" in kept.rows and kept.rows["season"].nunique() > 1 and origin != "season":
        seasons = pd.factorize(kept.rows["season"].astype(str))[0]
        parts.append(_judged("season", X, scores, seasons, groups, names, seed, limits))
    return Foresight(pd.concat(parts, ignore_index=True), tuple(used), tuple(absent), origin, kept)


def _recorded(
    batches: pd.DataFrame, wanted: list[str], strict: bool
) -> tuple[list[str], list[str]]:
    if strict:
        return wanted, []
    there = "status" in batches
    ended = batches[~batches["status"].eq("fermenting")] if there else batches
    used = [
        name
        for name in wanted
        if name in ended and ended[name].notna().mean() >= 0.9 and ended[name].nunique() > 1
    ]
    return used, [name for name in wanted if name not in used]


def _judged(
    left_out: str,
    X: Array,
    Y: Array,
    folds: NDArray[np.intp],
    units: NDArray[np.intp],
    names: list[str],
    seed: int,
    limits: Limits,
) -> pd.DataFrame:
    """Errors of each method on every fold left out, tested over `units`."""
    foretold = {method: np.empty_like(Y) for method in METHODS}
    mean = np.empty_like(Y)
    for fold in range(int(folds.max()) + 1):
        out = folds == fold
        mean[out] = Y[~out].mean(axis=0)
        for method in METHODS:
            foretold[method][out] = _foretell(method, X[~out], Y[~out], units[~out], X[out])
    base = (Y - mean) ** 2
    rng = np.random.default_rng(seed)
    rows = []
    for method in METHODS:
        own = (Y - foretold[method]) ** 2
        for k, name in [(None, WHOLE), *enumerate(names)]:
            ours = own.sum(axis=1) if k is None else own[:, k]
            mean_of = base.sum(axis=1) if k is None else base[:, k]
            wide = len(names) if k is None else 1
            rows.append(
                {
                    "left_out": left_out,
                    "method": method,
                    "attribute": name,
                    "error": float(np.sqrt(ours.mean() / wide)),
                    "error_of_mean": float(np.sqrt(mean_of.mean() / wide)),
                    "gain": float(1 - ours.sum() / mean_of.sum()),
                    "p": _sign_flip(mean_of - ours, units, rng),
                }
            )
    table = pd.DataFrame(rows)
    single = table["attribute"] != WHOLE
    table["q"] = table["p"]
    table.loc[~single, "q"] = np.minimum(1.0, table.loc[~single, "p"] * len(METHODS))
    table.loc[single, "q"] = stats.false_discovery_control(table.loc[single, "p"])
    good = (table["gain"] > 0) & (table["q"] <= limits.clear_q)
    table["verdict"] = np.where(good, BETTER, NO_BETTER)
    return table


FLIPS = 999


def _sign_flip(saved: Array, units: NDArray[np.intp], rng: np.random.Generator) -> float:
    """One-sided: is the error saved, summed by grower, more than chance signs would give."""
    by_unit = np.bincount(units, weights=saved)
    flips = rng.choice([-1.0, 1.0], size=(FLIPS, len(by_unit)))
    reached = int((flips @ by_unit >= by_unit.sum() * (1 - 1e-12)).sum())
    return (reached + 1) / (FLIPS + 1)


def _foretell(method: str, X: Array, Y: Array, units: NDArray[np.intp], new: Array) -> Array:
    """Predictions for `new` after scaling and settings chosen inside the batches kept."""
    centre, scale = X.mean(axis=0), X.std(axis=0)
    scale = np.where(scale > 0, scale, 1.0)
    X, new = (X - centre) / scale, (new - centre) / scale
    if method == "ridge":
        return _ridge(X, Y, units, new)
    return _least_squares_parts(X, Y, units, new)


def _ridge(X: Array, Y: Array, units: NDArray[np.intp], new: Array) -> Array:
    """Ridge with one strength per attribute, chosen by leaving growers out inside."""
    errors = np.zeros((len(STRENGTHS), Y.shape[1]))
    for inside, out in _inner(units):
        found = _ridge_path(X[inside], Y[inside], X[out])
        errors += ((found - Y[out]) ** 2).sum(axis=1)
    path = _ridge_path(X, Y, new)
    best = errors.argmin(axis=0)
    return np.asarray(path[best, :, np.arange(Y.shape[1])].T)


def _ridge_path(X: Array, Y: Array, new: Array) -> Array:
    """Predictions for every strength (strengths x new rows x attributes)."""
    centre, level = X.mean(axis=0), Y.mean(axis=0)
    left, singular, right = np.linalg.svd(X - centre, full_matrices=False)
    shrink = singular / (singular**2 + STRENGTHS[:, None])
    rotated = (new - centre) @ right.T
    return np.asarray((rotated * shrink[:, None, :]) @ (left.T @ (Y - level)) + level)


def _least_squares_parts(X: Array, Y: Array, units: NDArray[np.intp], new: Array) -> Array:
    """Partial least squares; the number of components (none is one choice) chosen inside."""
    most = min(MOST_COMPONENTS, X.shape[1], len(X) - 2)
    errors = np.zeros(most + 1)
    for inside, out in _inner(units):
        for components in range(most + 1):
            found = _pls(X[inside], Y[inside], X[out], components)
            errors[components] += float(((found - Y[out]) ** 2).sum())
    return _pls(X, Y, new, int(errors.argmin()))


def _pls(X: Array, Y: Array, new: Array, components: int) -> Array:
    if components == 0:
        return np.broadcast_to(Y.mean(axis=0), (len(new), Y.shape[1])).copy()
    # Imported here: it takes a second, and most pages never ask for it.
    from sklearn.cross_decomposition import PLSRegression

    model: Any = PLSRegression(n_components=components, scale=False)
    return np.asarray(model.fit(X, Y).predict(new)).reshape(len(new), Y.shape[1])


INNER = 4


def _inner(units: NDArray[np.intp]) -> list[tuple[NDArray[np.bool_], NDArray[np.bool_]]]:
    """Four folds of whole growers among those kept."""
    order = np.unique(units)
    folds = np.arange(len(order)) % INNER
    place = folds[np.searchsorted(order, units)]
    return [(place != fold, place == fold) for fold in range(INNER) if (place == fold).any()]


def _gain(gain: float) -> str:
    percent = 100 * (1 - np.sqrt(max(0.0, 1 - gain))) if gain > 0 else 0.0
    if percent < 0.5:
        return "no smaller error"
    return f"an error {plain(percent, 0)} % smaller than that of the mean"
