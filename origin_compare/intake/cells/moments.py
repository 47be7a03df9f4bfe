"""Dates and moments in cells: order of day and month, serial days, and the nights clocks change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from origin_compare.intake.cells.date_order import (
    SLASHED,
    by_span,
    by_weekdays,
    order_asked,
    order_evidence,
)
from origin_compare.intake.cells.day_forms import by_formats, in_one_form, serial_days, weekday_off
from origin_compare.intake.cells.reading import (
    Coded,
    Distinct,
    Hints,
    Parsed,
    parsed,
    single_blanks,
)
from origin_compare.intake.findings import Finding, finding
from origin_compare.intake.open_points import DATES, DAY_FIRST, MONTH_FIRST, ZONE, OpenPoint
from origin_compare.sheets.catalogue import Column

EARLIEST, LATEST = pd.Timestamp("1950-01-01"), pd.Timestamp("2100-01-01")
_SERIAL = r"[2-7]\d{4}(?:[.,]\d+)?"
_ISO = r"\d{4}-\d{1,2}-\d{1,2}(?:[T ].*)?|\d{8}"
_OFFSET_AT_END = r"\s*(Z|[+-]\d{2}:?\d{2}|UTC|GMT|BST|CET|CEST)$"
_OFFSET = r".*\d{1,2}:\d{2}.*(?:Z|[+-]\d{2}:?\d{2}|UTC|GMT|BST|CES?T)"
_CLOCK = r".*\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[AaPp]\.?[Mm]\.?)?"
_HOURS_OF = {"Z": 0, "UTC": 0, "GMT": 0, "BST": 1, "CET": 1, "CEST": 2}
_ZONE_IN_HEADER = {"utc": "UTC", "gmt": "UTC", "z": "UTC"}


@dataclass(frozen=True, slots=True)
class _Local:
    """Local times of the distinct texts, whether each has a time of day, and what is open."""

    times: pd.Series
    has_clock: np.ndarray
    open_points: tuple[OpenPoint, ...] = ()


def parse_dates(coded: Coded, column: Column, hints: Hints) -> Parsed:
    """Days as datetime64[us] at midnight, without zone."""
    seen = Distinct(coded)
    local = _local(seen, single_blanks(seen.texts), column, hints)
    _check_years(local.times, seen)
    days = local.times.dt.normalize().mask(seen.faulty)
    return parsed(column.name, seen, days, local.open_points)


def parse_moments(coded: Coded, column: Column, hints: Hints) -> Parsed:
    """Moments as datetime64[us, UTC], from the site's local time unless the cell has an offset.

    The hour that repeats in autumn is settled by the order of rows within a group; the hour that
    is skipped in spring is a fault. The zone is the one the header or an answer names, else the
    house's.
    """
    seen = Distinct(coded)
    fixed = seen.texts.str.fullmatch(_OFFSET).to_numpy(dtype=bool)
    texts = single_blanks(seen.texts)
    texts = (
        texts.str.replace(_OFFSET_AT_END, "", regex=True).where(fixed, texts)
        if fixed.any()
        else texts
    )
    local = _local(seen, texts, column, hints)
    times = local.times
    _check_years(times, seen)
    timeless = times.notna().to_numpy() & ~local.has_clock
    seen.blame(timeless, "has no time of day", "Write the time as well, such as 14/03/2025 08:00.")
    zone, asked = _zone_of(hints, bool((times.notna() & ~fixed).any()))
    wall = times.mask(fixed) if fixed.any() else times
    utc, doubtful = _localized(wall, zone, seen)
    if fixed.any():
        utc[fixed] = _with_offset(times[fixed], seen.texts[fixed])
    read = parsed(column.name, seen, utc.mask(seen.faulty), (*local.open_points, *asked))
    if not doubtful.any():
        return read
    rows, twice = _settle_repeated_hour(read.values, wall, doubtful, coded, column, hints, zone)
    return Parsed(rows, (*read.findings, *twice), read.open_points)


def _zone_of(hints: Hints, wall_clock: bool) -> tuple[str, tuple[OpenPoint, ...]]:
    """The zone wall-clock times are read in, and the question where nobody ever said it."""
    told = _ZONE_IN_HEADER.get(hints.unit) or hints.answers.get(ZONE, "")
    if told or hints.zone_stated or not wall_clock:
        return told or hints.time_zone, ()
    asked = OpenPoint(
        ZONE,
        "Which time zone do the clocks of the house keep?",
        f"Times without an offset are read as {hints.time_zone} until it is said; the house rules "
        "keep it.",
        default=hints.time_zone,
        holds=False,
    )
    return hints.time_zone, (asked,)


def _local(seen: Distinct, texts: pd.Series, column: Column, hints: Hints) -> _Local:
    texts, next_day = _midnight_as_24(texts)
    open_ = ~seen.missing
    local = pd.Series(pd.NaT, index=texts.index, dtype="datetime64[us]")
    iso = open_ & texts.str.fullmatch(_ISO).to_numpy(dtype=bool)
    if iso.any():
        local[iso] = _iso(texts[iso])
    serial = open_ & texts.str.fullmatch(_SERIAL).to_numpy(dtype=bool)
    if serial.any():
        local[serial] = serial_days(texts[serial])
    rest = open_ & ~iso & ~serial
    asked: tuple[OpenPoint, ...] = ()
    if rest.any():
        texts = texts.copy()
        written = _written(texts[rest])
        texts[rest] = written.texts
        local[rest], asked = _ordered(written, seen, hints, np.flatnonzero(rest))
    has_clock = texts.str.fullmatch(_CLOCK).to_numpy(dtype=bool).copy()
    if serial.any():
        has_clock |= serial & texts.str.contains("[.,]", regex=True).to_numpy(dtype=bool)
    local = local + pd.to_timedelta(next_day.astype("int64"), unit="D").to_numpy()
    unread = open_ & local.isna().to_numpy() & (seen.wrong == "") & ~_waits(asked, rest)
    wanted = "14/03/2025 08:00" if column.kind == "moment" else "14/03/2025"
    kind = "moment" if column.kind == "moment" else "date"
    seen.blame(unread, f"is no {kind} that can be read", f"Write it like {wanted}.")
    return _Local(local, has_clock, asked)


def _waits(asked: tuple[OpenPoint, ...], rest: np.ndarray) -> np.ndarray:
    return rest if asked else np.zeros(len(rest), dtype=bool)


@dataclass(frozen=True, slots=True)
class _Written:
    """Days as written: `texts` in one form, the day of the week beside each (0 Monday, -1 none),
    and how many can only be day first or month first."""

    texts: pd.Series
    weekdays: np.ndarray
    day_first: int
    month_first: int


def _written(texts: pd.Series) -> _Written:
    off = [weekday_off(str(text)) for text in texts]
    plain = pd.Series([text for text, _ in off], index=texts.index, dtype="str")
    weekdays = np.array([day for _, day in off], dtype=np.int64)
    return _Written(in_one_form(plain), weekdays, *order_evidence(plain))


def _midnight_as_24(texts: pd.Series) -> tuple[pd.Series, np.ndarray]:
    late = texts.str.fullmatch(r".*[T ]24:00(?::00)?").to_numpy(dtype=bool)
    if late.any():
        texts = texts.where(~late, texts.str.replace("24:00", "00:00", regex=False))
    return texts, late


def _iso(texts: pd.Series) -> pd.Series:
    return pd.to_datetime(texts, format="ISO8601", errors="coerce").astype("datetime64[us]")


def _ordered(
    written: _Written, seen: Distinct, hints: Hints, at: np.ndarray
) -> tuple[pd.Series, tuple[OpenPoint, ...]]:
    """Written dates whose order of day and month is settled for the whole column, or asked."""

    texts, weekdays = written.texts, written.weekdays

    @cache
    def read(order: bool) -> pd.Series:
        return by_formats(texts, order, _iso)

    figures = texts.str.fullmatch(SLASHED).to_numpy(dtype=bool)
    day, month = written.day_first, written.month_first
    if not day and not month:
        day, month = by_weekdays(read, weekdays)
    said = {DAY_FIRST: False, MONTH_FIRST: True}.get(hints.answers.get(DATES, ""))
    if said is None:  # a header that says how, such as `Sown (mm/dd/yyyy)`
        said = {"dd": False, "mm": True}.get(hints.unit[:2])
    month_first = month > day if day or month else said
    if month_first is None:
        month_first = hints.month_first
    if month_first is None and figures.any():
        rows = np.flatnonzero(np.isin(seen.coded.codes, at))
        codes = np.searchsorted(at, seen.coded.codes[rows])
        groups = None if hints.groups is None else hints.groups[rows]
        month_first = by_span(read, codes, groups)
    if month_first is None and figures.any() and _differ(read):
        sample = str(seen.texts.iloc[at[np.flatnonzero(figures)[0]]])
        asked = order_asked(hints.header, sample, read)
        return read(False), (asked,)
    local = read(bool(month_first))
    if day and month:
        _blame_both_orders(texts, seen, at, bool(month_first))
    _blame_weekdays(local, weekdays, seen, at)
    return local, ()


def _differ(read: Callable[[bool], pd.Series]) -> bool:
    """Whether the order matters: `05/05/2025` is the same either way."""
    return not read(False).equals(read(True))


def _blame_weekdays(local: pd.Series, weekdays: np.ndarray, seen: Distinct, at: np.ndarray) -> None:
    """A day of the week that is not the day's own: one of the two is wrong."""
    off = (weekdays >= 0) & local.notna().to_numpy() & (local.dt.day_of_week.to_numpy() != weekdays)
    for one in np.flatnonzero(off):
        when = local.iloc[one]
        seen.blame(
            int(at[one]),
            f"names another day of the week than {when:%Y-%m-%d}, a {when:%A}",
            "Correct the one that is wrong.",
        )


