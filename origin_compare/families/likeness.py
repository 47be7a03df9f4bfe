"""How alike a batch is to the others, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from origin_compare.answers import count, listed
from origin_compare.errors import BadWish, UnknownName
from origin_compare.families.profiles import Points, points
from origin_compare.families.shrunken import Shrunken, shrunken

if TYPE_CHECKING:
    from origin_compare.panel import Profile

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ALIKE, DIFFERENT, UNDECIDED = "alike inside the margin", "different", "cannot tell"


@dataclass(frozen=True)
class Likeness:
    """The other batches in order of their distance from one batch.

    `_table`: batch_id, distance (root mean square of the differences, in score points, of profiles
    drawn towards the mean as far as the panel is in doubt, so that no two tie at nothing), low,
    high (95 %), rank_low, rank_high (95 %, 1 is nearest), in_nearest_five (chance, 0-1),
    differs_most_on (attribute), verdict, times_tasted (where the verdict is open: about how many
    times today's tastings would decide, if the differences stay as seen).
    """

    batch_id: str
    margin: float | Mapping[str, float]
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
            f"{count(attributes, 'attribute')} the panel can tell apart. Alike means a chance of "
            f"95 % or more that every attribute's difference is inside {_points(self.margin)}, and "
            "that the scores as seen bear it; different, that at least one attribute's interval, "
            "over all attributes together, leaves out zero; the whole distance may still be small."
        )


def nearest(
    profile: Profile | pd.DataFrame,
    batch_id: str,
    margin: float | Mapping[str, float] = 1.0,
    seed: int = 1,
    draws: int = 2000,
) -> Likeness:
    """Every other batch by its distance from `batch_id`, with three verdicts.

    `margin`: the difference in score points that would not matter, set beforehand; one for all or
    one per attribute. Distances, ranks and their 95 % intervals come from profiles drawn towards
    the mean (`shrunken`). Alike needs both a chance of 95 % inside the margin there and two
    one-sided tests at 5 % on the scores as seen, every attribute passing (Schuirmann 1987; Berger
    and Hsu 1996): a difference not shown is not called sameness. Different is a simultaneous
    (Bonferroni) interval without zero. Raises `UnknownName` for a batch that has no full profile
    or an attribute without margin, `ValueError` for a margin that is not above 0.
    """
    used = points(profile, fewest=2)
    if batch_id not in used.mean.index:
        raise UnknownName(
            f"Batch {batch_id} has no full panel profile, so nothing can be called like it. "
            "Choose a batch that was tasted."
        )
    margins = _margins(margin, used.mean.columns)
    row = int(used.mean.index.get_indexer(pd.Index([batch_id]))[0])
    others = np.arange(len(used.mean)) != row
    seen = _gaps(used.mean, used.error_cov, row, others)
    drawn = shrunken(used)
    distances = _drawn_distances(drawn, row, np.random.default_rng(seed), draws)[:, others]
    ranks = np.argsort(np.argsort(distances, axis=1), axis=1) + 1
    verdict = _verdicts(seen, _gaps(drawn.mean, drawn.cov, row, others), margins)
    table = pd.DataFrame(
        {
            "batch_id": used.mean.index[others].astype(str),
            "distance": distances.mean(axis=0),
            "low": np.quantile(distances, 0.025, axis=0),
            "high": np.quantile(distances, 0.975, axis=0),
            "rank_low": np.quantile(ranks, 0.025, axis=0, method="nearest"),
            "rank_high": np.quantile(ranks, 0.975, axis=0, method="nearest"),
            "in_nearest_five": (ranks <= 5).mean(axis=0),
            "differs_most_on": used.mean.columns[np.abs(seen[0]).argmax(axis=1)],
            "verdict": verdict,
            "times_tasted": np.where(
                np.array(verdict) == UNDECIDED, _times_tasted(*seen, margins), np.nan
            ),
        }
    ).sort_values("distance", ignore_index=True, kind="stable")
    return Likeness(batch_id, margin, used, table)


def _points(margin: float | Mapping[str, float]) -> str:
    if isinstance(margin, Mapping):
        return "each attribute's margin"
    return f"{margin:g} point" if margin == 1 else f"{margin:g} points"


def _margins(margin: float | Mapping[str, float], attributes: pd.Index) -> Floats:
    if isinstance(margin, Mapping):
        missing = [str(name) for name in attributes if name not in margin]
        if missing:
            raise UnknownName(f"No margin is set for {listed(missing)}. Set one for each.")
        margins = np.array([float(margin[name]) for name in attributes])
    else:
        margins = np.full(len(attributes), float(margin))
    if not (np.isfinite(margins) & (margins > 0)).all():
        raise BadWish("A margin must be above 0 score points. Set what would not matter.")
    return margins


def _gaps(mean: pd.DataFrame, cov: Floats, row: int, others: Flags) -> tuple[Floats, Floats]:
    """Differences from one batch and their standard errors, other batches x attributes."""
    values = mean.to_numpy()
    own = np.diagonal(cov, axis1=1, axis2=2).T
    variance = own + own[row] - 2 * cov[:, row, :].T
    gap = (values - values[row])[others]
    return gap, np.sqrt(np.clip(variance[others], 0, None))


def _drawn_distances(
    drawn: Shrunken, row: int, generator: np.random.Generator, draws: int
) -> Floats:
    """Distance of every batch from one, draws x batches, over what the true profiles may be."""
    total = np.zeros((draws, len(drawn.mean)))
    for place in range(drawn.mean.shape[1]):
        values, axes = np.linalg.eigh(drawn.cov[place])
        root = axes * np.sqrt(np.clip(values, 0, None))
        true = (
            drawn.mean.iloc[:, place].to_numpy() + generator.standard_normal(total.shape) @ root.T
        )
        total += (true - true[:, [row]]) ** 2
    return np.sqrt(total / drawn.mean.shape[1])


def _verdicts(
    seen: tuple[Floats, Floats], drawn: tuple[Floats, Floats], margins: Floats
) -> list[str]:
    gap, error = seen
    equal = (np.abs(gap) + norm.ppf(0.95) * error < margins).all(axis=1)
    apart = (np.abs(gap) > norm.ppf(1 - 0.025 / gap.shape[1]) * error).any(axis=1)
    likely = _chance_inside(*drawn, margins) >= 0.95
    return [
        ALIKE if same else DIFFERENT if differs else UNDECIDED
        for same, differs in zip(equal & likely, apart, strict=True)
    ]


def _chance_inside(gap: Floats, error: Floats, margins: Floats) -> Floats:
    """Chance that every attribute's true difference is inside its margin."""
    se = np.maximum(error, 1e-12)
    inside = norm.cdf((margins - gap) / se) - norm.cdf((-margins - gap) / se)
    return inside.prod(axis=1)


def _times_tasted(gap: Floats, error: Floats, margins: Floats) -> Floats:
    """How many times today's tastings would part the two, or show them alike."""
    size = np.maximum(np.abs(gap), 1e-9)
    room = margins - np.abs(gap)
    part = ((norm.ppf(1 - 0.025 / gap.shape[1]) * error / size) ** 2).min(axis=1)
    safe = np.where(room > 0, room, 1e-9)
    alike = ((norm.ppf(0.95) * error / safe) ** 2).max(axis=1)
    return np.maximum(np.ceil(np.minimum(part, alike)), 2.0)
