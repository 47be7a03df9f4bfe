"""What a reader or a cell check finds, held by column until it is told row by row."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.sheets.faults import Fault, Weight

MOST_LISTED = 200
"""Faults of one kind listed one by one; the rest are counted, and all stand beside their rows."""


SAME_TOLD = 5
"""More rows than this with the same empty cell are told in one sentence."""

EMPTY = "is empty"


@dataclass(frozen=True)
class Finding:
    """One kind of fault or warning at one or many rows of a table.

    `at`: positions in the table, ascending, or -1 for the table as a whole; `values`, `wrong`,
    `mend`: text per position.
    """

    at: np.ndarray
    column: str
    values: Sequence[str]
    wrong: Sequence[str]
    mend: Sequence[str]
    weight: Weight = "fault"

    def only(self, keep: np.ndarray) -> Finding:
        """The finding at some of its rows (a mask over `at`)."""
        values, wrong, mend = (
            [text for text, yes in zip(texts, keep, strict=True) if yes]
            for texts in (self.values, self.wrong, self.mend)
        )
        return Finding(self.at[keep], self.column, values, wrong, mend, self.weight)


def finding(
    at: Iterable[int] | np.ndarray,
    column: str,
    values: Sequence[str] | str,
    wrong: Sequence[str] | str,
    mend: Sequence[str] | str,
    weight: Weight = "fault",
) -> Finding:
    """A finding whose texts may be given once for all rows."""
    where = np.asarray(at, dtype=np.int64)

    def each(text: Sequence[str] | str) -> Sequence[str]:
        return [text] * len(where) if isinstance(text, str) else text

    return Finding(where, column, each(values), each(wrong), each(mend), weight)


def told(
    findings: Iterable[Finding], label: str, sheet: str, rows: np.ndarray, most: int = MOST_LISTED
) -> list[Fault]:
    """The findings as faults in row order per finding; past `most` of one kind they are counted."""
    faults: list[Fault] = []
    for one in findings:
        if _says_one_thing(one):
            faults.append(_all_at_once(one, label, sheet, rows))
            continue
        faults.extend(
            Fault(
                label,
                sheet,
                int(rows[at]) if at >= 0 else None,
                one.column,
                short(value),
                wrong,
                mend,
                one.weight,
            )
            for at, value, wrong, mend in zip(
                one.at[:most], one.values, one.wrong, one.mend, strict=False
            )
        )
        more = len(one.at) - most
        if more > 0:
            faults.append(_counted(one, more, label, sheet))
    return faults


def mending(findings: Iterable[Finding], length: int) -> pd.Series:
    """Per row of a table what to mend, empty where nothing is; several causes joined by a bar."""
    notes = np.full(length, "", dtype=object)
    for one in findings:
        if one.weight != "warning":
            for at, value, wrong, mend in zip(
                one.at, one.values, one.wrong, one.mend, strict=False
            ):
                found = f"{short(value)} " if value else ""
                place = f"{one.column}: " if one.column else ""
                said = f"{place}{found}{wrong}. {mend}"
                notes[at] = f"{notes[at]} | {said}" if notes[at] else said
    return pd.Series(notes, dtype="str")


def short(value: str, most: int = 60) -> str:
    """The cell's text on one line, cut where a message would become a page."""
    line = " ".join(str(value).split())
    return line if len(line) <= most else line[: most - 3] + "..."


def _says_one_thing(one: Finding) -> bool:
    """Whether many rows have the same empty cell: one sentence says it for all."""
    return len(one.at) > SAME_TOLD and not any(one.values) and len(set(one.wrong)) == 1


def _all_at_once(one: Finding, label: str, sheet: str, rows: np.ndarray) -> Fault:
    first, last = (int(rows[one.at[end]]) for end in (0, -1))
    wrong = f"{one.wrong[0]} here and in {len(one.at) - 1:,} more rows down to row {last}"
    mend = one.mend[0]
    if one.wrong[0] == EMPTY:
        mend = f"{mend} Where an empty cell means the same as above, fill the column down."
    return Fault(label, sheet, first, one.column, "", wrong, mend, one.weight)


def _counted(one: Finding, more: int, label: str, sheet: str) -> Fault:
    rows = "row" if more == 1 else "rows"
    mend = "Every one of them is written beside its row in the rows set aside"
    if one.weight == "cell":
        mend = "Their rows go in without these cells"
    if one.weight == "warning":
        mend = "Look the column through"
    kind = "warning" if one.weight == "warning" else "fault"
    text = f"the same kind of {kind} stands in {more:,} more {rows}"
    return Fault(label, sheet, None, one.column, "", text, f"{mend}.", one.weight)