def _blame_both_orders(texts: pd.Series, seen: Distinct, at: np.ndarray, month_first: bool) -> None:
    """Both orders in one column: the few are listed, and with them all that fit either order."""
    parts = texts.str.extract(f"^{SLASHED}$")
    first, second = (pd.to_numeric(parts[i], errors="coerce").to_numpy() for i in (0, 1))
    strayed = (first > 12) if month_first else (second > 12)
    usual = "month" if month_first else "day"
    mend = "Write the year first, such as 2025-03-14."
    seen.blame(
        at[strayed], f"is not written with the {usual} first as the rest of the column", mend
    )
    both = (first <= 12) & (second <= 12) & (first != second)
    seen.blame(at[both], "may be day first or month first, and the column has both", mend)


def _check_years(local: pd.Series, seen: Distinct) -> None:
    outside = ((local < EARLIEST) | (local >= LATEST)).to_numpy()
    seen.blame(outside, "is outside the years 1950 to 2099", "Check the year.")


def _localized(local: pd.Series, zone: str, seen: Distinct) -> tuple[pd.Series, np.ndarray]:
    """UTC of local times (first occurrence where the hour repeats), and which ones repeat."""
    first = local.dt.tz_localize(zone, ambiguous=np.ones(len(local), dtype=bool), nonexistent="NaT")
    skipped = (first.isna() & local.notna()).to_numpy()
    seen.blame(
        skipped,
        f"did not exist: clocks went forward over this hour ({zone})",
        "Write the time the clock showed after it went forward.",
    )
    sure = local.dt.tz_localize(zone, ambiguous="NaT", nonexistent="NaT")
    return first.dt.tz_convert("UTC"), (first.notna() & sure.isna()).to_numpy()


