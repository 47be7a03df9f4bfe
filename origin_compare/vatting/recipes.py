"""Recipes from stock towards a wanted profile: shares of pure alcohol, litres, and the doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.optimize import minimize, nnls
from scipy.stats import norm

from origin_compare.answers import count, listed
from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.families.profiles import points
from origin_compare.measures import litres_of_alcohol

if TYPE_CHECKING:
    from origin_compare.panel import Profile

FIRST_GUESS = (
    "A vat's profile as the mean of its parts, weighted by pure alcohol, is a first guess: "
    "thresholds and masking do not add up. Blend a bench sample and nose it before any cask."
)
_SMALLEST_SHARE = 0.02


@dataclass(frozen=True)
class Recipe:
    """One recipe. `parts`: batch_id, share (of pure alcohol), lpa, litres, strength_pct.

    `predicted`: attribute, target, predicted, low, high (95 %, panel error only), gap.
    `distance`: root mean square gap to the target in score points, with `low` and `high`.
    """

    parts: pd.DataFrame
    predicted: pd.DataFrame
    distance: float
    low: float
    high: float
    strength_pct: float

    def words(self) -> str:
        """`18 % B-07 (120 L), 82 % B-31 (540 L)`."""
        parts = [
            f"{part.share:.0%} {part.batch_id} ({part.litres:,.0f} L)"
            for part in self.parts.itertuples()
        ]
        return listed(parts, most=12)


@dataclass(frozen=True)
class Recipes:
    """Recipes in order of how near they come to the target."""

    ranked: tuple[Recipe, ...]
    lpa: float
    batches_in_stock: int
    attributes: tuple[str, ...]
    ignored: tuple[str, ...]

    def sentence(self) -> str:
        best = self.ranked[0]
        tied = sum(recipe.low <= best.high for recipe in self.ranked) - 1
        text = (
            f"The nearest recipe is {best.words()}: {best.distance:.2f} points from the target "
            f"({best.low:.2f} to {best.high:.2f})."
        )
        if tied:
            text += f" The panel cannot tell it from {count(tied, 'other recipe')} listed here."
        return text

    def table(self) -> pd.DataFrame:
        """One row per recipe and batch: recipe, batch_id, share, lpa, litres, distance."""
        rows = [
            recipe.parts.assign(recipe=place, distance=recipe.distance)
            for place, recipe in enumerate(self.ranked, start=1)
        ]
        order = ["recipe", "batch_id", "share", "lpa", "litres", "strength_pct", "distance"]
        return pd.concat(rows, ignore_index=True)[order]

    def rests_on(self) -> str:
        text = (
            f"{count(self.batches_in_stock, 'batch')} in stock with a panel profile, "
            f"{count(len(self.attributes), 'attribute')} the panel can tell apart; litres of each "
            f"batch as made, for {self.lpa:,.0f} L of pure alcohol. {FIRST_GUESS}"
        )
        if self.ignored:
            text += f" Wanted but not used, as the panel cannot tell them: {listed(self.ignored)}."
        return text


def recipes(
    profile: Profile | pd.DataFrame,
    stock: pd.DataFrame,
    target: pd.Series,
    lpa: float | None = None,
    most_batches: int = 4,
    how_many: int = 5,
    must_hold: Sequence[str] = (),
) -> Recipes:
    """Recipes from stock that come nearest to `target`.

    `stock`: batch_id, new_make_l, new_make_abv_pct (what is available; litres at 20 °C).
    `target`: attribute -> wanted score. `lpa`: litres of pure alcohol wanted; without it a tenth
    of the stock. `most_batches`: parts a recipe may have; `must_hold`: batches it has to hold.
    Shares are shares of pure alcohol; no part exceeds its stock or falls under 2 %.
    Raises `UnknownName` for a target attribute or batch that is not there, `NotEnoughData` if the
    stock cannot give the volume.
    """
    used = points(profile, fewest=1)
    wanted, ignored = _wanted(target, used.mean.columns, used.left_out)
    held = _stock(stock, used.mean.index)
    _known(must_hold, held["batch_id"])
    total = float(held["lpa"].sum()) / 10 if lpa is None else float(lpa)
    _enough(held, total, most_batches)
    mean = used.mean.loc[held["batch_id"], wanted.index].to_numpy()
    error = used.error.loc[held["batch_id"], wanted.index].to_numpy()
    limits = np.minimum(held["lpa"].to_numpy() / total, 1.0)
    forced = [int(np.flatnonzero(held["batch_id"] == batch)[0]) for batch in must_hold]
    found: dict[tuple[int, ...], np.ndarray] = {}
    for start in range(len(held)):
        chosen = _grow(mean, wanted.to_numpy(), limits, [*forced, start], most_batches)
        if chosen is not None:
            found[chosen[0]] = chosen[1]
    if not found:
        raise NotEnoughData(
            f"No {most_batches} batches together hold {total:,.0f} L of pure alcohol. "
            "Ask for less, or allow more batches in a recipe."
        )
    made = [
        _recipe(held, rows, shares, mean, error, wanted, total) for rows, shares in found.items()
    ]
    ranked = sorted(made, key=lambda recipe: recipe.distance)[:how_many]
    return Recipes(tuple(ranked), total, len(held), tuple(wanted.index), ignored)


def _wanted(
    target: pd.Series, told: pd.Index, not_told: Sequence[str]
) -> tuple[pd.Series, tuple[str, ...]]:
    strange = [name for name in target.index if name not in told and name not in not_told]
    if strange:
        raise UnknownName(
            f"The panel does not score {listed(strange)}. "
            f"Name attributes from {listed([*told, *not_told], most=30)}."
        )
    usable = target[[name for name in target.index if name in told]].dropna().astype(float)
    if usable.empty:
        raise NotEnoughData(
            "The target names only attributes on which the panel cannot tell batches apart. "
            f"Name at least one of {listed(list(told), most=30)}."
        )
    return usable, tuple(name for name in target.index if name in not_told)


def _stock(stock: pd.DataFrame, scored: pd.Index) -> pd.DataFrame:
    held = stock[["batch_id", "new_make_l", "new_make_abv_pct"]].dropna()
    held = held[held["batch_id"].isin(scored) & (held["new_make_l"] > 0)]
    if held.empty:
        raise NotEnoughData(
            "No batch has both a panel profile and litres of new make with a strength. "
            "Take in the spirits sheet first."
        )
    alcohol = litres_of_alcohol(held["new_make_l"], held["new_make_abv_pct"])
    return held.assign(lpa=alcohol).reset_index(drop=True)


def _known(must_hold: Sequence[str], held: pd.Series) -> None:
    missing = [batch for batch in must_hold if batch not in set(held)]
    if missing:
        raise UnknownName(
            f"{listed(missing)} cannot be in a recipe: no stock, or no panel profile. "
            "Choose among the batches in the stock table."
        )


def _enough(held: pd.DataFrame, total: float, most_batches: int) -> None:
    reach = float(held["lpa"].nlargest(most_batches).sum())
    if not 0 < total <= reach:
        raise NotEnoughData(
            f"{total:,.0f} L of pure alcohol is outside what {most_batches} batches can give "
            f"(0 to {reach:,.0f} L). Ask for less, or allow more batches in a recipe."
        )


def _grow(
    mean: np.ndarray, wanted: np.ndarray, limits: np.ndarray, start: list[int], most: int
) -> tuple[tuple[int, ...], np.ndarray] | None:
    """Add the batch that helps most until none helps or `most` is reached, then settle shares."""
    chosen = list(dict.fromkeys(start))[:most]
    while len(chosen) < most:
        gaps = [
            _rough(mean, wanted, [*chosen, row])
            if row not in chosen and _can_fill(limits, [*chosen, row], most)
            else np.inf
            for row in range(len(mean))
        ]
        best = int(np.argmin(gaps))
        if np.isinf(gaps[best]):
            break
        enough = limits[chosen].sum() >= 1
        if enough and not gaps[best] < _rough(mean, wanted, chosen) - 1e-6:
            break
        chosen.append(best)
    if limits[chosen].sum() < 1:
        return None
    return _settle(mean, wanted, limits, chosen)


def _can_fill(limits: np.ndarray, chosen: list[int], most: int) -> bool:
    """Whether these batches, with the largest others that still fit, can give the volume."""
    others = np.delete(limits, chosen)
    free = most - len(chosen)
    largest = np.sort(others)[::-1][:free]
    return bool(limits[chosen].sum() + largest.sum() >= 1)


def _rough(mean: np.ndarray, wanted: np.ndarray, rows: list[int]) -> float:
    """Squared gap of the best non-negative shares adding to one (as a heavy extra equation)."""
    heavy = 1e3
    left = np.vstack([mean[rows].T, np.full(len(rows), heavy)])
    return float(nnls(left, np.append(wanted, heavy))[1])


def _settle(
    mean: np.ndarray, wanted: np.ndarray, limits: np.ndarray, rows: list[int]
) -> tuple[tuple[int, ...], np.ndarray]:
    rows = sorted(rows)
    shares = _shares(mean[rows], wanted, limits[rows])
    keep = shares >= _SMALLEST_SHARE
    if not keep.all() and limits[rows][keep].sum() >= 1:
        rows = [row for row, kept in zip(rows, keep, strict=True) if kept]
        shares = _shares(mean[rows], wanted, limits[rows])
    return tuple(rows), shares


def _shares(mean: np.ndarray, wanted: np.ndarray, limits: np.ndarray) -> np.ndarray:
    start = limits / limits.sum()
    best = minimize(
        lambda shares: float(((shares @ mean - wanted) ** 2).sum()),
        start,
        jac=lambda shares: 2 * mean @ (shares @ mean - wanted),
        bounds=[(0.0, float(limit)) for limit in limits],
        constraints={"type": "eq", "fun": lambda s: s.sum() - 1, "jac": np.ones_like},
        method="SLSQP",
        options={"ftol": 1e-10},
    )
    return np.clip(best.x, 0, limits)


def _recipe(
    held: pd.DataFrame,
    rows: tuple[int, ...],
    shares: np.ndarray,
    mean: np.ndarray,
    error: np.ndarray,
    wanted: pd.Series,
    total: float,
) -> Recipe:
    picked = held.iloc[list(rows)]
    lpa = shares * total
    litres = lpa / picked["new_make_abv_pct"].to_numpy() * 100
    parts = pd.DataFrame(
        {
            "batch_id": picked["batch_id"].to_numpy(),
            "share": shares,
            "lpa": lpa,
            "litres": litres,
            "strength_pct": picked["new_make_abv_pct"].to_numpy(),
        }
    ).sort_values("share", ascending=False, ignore_index=True)
    predicted = shares @ mean[list(rows)]
    se = np.sqrt(shares**2 @ error[list(rows)] ** 2)
    reach = norm.ppf(0.975) * se
    gap = predicted - wanted.to_numpy()
    distance, spread = _distance(gap, se)
    return Recipe(
        parts=parts,
        predicted=pd.DataFrame(
            {
                "attribute": wanted.index,
                "target": wanted.to_numpy(),
                "predicted": predicted,
                "low": predicted - reach,
                "high": predicted + reach,
                "gap": gap,
            }
        ),
        distance=distance,
        low=max(distance - spread, 0.0),
        high=distance + spread,
        strength_pct=float(total / litres.sum() * 100),
    )


def _distance(gap: np.ndarray, se: np.ndarray) -> tuple[float, float]:
    """Root mean square gap, and the half width of its 95 % interval (first-order error)."""
    distance = float(np.sqrt((gap**2).mean()))
    if distance == 0:
        return 0.0, float(norm.ppf(0.975) * np.sqrt((se**2).mean()))
    slope = gap / (len(gap) * distance)
    return distance, float(norm.ppf(0.975) * np.sqrt((slope**2 * se**2).sum()))
