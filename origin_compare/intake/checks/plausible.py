"""Figures that are possible but unusual: the house's plausible ranges, held to at intake."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from origin_compare.house import HouseRules, Window
from origin_compare.intake.cells.day_and_time import Mapped
from origin_compare.intake.findings import Finding, finding
from origin_compare.intake.raw_table import RawTable
from origin_compare.intake.recognise import Guess
from origin_compare.sheets.bases import BASED, on_one_basis, told_by_row

MOST_TOLD = 5
"""More unusual figures than this in one column are told as one warning."""

_CHECK = "Check it, if it is new."


def unusual(
    columns: Mapping[str, pd.Series], raw: RawTable, guess: Guess, rules: HouseRules
) -> list[Finding]:
    """Figures outside what the house calls plausible earn a warning; targets do not.

    Grain and malt are held to the range as they are compared, on dry matter or at one moisture,
    whatever basis or unit the cell has; a figure that cannot be brought there is told as well.
    """
    name = guess.sheet.name
    frame = pd.DataFrame(dict(columns)) if name in BASED else pd.DataFrame()
    compared = on_one_basis(name, frame, rules) if name in BASED else columns
    findings: list[Finding] = []
    for (sheet, column), window in rules.plausible.items():
        if sheet != name or guess.sheet.column(column).kind not in _HELD:
            continue
        told = told_by_row(name, frame, column, rules) if name in BASED else {}
        for one, cells in _given(columns, guess, column):
            findings += _outside(one, cells, compared[column], window, told, raw)
            if told:
                findings += _left_out(one, cells & compared[column].isna(), told, raw)
    return findings


_HELD = ("number", "gravity", "temperature")


def _given(
    columns: Mapping[str, pd.Series], guess: Guess, column: str
) -> Iterator[tuple[Mapped, pd.Series]]:
    """The headers that gave a figure, in its own unit or another, each with the rows it counts in.

    Where both units are given, the figure's own counts.
    """
    mapped = {one.column.name: one for one in guess.mapped}
    own = columns[column].notna()
    if column in mapped:
        yield mapped[column], own
    others = [
        of.other.column
        for of in BASED.get(guess.sheet.name, ())
        if of.other and of.column == column
    ]
    for other in others:
        if other in mapped:
            yield mapped[other], ~own & columns[other].notna()


def _outside(
    one: Mapped,
    cells: pd.Series,
    values: pd.Series,
    window: Window,
    told: Mapping[Any, str],
    raw: RawTable,
) -> list[Finding]:
    low = -np.inf if window.low is None else window.low
    high = np.inf if window.high is None else window.high
    at = np.flatnonzero((cells & ((values < low) | (values > high))).to_numpy())
    if not len(at):
        return []
    texts = raw.cells[one.at].iloc[at].tolist()
    if len(at) > MOST_TOLD:
        # a probe above its range for hours is one thing to look at, not hundreds
        wrong = (
            f"and {len(at) - 1} more down to row {raw.rows[at[-1]]} are unusual"
            f"{_expected(window, any(row in told for row in at))}"
        )
        mend = "Check them, if they are new."
        return [finding(at[:1], one.column.name, texts[:1], wrong, mend, "warning")]
    wrongs = [
        f"is unusual: {told[row]}, and{_expected(window)[1:]}"
        if row in told
        else f"is unusual{_expected(window)}"
        for row in at
    ]
    return [finding(at, one.column.name, texts, wrongs, _CHECK, "warning")]


def _expected(window: Window, converted: bool = False) -> str:
    unit = f" {window.unit}" if window.unit else ""
    ends = [f"{end:g}" for end in (window.low, window.high) if end is not None]
    basis = ", once on one basis," if converted else ""
    return f": the house rules expect{basis} {' to '.join(ends)}{unit}"


def _left_out(
    one: Mapped, lost: pd.Series, told: Mapping[Any, str], raw: RawTable
) -> list[Finding]:
    """Cells whose figure cannot be compared: as is without a moisture, or impossible once dry."""
    at = np.array([row for row in np.flatnonzero(lost.to_numpy()) if row in told], dtype=np.int64)
    texts = raw.cells[one.at].iloc[at].tolist()
    wrong = [f"stands in no comparison: {told[row]}" for row in at]
    mend = "Give the moisture beside it, or check the figure."
    return [finding(at, one.column.name, texts, wrong, mend, "warning")] if len(at) else []