def _with_offset(local: pd.Series, texts: pd.Series) -> pd.Series:
    """UTC of times that carry their offset or the name of their zone."""
    offsets = texts.str.extract(_OFFSET_AT_END)[0].map(_minutes)
    return (local - pd.to_timedelta(offsets, unit="min")).dt.tz_localize("UTC").dt.as_unit("us")


def _minutes(offset: str) -> int:
    if offset in _HOURS_OF:
        return 60 * _HOURS_OF[offset]
    sign = -1 if offset.startswith("-") else 1
    return sign * (int(offset[1:3]) * 60 + int(offset[-2:]))


def _settle_repeated_hour(
    utc: pd.Series,
    local: pd.Series,
    doubtful: np.ndarray,
    coded: Coded,
    column: Column,
    hints: Hints,
    zone: str,
) -> tuple[pd.Series, tuple[Finding, ...]]:
    """Second occurrence from where the clock runs back in a group; rows in no order: a fault.

    `local` and `doubtful` go by distinct text, `utc` by row.
    """
    rows = doubtful[coded.codes]
    clock = local.to_numpy()[coded.codes]
    groups = hints.groups if hints.groups is not None else np.zeros(len(utc), dtype=np.int64)
    later: list[int] = []
    guessed: list[int] = []
    lost: list[int] = []
    for group in np.unique(groups[rows]):
        of_group = np.flatnonzero((groups == group) & ~np.isnat(clock))
        at, turned, ordered = _run_back(clock[of_group], rows[of_group])
        kept = later if len(turned) else guessed
        (kept if ordered else lost).extend(of_group[turned if ordered and len(turned) else at])
    result = utc.copy()
    result.iloc[later] = _second_occurrence(clock[later], zone)
    result.iloc[lost] = pd.NaT
    texts = coded.spread(coded.texts)
    doubts = (
        _twice(guessed, texts, column, "warning", "read as the first of the two"),
        _twice(lost, texts, column, "fault", "the rows of the batch are not in order"),
    )
    return result, tuple(one for one in doubts if len(one.at))


def _second_occurrence(clock: np.ndarray, zone: str) -> pd.DatetimeIndex:
    """UTC of local times in the repeated hour, after the clock went back."""
    late = np.zeros(len(clock), dtype=bool)
    return pd.DatetimeIndex(clock).tz_localize(zone, ambiguous=late).tz_convert("UTC")


def _run_back(local: np.ndarray, doubtful: np.ndarray) -> tuple[np.ndarray, np.ndarray, bool]:
    """Doubtful positions, those of the second occurrence, and whether the rows are in order.

    The clock runs back once, inside the repeated hour; anywhere else a step back is disorder.
    """
    steps = np.diff(local.astype("int64"))
    back = np.flatnonzero(steps < 0) + 1
    again = np.flatnonzero(steps == 0) + 1
    at = np.flatnonzero(doubtful)
    turns = back[doubtful[back]]
    if len(turns) != len(back) or len(turns) > 1:
        return at, at[:0], False
    start = turns if len(turns) else again[doubtful[again]][:1]
    return at, (at[at >= start[0]] if len(start) else at[:0]), True


def _twice(rows: list[int], texts: pd.Series, column: Column, weight: str, why: str) -> Finding:
    return finding(
        sorted(rows),
        column.name,
        [str(texts.iloc[row]) for row in sorted(rows)],
        f"came twice that night when clocks went back; {why}",
        "Write the offset to be sure, such as 2025-10-26 02:30+01:00.",
        weight,  # type: ignore[arg-type]
    )
