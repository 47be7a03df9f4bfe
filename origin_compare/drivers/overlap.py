"""What is tied together in these batches, before any coefficient is looked at."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from origin_compare.answers import count
from origin_compare.drivers.coding import Array, basis, coded, design, explained
from origin_compare.drivers.kept import Kept, keep, numbers_of, refuse_below
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
    `condition_index`: of the numbers, centred and scaled; above 30 is usually called serious.
    """

    spread: pd.DataFrame
    overlaps: pd.DataFrame
    condition_index: float
    origin: str
    one_each: bool
    kept: Kept
    limits: Limits

    def pairs(self) -> pd.DataFrame:
        """One row per pair of variables, for a figure of what overlaps."""
        return self.overlaps.copy()

    def table(self) -> pd.DataFrame:
        """One row per number: how much it varied, alone and within the origin."""
        return self.spread.copy()

    def tied(self) -> pd.DataFrame:
        """The pairs that cannot be told apart."""
        return self.overlaps[self.overlaps["cannot_tell"]].reset_index(drop=True)

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
        tied = self.tied()
        order = {"numbers": 0, "number and factor": 1, "factors": 2}
        tied = tied[~tied["relation"].str.startswith("one batch per")]
        tied = tied.sort_values("kind", key=lambda kind: kind.map(order), kind="stable")
        return told + tied["says"].tolist()

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


def separable(
    batches: pd.DataFrame,
    process: Iterable[str] = PROCESS,
    origin: str = "grower_id",
    *,
    factors: Iterable[str] = FACTORS,
    limits: Limits = USUAL,
) -> Separability:
    """What is tied together among `factors`, the `process` numbers, gravity and strength.

    `batches`: one row per batch with the derived fermentation figures. Batches still fermenting,
    of unknown origin or without a process figure are counted out. Raises NotEnoughData for fewer
    than three batches, UnknownName for a missing column.
    """
    process = list(process)
    kept = keep(batches, None, process, origin, still=())
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
    pairs += [_mixed(rows, number, name, limits) for number in moving for name in several]
    return Separability(
        spread=_spread(rows, numbers, origin, limits),
        overlaps=pd.DataFrame(pairs, columns=_PAIR),
        condition_index=condition_index(numbers_of(rows, moving)),
        origin=origin,
        one_each=bool(rows[origin].value_counts().max() == 1),
        kept=kept,
        limits=limits,
    )


_PAIR = ["first", "second", "kind", "relation", "strength", "r", "within", "cannot_tell", "says"]


def inflation(columns: Array) -> Array:
    """Variance inflation factor of each column (n x k) given the others; inf when exact."""
    found = []
    for k in range(columns.shape[1]):
        r2 = explained(columns[:, k], np.delete(columns, k, axis=1))
        found.append(np.inf if r2 > 1 - 1e-9 else 1.0 / (1.0 - r2))
    return np.array(found)


def condition_index(columns: Array) -> float:
    """Largest over smallest singular value, columns centred and at unit length (after Belsley,
    Kuh and Welsch, Regression Diagnostics, 1980); inf when one column is spanned by others."""
    if columns.shape[1] < 2:
        return 1.0
    centred = columns - columns.mean(axis=0)
    singular = np.linalg.svd(centred / np.linalg.norm(centred, axis=0), compute_uv=False)
    return float(singular[0] / singular[-1]) if singular[-1] > 1e-9 * singular[0] else float("inf")


def within_share(number: Array, factor: Array) -> float:
    """Share of a number's variance that lies within the groups coded by `factor` (n x k),
    as one minus adjusted R2, at most 1; 0 when there is no degree of freedom within."""
    n, rank = len(number), basis(factor).shape[1]
    if n - 1 - rank < 1:
        return 0.0
    return float(min(1.0, (1.0 - explained(number, factor)) * (n - 1) / (n - 1 - rank)))


def partners(
    rows: pd.DataFrame, process: list[str], origin: str, still: Iterable[str], limits: Limits
) -> dict[str, tuple[str, str]]:
    """For each process variable that cannot be told apart: with what, and the sentence why."""
    found: dict[str, tuple[str, str]] = {}
    moving = [name for name in process if rows[name].nunique() > 1]
    others = [name for name in still if name not in process]
    matrix = numbers_of(rows, [*moving, *others])
    season = coded(rows["season"].astype(str)) if _varies(rows, "season") else matrix[:, :0]
    vif = inflation(np.hstack([matrix, season]))
    for name in process:
        if name not in moving:
            found[name] = ("", f"{title(name)} did not vary in these batches")
            continue
        by_origin = _mixed(rows, name, origin, limits)
        k = moving.index(name)
        if by_origin["cannot_tell"]:
            found[name] = (origin, str(by_origin["says"]).rstrip("."))
        elif vif[k] > limits.most_vif:
            found[name] = _nearest(rows, name, [*moving, *others], season.shape[1] > 0, vif[k])
    return found


