"""Day first or month first: settled for a whole column by what can only be one, else asked."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from origin_compare.intake.open_points import DATES, DAY_FIRST, MONTH_FIRST, OpenPoint

SLASHED = r"(\d{1,2})/(\d{1,2})/(\d{4}|\d{2})(?: .*)?"
_TWO_NUMBERS = r"^(\d{1,2})([./\-])(\d{1,2})[./\-]"
_SHORT, _LONG = pd.Timedelta(days=21), pd.Timedelta(days=60)
"""Readings of one batch that lie within three weeks in one order and over two months apart in the
other tell the order: common practice, no source."""

Read = Callable[[bool], pd.Series]
"""The local times of the distinct texts, read month first or not."""


def order_evidence(texts: pd.Series) -> tuple[int, int]:
    """How many days among the texts can only be day first, and how many only month first.

    Days with dots, `03.04.2025`, are day first where nothing says otherwise: common practice.
    """
    heads = pd.Series(texts.str.slice(0, 6).unique(), dtype="str")
    parts = heads.str.extract(_TWO_NUMBERS).dropna()
    if parts.empty:
        return 0, 0
    first, second = (parts[i].astype("int64") for i in (0, 2))
    day, month = int((first > 12).sum()), int((second > 12).sum())
    return (day, month) if day or month else (int((parts[1] == ".").sum()), 0)


def by_weekdays(read: Read, weekdays: np.ndarray) -> tuple[int, int]:
    """How many days of the week written beside a day fit day first only, and month first only."""
    told = weekdays >= 0
    if not told.any():
        return 0, 0
    fits = [(read(order).dt.day_of_week.to_numpy() == weekdays) & told for order in (False, True)]
    return int((fits[0] & ~fits[1]).sum()), int((fits[1] & ~fits[0]).sum())


def by_span(read: Read, codes: np.ndarray, groups: np.ndarray | None) -> bool | None:
    """Month first or not, by the readings of a batch: far apart in one order, close in the other.

    `codes`: per row the distinct text; `groups`: per row its batch. None if that does not tell.
    """
    if groups is None:
        return None
    spans = []
    for order in (False, True):
        times = pd.Series(read(order).to_numpy()[codes])
        by_batch = times.groupby(groups)
        spans.append((by_batch.max() - by_batch.min()).max())
    if spans[0] <= _SHORT and spans[1] >= _LONG:
        return False
    return True if spans[1] <= _SHORT and spans[0] >= _LONG else None


def order_asked(header: str, sample: str, read: Read) -> OpenPoint:
    """The question, with what either order would make of the column."""
    ways = [read(order).dropna() for order in (False, True)]
    told = [f"{way.min():%Y-%m-%d} to {way.max():%Y-%m-%d}" for way in ways if len(way)]
    evidence = "Every date of the table fits both."
    if len(told) == 2:
        evidence += f" Day first they run from {told[0]}, month first from {told[1]}."
    lengths = [way.max() - way.min() for way in ways if len(way)]
    likely = ""
    if len(lengths) == 2 and lengths[0] != lengths[1]:
        likely = DAY_FIRST if lengths[0] < lengths[1] else MONTH_FIRST
    return OpenPoint(
        DATES,
        f"Does {sample} in {header} begin with the day or with the month?",
        evidence,
        (DAY_FIRST, MONTH_FIRST),
        likely,
        column=header,
    )
