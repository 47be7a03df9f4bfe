"""Prediction as the judge: can process and field say what a batch never seen will taste like?

Whole growers, and whole seasons, are left out; what is compared is the error on them with the
error of simply saying the mean of the others.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import listed
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.study import Tasted
from origin_compare.drivers.model.usable_batches import (
    Kept,
    ProfileLike,
    numbers_of,
    refuse_below,
)
from origin_compare.drivers.wording import PROCESS, STILL, USUAL, Limits, joined, plain, title
from origin_compare.errors import NotEnoughData
from origin_compare.estimates import false_discovery

if TYPE_CHECKING:
    from sklearn.model_selection import GridSearchCV, GroupKFold

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
    tasted = Tasted(batches, profile, tuple(leave_out), limits)
    return foresight_of(tasted, predictors, origin, attributes=attributes, seed=seed)


def foresight_of(
    tasted: Tasted,
    predictors: Iterable[str] | None = None,
    origin: str = "grower_id",
    *,
    attributes: Iterable[str] | None = None,
    seed: int = 0,
) -> Foresight:
    """`foresight` of batches already settled."""
    wanted = list(predictors) if predictors is not None else [*PROCESS, *STILL, *AGRONOMY]
    used, absent = _recorded(tasted.ended(), wanted, strict=predictors is not None)
    told = list(tasted.profile.told) if attributes is None else attributes
    study = tasted.study(used, origin, attributes=told, still=())
    rows, names = study.rows, list(study.names)
    refuse_below(len(rows), 2 * FEWEST_GROUPS, "Foretelling")
    groups = pd.factorize(rows[origin].astype(str))[0]
    if not names or groups.max() + 1 < FEWEST_GROUPS:
        raise NotEnoughData(
            f"{len(names)} attributes told apart and {groups.max() + 1} {title(origin)}s: "
            f"foretelling needs one attribute and {FEWEST_GROUPS} {title(origin)}s at least."
        )
    X = numbers_of(rows, used)
    known = _Known(X[:, X.std(axis=0) > 0], study.panel.scores, groups, names)
    parts = [_judged(origin, known, groups, seed, tasted.limits)]
    if "season" in rows and rows["season"].nunique() > 1 and origin != "season":
        seasons = pd.factorize(rows["season"].astype(str))[0]
        parts.append(_judged("season", known, seasons, seed, tasted.limits))
    table = pd.concat(parts, ignore_index=True)
    return Foresight(table, tuple(used), tuple(absent), origin, study.kept)


@dataclass(frozen=True)
class _Known:
    """Figures `X` (n x k), scores `Y` (n x A, `names`) and grower codes `units` (n)."""

    X: Array
    Y: Array
    units: NDArray[np.intp]
    names: list[str]


def _recorded(ended: pd.DataFrame, wanted: list[str], strict: bool) -> tuple[list[str], list[str]]:
    if strict:
        return wanted, []
    used = [
        name
        for name in wanted
        if name in ended and ended[name].notna().mean() >= 0.9 and ended[name].nunique() > 1
    ]
    return used, [name for name in wanted if name not in used]


def _judged(
    left_out: str, known: _Known, folds: NDArray[np.intp], seed: int, limits: Limits
) -> pd.DataFrame:
    """Errors of each method on every fold left out, tested over growers."""
    mean, foretold = _foretold(known, folds)
    base = (known.Y - mean) ** 2
    rng = np.random.default_rng(seed)
    rows = [
        {"left_out": left_out, "method": method, "attribute": name}
        | _compared(ours, of_mean, wide, known.units, rng)
        for method in METHODS
        for name, ours, of_mean, wide in _by_attribute(
            (known.Y - foretold[method]) ** 2, base, known.names
        )
    ]
    table = pd.DataFrame(rows)
    single = (table["attribute"] != WHOLE).to_numpy()
    over_methods = np.minimum(1.0, table["p"] * len(METHODS))
    table["q"] = false_discovery(table["p"], single).where(single, over_methods)
    good = (table["gain"] > 0) & (table["q"] <= limits.clear_q)
    table["verdict"] = np.where(good, BETTER, NO_BETTER)
    return table


def _foretold(known: _Known, folds: NDArray[np.intp]) -> tuple[Array, dict[str, Array]]:
    """What the mean and each method foretell of every batch while its fold is left out."""
    # Imported here: it takes a second, and most pages never ask for it.
    from sklearn.model_selection import LeaveOneGroupOut

    mean = np.empty_like(known.Y)
    foretold = {method: np.empty_like(known.Y) for method in METHODS}
    for kept, out in LeaveOneGroupOut().split(known.X, groups=folds):
        X, Y, units, new = known.X[kept], known.Y[kept], known.units[kept], known.X[out]
        mean[out] = Y.mean(axis=0)
        foretold["ridge"][out] = _ridge(X, Y, units, new)
        search = _least_squares_parts(X, Y).fit(X, Y, groups=units)
        foretold["partial least squares"][out] = search.predict(new).reshape(len(new), -1)
    return mean, foretold


def _by_attribute(own: Array, base: Array, names: list[str]) -> list[tuple[str, Array, Array, int]]:
    """Squared errors of a method and of the mean: the whole profile, then each attribute."""
    whole = (WHOLE, own.sum(axis=1), base.sum(axis=1), len(names))
    return [whole, *((name, own[:, k], base[:, k], 1) for k, name in enumerate(names))]


def _compared(
    ours: Array, of_mean: Array, wide: int, units: NDArray[np.intp], rng: np.random.Generator
) -> dict[str, float]:
    return {
        "error": float(np.sqrt(ours.mean() / wide)),
        "error_of_mean": float(np.sqrt(of_mean.mean() / wide)),
        "gain": float(1 - ours.sum() / of_mean.sum()),
        "p": _sign_flip(of_mean - ours, units, rng),
    }


FLIPS = 999


def _sign_flip(saved: Array, units: NDArray[np.intp], rng: np.random.Generator) -> float:
    """One-sided: is the error saved, summed by grower, more than chance signs would give."""
    from scipy.stats import permutation_test

    found = permutation_test(
        (np.bincount(units, weights=saved),),
        np.sum,
        permutation_type="samples",
        alternative="greater",
        n_resamples=FLIPS,
        vectorized=True,
        rng=rng,
    )
    return float(found.pvalue)


def _ridge(X: Array, Y: Array, units: NDArray[np.intp], new: Array) -> Array:
    """Ridge with one strength per attribute, chosen by leaving growers out inside.

    By hand: a search over a library's ridge fits each strength, fold and attribute anew, where
    one decomposition serves all strengths and attributes (see the contributor guide).
    """
    from sklearn.preprocessing import StandardScaler

    scaler = StandardScaler().fit(X)
    X, new = scaler.transform(X), scaler.transform(new)
    errors = np.zeros((len(STRENGTHS), Y.shape[1]))
    for inside, out in _inner().split(X, groups=units):
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


def _least_squares_parts(X: Array, Y: Array) -> GridSearchCV:
    """Partial least squares; the number of components (none is one choice) chosen inside."""
    from sklearn.cross_decomposition import PLSRegression
    from sklearn.dummy import DummyRegressor
    from sklearn.model_selection import GridSearchCV
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    most = min(MOST_COMPONENTS, X.shape[1], len(X) - 2)
    steps: list[Any] = [
        DummyRegressor(),
        *(PLSRegression(k, scale=False) for k in range(1, most + 1)),
    ]
    return GridSearchCV(
        make_pipeline(StandardScaler(), DummyRegressor()),
        {"dummyregressor": steps},
        scoring="neg_mean_squared_error",
        cv=_inner(),
    )


INNER = 4


def _inner() -> GroupKFold:
    """Four folds of whole growers among those kept."""
    from sklearn.model_selection import GroupKFold

    return GroupKFold(INNER)


def _gain(gain: float) -> str:
    percent = 100 * (1 - np.sqrt(max(0.0, 1 - gain))) if gain > 0 else 0.0
    if percent < 0.5:
        return "no smaller error"
    return f"an error {plain(percent, 0)} % smaller than that of the mean"
