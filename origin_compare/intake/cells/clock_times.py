"""Times of day in a column of their own, as people and spreadsheets write them."""

from __future__ import annotations

import re

import pandas as pd

from origin_compare.intake.cells.day_forms import serial_days
from origin_compare.intake.headers import plain

CLOCKS = re.compile(r"\d{1,2}[:.h]\d{2}(?::\d{2})?(?: ?[AaPp][Mm])?")
"""A time of day whatever its header says."""

LOOSE = re.compile(
    rf"{CLOCKS.pattern}|\d{{1,2}} ?h?(?: ?[AaPp][Mm])?|\d{{3,4}}|[01]?[.,]\d+", re.ASCII
)
"""A time of day only under a header that says so: `8h`, `0830`, `20`, or half a day as 0.5."""

_SAYS_TIME = re.compile(r"(?:time|clock|hour)$")
_PART = r"[01]?[.,]\d+|[01]"
_TWO_PLACES = r"\d?[.,]\d\d"
_SURELY_PART = r"0?[.,](?:\d|\d{3,})"


def says_time(header: str) -> bool:
    """Whether a header names a time of day: `Time`, `Read time`, `Hour`; `Hours` are a length."""
    return bool(_SAYS_TIME.search(plain(header)))


def as_day(cells: pd.Series) -> pd.Series:
    """The cells with a spreadsheet's serial days as 2025-03-14, others as they are.

    A day that a spreadsheet shows with its midnight loses it.
    """
    cells = cells.str.removesuffix(" 00:00:00")
    serial = cells.str.fullmatch(r"[2-7]\d{4}")
    if not bool(serial.any()):
        return cells
    days = serial_days(cells.where(serial, "0")).dt.strftime("%Y-%m-%d")
    return cells.where(~serial, days)


def as_clock(cells: pd.Series) -> pd.Series:
    """The cells as `16:00`, what is no time of day as it is.

    A column of nothing but 0 to 1 holds parts of a day, as a spreadsheet keeps its times; where
    each cell has two places, such as 0.30, they are minutes.
    """
    filled = cells[cells != ""]
    parts = filled.str.fullmatch(_PART).all() and not filled.str.fullmatch(_TWO_PLACES).all()
    part = cells.str.fullmatch(_PART if parts else _SURELY_PART)
    clock = cells.str.replace(r"^(\d{1,2})[.h](?=\d\d(?!\d))", r"\1:", regex=True)
    clock = clock.str.replace(r"^(\d{1,2})(\d\d)$", r"\1:\2", regex=True)
    clock = clock.str.replace(r"^(\d{1,2}) ?h?((?: ?[AaPp][Mm])?)$", r"\1:00\2", regex=True)
    return clock.where(~part, _from_parts(cells)) if bool(part.any()) else clock


def _from_parts(cells: pd.Series) -> pd.Series:
    """Parts of a day to the nearest second; 1 is 24:00."""
    parts = pd.to_numeric(cells.str.replace(",", ".", regex=False), errors="coerce").fillna(0)
    seconds = (parts * 86400).round().astype("int64")
    hours, rest = seconds // 3600, seconds % 3600
    return hours.map("{:02d}".format) + (rest // 60).map(":{:02d}".format) + _seconds(rest % 60)


def _seconds(seconds: pd.Series) -> pd.Series:
    return seconds.map(":{:02d}".format).where(seconds > 0, "")