def _nearest(
    rows: pd.DataFrame, name: str, numbers: list[str], seasons: bool, vif: float
) -> tuple[str, str]:
    """The variable that most nearly moves with `name`."""
    own = numbers_of(rows, [name])[:, 0]
    likeness = {
        other: np.sqrt(explained(own, numbers_of(rows, [other])))
        for other in numbers
        if other != name
    }
    if seasons:
        likeness["season"] = np.sqrt(explained(own, coded(rows["season"].astype(str))))
    other = max(likeness, key=lambda key: likeness[key])
    told = "without limit" if np.isinf(vif) else f"{vif:.0f}-fold"
    if other == "season":
        return other, (
            f"{title(name)} went with the season and the other variables (its variance is "
            f"inflated {told}): this data cannot tell them apart"
        )
    r = float(np.corrcoef(own, numbers_of(rows, [other])[:, 0])[0, 1])
    return other, (
        f"{title(name)} and {title(other)} move together here (r = {plain(r)}; its variance is "
        f"inflated {told}): this data cannot tell them apart"
    )


def _varies(rows: pd.DataFrame, name: str) -> bool:
    return name in rows and rows[name].nunique() > 1


def _spread(rows: pd.DataFrame, numbers: list[str], origin: str, limits: Limits) -> pd.DataFrame:
    moving = [name for name in numbers if rows[name].nunique() > 1]
    season = (
        coded(rows["season"].astype(str)) if _varies(rows, "season") else np.empty((len(rows), 0))
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
    a, b = numbers_of(rows, [first, second]).T
    r = float(np.corrcoef(a, b)[0, 1])
    within = _within_r(rows, first, second, origin)
    tied = 1.0 / max(1.0 - r * r, 1e-12) > limits.most_vif
    words = f"{upper(title(first))} and {title(second)} move together here (r = {plain(r)})"
    says = f"{words}: this data cannot tell them apart." if tied else ""
    relation = "move together" if tied else "apart"
    return dict(
        zip(_PAIR, [first, second, "numbers", relation, abs(r), r, within, tied, says], strict=True)
    )


def _within_r(rows: pd.DataFrame, first: str, second: str, origin: str) -> float:
    left = rows[[first, second]].astype(float)
    left = left - left.groupby(rows[origin].to_numpy()).transform("mean")
    a, b = left.to_numpy().T
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 1e-9 * len(a) * float(rows[first].std()) else np.nan


def _mixed(rows: pd.DataFrame, number: str, factor: str, limits: Limits) -> dict[str, object]:
    values = numbers_of(rows, [number])[:, 0]
    levels = coded(rows[factor].astype(str))
    share = within_share(values, levels)
    tied = share < limits.least_within
    says, relation = "", "apart"
    if tied:
        relation = f"set by the {title(factor)}"
        if levels.shape[1] == len(values) - 1:
            relation = f"one batch per {title(factor)}"
            says = (
                f"With one batch per {title(factor)}, {title(number)} and {title(factor)} are "
                "one thing."
            )
        else:
            says = (
                f"{upper(title(number))} hardly varied within one "
                f"{title(factor)} ({100 * share:.0f} % of its variation): this data cannot tell "
                f"{title(number)} from {title(factor)}."
            )
    strength = float(np.sqrt(max(0.0, 1.0 - share)))
    return dict(
        zip(
            _PAIR,
            [number, factor, "number and factor", relation, strength, np.nan, share, tied, says],
            strict=True,
        )
    )


def _two_factors(rows: pd.DataFrame, first: str, second: str) -> dict[str, object]:
    a, b = rows[first].astype(str), rows[second].astype(str)
    levels = (a.nunique(), b.nunique())
    cells = pd.concat([a, b], axis=1).drop_duplicates()
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
    return dict(zip(_PAIR, row, strict=True))


def _nested(inner: str, outer: str, number: int) -> str:
    if (inner, outer) in BY_NATURE:
        return ""
    return (
        f"Each {title(inner)} stands under one {title(outer)} only: what a {title(outer)} gave "
        f"can be seen only through its part of {count(number, title(inner))}."
    )


def _lost(a: pd.Series, b: pd.Series) -> int:
    """Degrees of freedom that two factors share: what the joint rank falls short by."""
    both = pd.DataFrame({"a": a.to_numpy(), "b": b.to_numpy()})
    return (a.nunique() - 1) + (b.nunique() - 1) - basis(design(both)).shape[1]
