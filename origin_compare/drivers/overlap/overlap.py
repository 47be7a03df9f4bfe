"""What is tied together in these batches, before any coefficient is looked at."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from origin_compare.answers import count
from origin_compare.drivers.model.coding import coded
from origin_compare.drivers.model.usable_batches import Kept, keep, numbers_of, refuse_below
from origin_compare.drivers.overlap.pitch_weeks import weekend_words, with_calendar
from origin_compare.drivers.overlap.ties import (
    PAIR,
    condition_index,
    inflation,
    number_and_factor,
    varies,
    within_share,
)
from origin_compare.drivers.wording import (
    BY_NATURE,
    FACTORS,
    NUMBERS,
    PROCESS,
    USUAL,
    Limits,
    joined,
    plain,
    step,
    title,
    upper,
)

FEWEST = 3
"""Batches without which nothing can be said about what moves together."""
MOST_TOLD = 4
"""Ties told in one breath; the others are counted."""


@dataclass(frozen=True)
class Separability:
    """What varied, what moved together and what this data cannot tell apart.

    `spread`: one row per number (`variable, n, least, most, sd, within_share, vif, tied`):
        `within_share` of its variation lies within the origin (adjusted for degrees of freedom),
        `vif` given all other numbers and the season.
    `overlaps`: one row per pair (`first, second, kind, relation, strength, within, says`):
        `strength` 0 to 1 (|r|, or the square root of adjusted R2 when a factor is in the pair),
        `r` signed for two numbers, `within` the correlation within the origin.
    `asides`: further sentences, such as which fermentations ran over a weekend.
    `condition_index`: of the numbers, centred and scaled; above 30 is usually called serious.
    """

    spread: pd.DataFrame
    overlaps: pd.DataFrame
    condition_index: float
    origin: str
    one_each: bool
    kept: Kept
    limits: Limits
    asides: tuple[str, ...] = ()

    def pairs(self) -> pd.DataFrame:
        """One row per pair of variables, for a figure of what overlaps."""
        return self.overlaps.copy()

    def table(self) -> pd.DataFrame:
        """One row per number: how much it varied, alone and within the origin."""
        return self.spread.copy()

    def tied(self) -> pd.DataFrame:
        """The pairs that cannot be told apart."""
        return self.overlaps[self.overlaps["cannot_tell"]].reset_index(drop=True)

    def spoken(self) -> pd.DataFrame:
        """Those pairs, and numbers known less surely for moving together."""
        return self.overlaps[self.overlaps["says"].ne("")].reset_index(drop=True)

    def sentences(self) -> list[str]:
        """Every tie in words, the one about origin and batch first."""
        told = []
        if self.one_each:
            name = title(self.origin)
            told.append(
                f"With one batch per {name}, {name} and batch are one thing: this data cannot "
                f"tell what the {name} gave from what the batch gave."
            )
        still = self.spread[self.spread["sd"] == 0]["variable"]
        told += [f"{upper(title(name))} did not vary, so nothing goes with it." for name in still]
        return [*told, *self.asides, *_tie_sentences(self.spoken(), self.origin)]

    def sentence(self) -> str:
        """All ties in one breath, or that there are none."""
        told = self.sentences()
        if len(told) > MOST_TOLD:
            rest = len(told) - MOST_TOLD
            return " ".join([*told[:MOST_TOLD], f"{upper(count(rest, 'more tie'))} in the table."])
        if told:
            return " ".join(told)
        names = joined(title(name) for name in self.spread["variable"])
        return f"{upper(names)} moved apart from each other and from the {title(self.origin)}."

    def rests_on(self) -> str:
        """Batches used and left out."""
        return self.kept.words()


def _tie_sentences(tied: pd.DataFrame, origin: str) -> list[str]:
    """Ties among numbers, of numbers with the origin, then among factors; factors that are one
    and the same are told as one group, and what follows from that is not told again."""
    numbers = tied[tied["kind"] == "numbers"]["says"].tolist()
    mixed = tied[(tied["kind"] == "number and factor") & ~tied["relation"].str.startswith("one ")]
    by_origin = mixed[mixed["second"] == origin]
    elsewhere = mixed[~mixed["first"].isin(by_origin["first"])]
    factors = tied[tied["kind"] == "factors"]
    groups = _one_and_the_same(factors)
    stands_for = {name: group[0] for group in groups for name in group}
    rest = factors[factors["relation"] != "one and the same"]
    kept = [
        all(stands_for.get(name, name) == name for name in pair)
        for pair in zip(rest["first"], rest["second"], strict=True)
    ]
    same = [
        f"{upper(joined(title(name) for name in group))} are one and the same here: this data "
        "cannot tell them apart."
        for group in groups
    ]
    told = [*numbers, *by_origin["says"], *elsewhere["says"], *same, *rest.loc[kept, "says"]]
    return list(dict.fromkeys(told))


def _one_and_the_same(factors: pd.DataFrame) -> list[list[str]]:
    """Factors with the same levels under other names, in groups."""
    same = factors[factors["relation"] == "one and the same"]
    groups: list[list[str]] = []
    for first, second in zip(same["first"], same["second"], strict=True):
        home = next((group for group in groups if first in group or second in group), None)
        if home is None:
            groups.append([first, second])
        else:
            home += [name for name in (first, second) if name not in home]
    return groups


def separable(
    batches: pd.DataFrame,
    process: Iterable[str] = PROCESS,
    origin: str = "grower_id",
    *,
    factors: Iterable[str] = FACTORS,
    leave_out: Iterable[str] = (),
    limits: Limits = USUAL,
) -> Separability:
    """What is tied together among `factors`, the `process` numbers, gravity and strength.

    `batches`: one row per batch with the derived fermentation figures. Batches still fermenting,
    of unknown origin or without a process figure are counted out. Raises NotEnoughData for fewer
    than three batches, UnknownName for a missing column.
    """
    process = list(process)
    kept = keep(with_calendar(batches), None, process, origin, (), leave_out)
    refuse_below(len(kept.rows), FEWEST, "What moves together")
    rows = kept.rows
    also = [name for name in NUMBERS if name in rows and name not in process]
    numbers = process + [name for name in also if rows[name].notna().all()]
    named = dict.fromkeys([origin, *[name for name in factors if name in rows]])
    told_factors = [name for name in named if rows[name].notna().all()]
    several = [name for name in told_factors if rows[name].nunique() > 1]
    pairs = [_two_factors(rows, *pair) for pair in combinations(several, 2)]
    moving = [name for name in numbers if rows[name].nunique() > 1]
    pairs += [_two_numbers(rows, *pair, origin, limits) for pair in combinations(moving, 2)]
    pairs += [
        number_and_factor(rows, number, name, limits) for number in moving for name in several
    ]
    return Separability(
        spread=_spread(rows, numbers, origin, limits),
        overlaps=pd.DataFrame(pairs, columns=PAIR),
        condition_index=condition_index(numbers_of(rows, moving)),
        origin=origin,
        one_each=bool(rows[origin].value_counts().max() == 1),
        kept=kept,
        limits=limits,
        asides=tuple(said for said in [weekend_words(rows, origin, title(origin))] if said),
    )


def _spread(rows: pd.DataFrame, numbers: list[str], origin: str, limits: Limits) -> pd.DataFrame:
    moving = [name for name in numbers if rows[name].nunique() > 1]
    season = (
        coded(rows["season"].astype(str)) if varies(rows, "season") else np.empty((len(rows), 0))
    )
    vif = dict(zip(moving, inflation(np.hstack([numbers_of(rows, moving), season])), strict=False))
    factor = coded(rows[origin].astype(str))
    told = []
    for name in numbers:
        values = numbers_of(rows, [name])[:, 0]
        share = within_share(values, factor) if name in vif else np.nan
        told.append(
            {
                "variable": name,
                "n": len(values),
                "least": values.min(),
                "most": values.max(),
                "sd": values.std(ddof=1) if name in vif else 0.0,
                "steps": (values.max() - values.min()) / step(name)[0],
                "step": step(name)[1],
                "within_share": share,
                "vif": vif.get(name, np.nan),
                "tied": bool(vif.get(name, 0) > limits.most_vif or share < limits.least_within),
            }
        )
    return pd.DataFrame(told)


def _two_numbers(
    rows: pd.DataFrame, first: str, second: str, origin: str, limits: Limits
) -> dict[str, object]:
    both = numbers_of(rows, [first, second])
    r = float(np.corrcoef(both[:, 0], both[:, 1])[0, 1])
    within = _within_r(rows, first, second, origin)
    vif = _inflated(r)
    together, tied = vif > limits.wide_vif, vif > limits.most_vif
    end = (
        "this data cannot tell them apart"
        if tied
        else f"each alone is known {plain(float(np.sqrt(vif)), 1)} times less surely than if they "
        "moved apart"
    )
    says = f"{upper(title(first))} and {title(second)} move together here (r = {plain(r)}): {end}."
    relation = "move together" if together else "apart"
    row = [first, second, "numbers", relation, abs(r), r, within, tied, says if together else ""]
    return dict(zip(PAIR, row, strict=True))


def _inflated(r: float) -> float:
    return 1.0 / max(1.0 - r * r, 1e-12)


def _within_r(rows: pd.DataFrame, first: str, second: str, origin: str) -> float:
    left = rows[[first, second]].astype(float)
    left = left - left.groupby(rows[origin].to_numpy()).transform("mean")
    a, b = left.to_numpy().T
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 1e-9 * len(a) * float(rows[first].std()) else np.nan


def _two_factors(rows: pd.DataFrame, first: str, second: str) -> dict[str, object]:
    a, b = (pd.factorize(rows[name])[0] for name in (first, second))
    levels = (int(a.max()) + 1, int(b.max()) + 1)
    cells = np.unique(a * levels[1] + b)
    lost = _lost(a, b)
    least = min(levels) - 1
    strength = lost / least if least else 1.0
    n_a, n_b = title(first), title(second)
    if len(cells) == levels[0] == levels[1]:
        relation = "one and the same"
        says = f"Each {n_a} had its own {n_b} and no other: this data cannot tell {n_a} from {n_b}."
    elif len(cells) == levels[0]:
        relation, says = f"each {n_a} in one {n_b}", _nested(first, second, levels[0])
    elif len(cells) == levels[1]:
        relation, says = f"each {n_b} in one {n_a}", _nested(second, first, levels[1])
    elif lost:
        relation = "partly tied"
        says = (
            f"{upper(n_a)} and {n_b} fall into {lost + 1} groups that never meet: "
            f"between these groups this data cannot tell {n_a} from {n_b}."
        )
    else:
        relation, says = "apart", ""
    row = [first, second, "factors", relation, strength, np.nan, np.nan, bool(says), says]
    return dict(zip(PAIR, row, strict=True))


def _nested(inner: str, outer: str, number: int) -> str:
    if (inner, outer) in BY_NATURE:
        return ""
    return (
        f"Each {title(inner)} stands under one {title(outer)} only: what a {title(outer)} gave "
        f"can be seen only through its part of {count(number, title(inner))}."
    )


def _lost(a: NDArray[np.intp], b: NDArray[np.intp]) -> int:
    """Degrees of freedom that two factors share: groups of levels that never meet, less one."""
    levels = int(a.max()) + 1
    size = levels + int(b.max()) + 1
    meet = sparse.coo_array((np.ones(len(a)), (a, levels + b)), shape=(size, size))
    return int(sparse.csgraph.connected_components(meet, directed=False)[0]) - 1
