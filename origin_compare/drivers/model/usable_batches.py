"""Which batches an answer can use, and why the others were counted out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import count
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.wording import STILL, joined, title
from origin_compare.errors import NotEnoughData, UnknownName

ROWS_PER_COLUMN = 6
"""A still variable enters only while each fixed column has this many batches to itself."""
MOSTLY = 0.9
"""A still variable enters when recorded for at least this share of the batches."""


class ProfileLike(Protocol):
    """What is used of a panel profile: see `panel.adjusted`."""

    @property
    def attributes(self) -> tuple[str, ...] | list[str]: ...

    @property
    def told(self) -> tuple[str, ...] | list[str]: ...

    def wide(self) -> pd.DataFrame: ...

    def wide_se(self) -> pd.DataFrame: ...


@dataclass(frozen=True)
class Kept:
    """The batches used (index `batch_id`) and how many were left out, by cause in words.

    `still`: what the still decides and is recorded well enough to enter.
    `still_absent`: what of it is not recorded, does not vary or is too much for these batches.
    """

    rows: pd.DataFrame
    left_out: Mapping[str, int]
    still: tuple[str, ...] = ()
    still_absent: tuple[str, ...] = ()

    def words(self) -> str:
        """`14 batches; 2 left out: 1 still fermenting, 1 not tasted.`"""
        told = count(len(self.rows), "batch")
        if self.left_out:
            causes = ", ".join(f"{number} {cause}" for cause, number in self.left_out.items())
            told += f"; {sum(self.left_out.values())} left out: {causes}"
        return told + "."

    def still_words(self) -> str:
        """What of the still was allowed for and what could not be."""
        allowed = (
            f"Allowed for: {joined(title(name) for name in self.still)}. " if self.still else ""
        )
        if not self.still_absent:
            return allowed.strip()
        return (
            f"{allowed}Not allowed for: {joined(self.still_absent)}. Cuts and strength can move a "
            "profile more than anything before the still, and may stand behind what is seen here."
        )


def keep(
    batches: pd.DataFrame,
    profile: ProfileLike | None,
    numbers: Iterable[str],
    origin: str | None,
    still: Iterable[str] = STILL,
    leave_out: Iterable[str] = (),
) -> Kept:
    """The batches that are ended, of one known origin, tasted, and recorded in `numbers`.

    A batch is counted out once, for the first cause that applies. `still` variables enter when
    recorded for nine batches in ten; the batches without them are then counted out too.
    Raises UnknownName for a column that the batches do not have.
    """
    numbers = list(numbers)
    _known(batches, [*numbers, *([origin] if origin else [])])
    rows = batches.set_index("batch_id", drop=False)
    left_out: dict[str, int] = {}
    rows = _without(rows, rows.index.isin(list(leave_out)), "left out by hand", left_out)
    if "status" in rows:
        rows = _without(rows, rows["status"].eq("fermenting"), "still fermenting", left_out)
    if origin:
        cause = (
            "of mixed or unknown origin" if origin == "grower_id" else f"with no {title(origin)}"
        )
        rows = _without(rows, rows[origin].isna(), cause, left_out)
    if profile is not None:
        tasted = profile.wide().dropna(how="any").index
        rows = _without(rows, ~rows.index.isin(tasted), "not tasted", left_out)
    for name in numbers:
        rows = _without(rows, rows[name].isna(), f"with no {title(name)}", left_out)
    fixed = 1 + len(numbers) + max(_levels(rows, "season") - 1, 0)
    enter, absent = _still(rows, [name for name in still if name not in numbers], fixed)
    for name in enter:
        rows = _without(rows, rows[name].isna(), f"with no {title(name)}", left_out)
    return Kept(rows, left_out, tuple(enter), tuple(absent))


def chosen(profile: ProfileLike, attributes: Iterable[str] | None) -> list[str]:
    """The attributes asked for, all if none is named; UnknownName for one nobody scored."""
    known = list(profile.attributes)
    if attributes is None:
        return known
    wanted = list(attributes)
    for name in wanted:
        if name not in known:
            raise UnknownName(
                f"No attribute {name} in the scores; the panel scored {joined(known)}."
            )
    return wanted


def numbers_of(rows: pd.DataFrame, columns: Iterable[str]) -> Array:
    """Columns of the batches as n x k floats."""
    names = list(columns)
    return rows[names].to_numpy(dtype=float, na_value=np.nan).reshape(len(rows), len(names))


def refuse_below(rows: int, least: int, what: str) -> None:
    """NotEnoughData when fewer batches are left than the question needs."""
    if rows < least:
        raise NotEnoughData(
            f"{what} needs at least {least} ended, tasted batches of one known origin with all "
            f"process figures recorded; there {'is' if rows == 1 else 'are'} {rows}."
        )


def _levels(rows: pd.DataFrame, name: str) -> int:
    return int(rows[name].nunique()) if name in rows else 0


def _known(batches: pd.DataFrame, columns: list[str]) -> None:
    for name in ["batch_id", *columns]:
        if name not in batches.columns:
            raise UnknownName(
                f"The batches have no column {name}. Join the fermentation figures to the season's "
                "batches first, or name another variable."
            )


def _without(
    rows: pd.DataFrame, bad: pd.Series | NDArray[np.bool_], cause: str, left_out: dict[str, int]
) -> pd.DataFrame:
    mask = np.asarray(bad, dtype=bool)
    if mask.any():
        left_out[cause] = left_out.get(cause, 0) + int(mask.sum())
    return rows.loc[~mask]


def _still(rows: pd.DataFrame, names: list[str], fixed: int) -> tuple[list[str], list[str]]:
    """Which still variables enter, and which do not with the reason."""
    enter: list[str] = []
    absent: list[str] = []
    for name in names:
        there = rows[name].dropna() if name in rows else pd.Series(dtype=float)
        if len(there) < MOSTLY * len(rows) or len(there) == 0:
            absent.append(f"{title(name)} (recorded for {len(there)} of {len(rows)} batches)")
        elif there.nunique() < 2:
            absent.append(f"{title(name)} (the same throughout)")
        elif len(there) < ROWS_PER_COLUMN * (fixed + len(enter) + 1):
            absent.append(f"{title(name)} (too few batches to bear one more variable)")
        else:
            enter.append(name)
    return enter, absent
