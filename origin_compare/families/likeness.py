"""How alike a batch is to the others, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.stats import norm

from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.families.profiles import Points, points

if TYPE_CHECKING:
    from origin_compare.panel import Profile

ALIKE, DIFFERENT, UNDECIDED = "alike inside the margin", "different", "cannot tell"


@dataclass(frozen=True)
class Likeness:
    """The other batches in order of their distance from one batch.

    `_table`: batch_id, distance (root mean square of the differences, in score points, panel
    error taken out), low, high (95 %), in_nearest_five (chance, 0-1), differs_most_on (attribute),
    verdict.
    """

    batch_id: str
    margin: float
    used: Points
    _table: pd.DataFrame

    def sentence(self) -> str:
        nearest = self._table["batch_id"].head(3).tolist()
        verdicts = self._table["verdict"].value_counts()
        alike, differ, open_ = (int(verdicts.get(one, 0)) for one in (ALIKE, DIFFERENT, UNDECIDED))
        known = f"{count(alike, 'batch') if alike else 'none'} can be called alike inside"
        return (
            f"Nearest to {self.batch_id} are {listed(nearest)}; {known} "
            f"{_points(self.margin)}, {differ} differ"
            + (f", and for {open_} the panel cannot tell." if open_ else ".")
        )

    def table(self) -> pd.DataFrame:
        """One row per other batch, nearest first; see the class for the columns."""
        return self._table

    def rests_on(self) -> str:
        attributes = self.used.mean.shape[1]
        return (
            f"{count(attributes, 'attribute')} the panel can tell apart. Alike means that every "
            f"attribute's difference, with its 95 % interval over all attributes together, stays "
            f"inside {_points(self.margin)}; different, that at least one interval leaves out "
            "zero; over all attributes together the distance may still be small."
        )


def nearest(
    profile: Profile | pd.DataFrame,
    batch_id: str,
    margin: float = 1.0,
    seed: int = 1,
    draws: int = 2000,
) -> Likeness:
    """Every other batch by its distance from `batch_id`, with three verdicts.

    `margin`: the difference in score points that would not matter, set beforehand. Verdicts are
    those of simultaneous (Bonferroni) intervals: inside the margin is shown sameness (two
    one-sided tests, Schuirmann 1987), and a difference not shown is not called sameness.
    Raises `UnknownName` for a batch that has no full profile.
    """
    used = points(profile, fewest=2)
    if batch_id not in used.mean.index:
        raise UnknownName(
            f"Batch {batch_id} has no full panel profile, so nothing can be called like it. "
            "Choose a batch that was tasted."
        )
    others = used.mean.index != batch_id
    gap = used.mean[others].to_numpy() - used.mean.loc[batch_id].to_numpy()
    error = np.hypot(used.error[others].to_numpy(), used.error.loc[batch_id].to_numpy())
    distance, low, high, chance = _distances(gap, error, np.random.default_rng(seed), draws)
    table = pd.DataFrame(
        {
            "batch_id": used.mean.index[others].astype(str),
            "distance": distance,
            "low": low,
            "high": high,
            "in_nearest_five": chance,
            "differs_most_on": used.mean.columns[np.abs(gap).argmax(axis=1)],
            "verdict": _verdicts(gap, error, margin),
        }
    ).sort_values("distance", ignore_index=True, kind="stable")
    return Likeness(batch_id, margin, used, table)


def _points(margin: float) -> str:
    return f"{margin:g} point" if margin == 1 else f"{margin:g} points"


def _distances(
    gap: np.ndarray, error: np.ndarray, generator: np.random.Generator, draws: int
) -> tuple[np.ndarray, ...]:
    """Distances with panel error taken out, their interval, and the chance of rank."""
    noise = generator.standard_normal((draws, *gap.shape)) * error
    extra = (error**2).mean(axis=1)
    # A draw carries the panel's error twice (once in the estimate), so it is taken out twice.
    drawn = np.sqrt(np.clip(((gap + noise) ** 2).mean(axis=2) - 2 * extra, 0, None))
    distance = np.sqrt(np.clip((gap**2).mean(axis=1) - extra, 0, None))
    low, high = np.quantile(drawn, [0.025, 0.975], axis=0)
    closest = np.argsort(np.argsort(drawn, axis=1), axis=1) < 5
    return distance, np.minimum(low, distance), np.maximum(high, distance), closest.mean(axis=0)


def _verdicts(gap: np.ndarray, error: np.ndarray, margin: float) -> list[str]:
    reach = norm.ppf(1 - 0.025 / gap.shape[1]) * error
    inside = ((gap - reach > -margin) & (gap + reach < margin)).all(axis=1)
    apart = (np.abs(gap) > reach).any(axis=1)
    return [
        ALIKE if same else DIFFERENT if differs else UNDECIDED
        for same, differs in zip(inside, apart, strict=True)
    ]
