"""Dates and moments in cells: order of day and month, serial days, and the nights clocks change."""

from __future__ import annotations

import numpy as np
import pandas as pd

from origin_compare.intake.cells.reading import (
    Coded,
    Distinct,
    Hints,
    Parsed,
    parsed,
    single_blanks,
)
from origin_compare.intake.findings import Finding, finding
from origin_compare.sheets.catalogue import Column

EARLIEST, LATEST = pd.Timestamp("1950-01-01"), pd.Timestamp("2100-01-01")
_SERIAL = r"[2-7]\d{4}(?:[.,]\d+)?"
_SERIAL_ZERO = pd.Timestamp("1899-12-30")
_ISO = r"\d{4}-\d{1,2}-\d{1,2}(?:[T ].*)?|\d{8}"
_SLASHED = r"(\d{1,2})/(\d{1,2})/(\d{4}|\d{2})(?: .*)?"
_TWO_NUMBERS = r"^(\d{1,2})[./\-](\d{1,2})[./\-]"
_PADDED = r"\d\d/\d\d/\d{4}(?: \d\d:\d\d(?::\d\d)?)?"
_OFFSET = r".*\d{1,2}:\d{2}.*(?:Z|[+-]\d{2}:?\d{2})"
_CLOCK = r".*\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[AaPp]\.?[Mm]\.?)?"
_TIMES = ("", " %H:%M", " %H:%M:%S", " %I:%M %p", " %I:%M%p", " %I:%M:%S %p")
_WORDED = ("%d %b %Y", "%d %B %Y", "%d %b %y", "%b %d %Y", "%B %d %Y")


def parse_dates(coded: Coded, column: Column, hints: Hints) -> Parsed:
    """Days as datetime64[us] at midnight, without zone."""
    seen = Distinct(coded)
    local, _, findings = _local(seen, column, hints)
    _check_years(local, seen)
    local = local.dt.normalize().mask(seen.faulty)
    read = parsed(column.name, seen, local)
    return Parsed(read.values, (*read.findings, *findings))


def parse_moments(coded: Coded, column: Column, hints: Hints) -> Parsed:
    """Moments as datetime64[us, UTC], from the site's local time unless the cell has an offset.

    The hour that repeats in autumn is settled by the order of rows within a group; the hour that
    is skipped in spring is a fault.
    """
    seen = Distinct(coded)
    fixed = seen.texts.str.fullmatch(_OFFSET).to_numpy(dtype=bool)
    local, has_time, findings = _local(seen, column, hints, skip=fixed)
    _check_years(local, seen)
    timeless = local.notna().to_numpy() & ~has_time
    seen.blame(timeless, "has no time of day", "Write the time as well, such as 14/03/2025 08:00.")
    utc, doubtful = _localized(local, hints.time_zone, seen)
    if fixed.any():
        utc = _with_offset(utc, seen, fixed)
    read = parsed(column.name, seen, utc.mask(seen.faulty))
    rows = read.values
    twice: tuple[Finding, ...] = ()
    if doubtful.any():
        rows, twice = _settle_repeated_hour(rows, local, doubtful, coded, column, hints)
    return Parsed(rows, (*read.findings, *findings, *twice))


def order_evidence(texts: pd.Series) -> tuple[int, int]:
    """How many days among the texts can only be day first, and how many only month first."""
    heads = pd.Series(texts.str.slice(0, 6).unique(), dtype="str")
    parts = heads.str.extract(_TWO_NUMBERS).dropna()
    if parts.empty:
        return 0, 0
    first, second = (parts[i].astype("int64") for i in (0, 1))
    return int((first > 12).sum()), int((second > 12).sum())


def _local(
    seen: Distinct, column: Column, hints: Hints, skip: np.ndarray | None = None
) -> tuple[pd.Series, np.ndarray, tuple[Finding, ...]]:
    """Local times of the distinct texts, whether each has a time of day, and column warnings."""
    texts, next_day = _midnight_as_24(single_blanks(seen.texts))
    open_ = ~seen.missing if skip is None else ~(seen.missing | skip)
    local = pd.Series(pd.NaT, index=texts.index, dtype="datetime64[us]")
    has_time = texts.str.fullmatch(_CLOCK).to_numpy(dtype=bool)
    iso = open_ & texts.str.fullmatch(_ISO).to_numpy(dtype=bool)
    if iso.any():
        local[iso] = _iso(texts[iso])
    serial = open_ & texts.str.fullmatch(_SERIAL).to_numpy(dtype=bool)
    if serial.any():
        local[serial] = serial_days(texts[serial])
        has_time = has_time | serial & texts.str.contains("[.,]", regex=True).to_numpy(dtype=bool)
    rest = open_ & ~iso & ~serial
    findings: tuple[Finding, ...] = ()
    if rest.any():
        local[rest], findings = _ordered(texts[rest], seen, column, hints, np.flatnonzero(rest))
    local = local + pd.to_timedelta(next_day.astype("int64"), unit="D").to_numpy()
    unread = open_ & local.isna().to_numpy() & (seen.wrong == "")
    wanted = "14/03/2025 08:00" if column.kind == "moment" else "14/03/2025"
    kind = "moment" if column.kind == "moment" else "date"
    seen.blame(unread, f"is no {kind} that can be read", f"Write it like {wanted}.")
    return local, has_time, findings


def _midnight_as_24(texts: pd.Series) -> tuple[pd.Series, np.ndarray]:
    late = texts.str.fullmatch(r".*[T ]24:00(?::00)?").to_numpy(dtype=bool)
    if late.any():
        texts = texts.where(~late, texts.str.replace("24:00", "00:00", regex=False))
    return texts, late


def _iso(texts: pd.Series) -> pd.Series:
    return pd.to_datetime(texts, format="ISO8601", errors="coerce").astype("datetime64[us]")


def serial_days(texts: pd.Series) -> pd.Series:
    """Spreadsheet days since 30 December 1899, to the nearest second."""
    days = texts.str.replace(",", ".", regex=False).astype("float64")
    seconds = (days * 86400).round().astype("int64")
    return (_SERIAL_ZERO + pd.to_timedelta(seconds, unit="s")).astype("datetime64[us]")


def _slashes(texts: pd.Series) -> pd.Series:
    """One sign between day, month and year: `14.3.2025`, `14-03-2025` -> `14/3/2025`."""
    return texts.str.replace(r"^(\d{1,4})[.\-](\d{1,2})[.\-](\d{1,4})", r"\1/\2/\3", regex=True)


def _ordered(
    texts: pd.Series, seen: Distinct, column: Column, hints: Hints, at: np.ndarray
) -> tuple[pd.Series, tuple[Finding, ...]]:
    """Written dates whose order of day and month is settled for the whole column."""
    slashed = _slashes(texts)
    day, month = order_evidence(texts)
    by_figures = slashed.str.fullmatch(_SLASHED).to_numpy(dtype=bool)
    month_first = month > day if day or month else hints.month_first
    local = _by_formats(slashed, bool(month_first))
    if day and month:
        _blame_both_orders(slashed, seen, at, bool(month_first), local)
    findings: tuple[Finding, ...] = ()
    if month_first is None and by_figures.any():
        findings = (_undecided(column, seen, at, by_figures),)
    return local, findings


def _formats(month_first: bool) -> tuple[str, ...]:
    first, second = ("%m", "%d") if month_first else ("%d", "%m")
    days = (f"{first}/{second}/%Y", f"{first}/{second}/%y", "%Y/%m/%d")
    return tuple(day + time for day in days for time in _TIMES) + tuple(
        day + time for day in _WORDED for time in _TIMES
    )


def _by_formats(texts: pd.Series, month_first: bool) -> pd.Series:
    """Local times; the usual way of writing goes first, turned round to year, month, day."""
    local = pd.Series(pd.NaT, index=texts.index, dtype="datetime64[us]")
    padded = texts.str.fullmatch(_PADDED)
    if bool(padded.any()):
        turned = r"\3-\1-\2" if month_first else r"\3-\2-\1"
        year_first = texts[padded].str.replace(r"^(\d\d)/(\d\d)/(\d{4})", turned, regex=True)
        local[padded] = _iso(year_first)
    worded = local.isna() & texts.str.contains("[A-Za-z]", regex=True)
    if bool(worded.any()):
        texts = texts.where(~worded, texts.str.replace(r"(?<=\w)[\-,]+ ?|, ", " ", regex=True))
    for form in _formats(month_first):
        left = local.isna() & ~padded
        if not left.any():
            break
        read = pd.to_datetime(texts[left], format=form, errors="coerce")
        local[left] = read.astype("datetime64[us]")
    return local


def _blame_both_orders(
    texts: pd.Series, seen: Distinct, at: np.ndarray, month_first: bool, local: pd.Series
) -> None:
    """Both orders in one column: the few are listed, and with them all that fit either order."""
    parts = texts.str.extract(_SLASHED)
    first, second = (pd.to_numeric(parts[i], errors="coerce").to_numpy() for i in (0, 1))
    strayed = (first > 12) if month_first else (second > 12)
    usual = "month" if month_first else "day"
    mend = "Write the year first, such as 2025-03-14."
    seen.blame(
        at[strayed], f"is not written with the {usual} first as the rest of the column", mend
    )
    both = (first <= 12) & (second <= 12) & (first != second)
    seen.blame(at[both], "may be day first or month first, and the column has both", mend)


def _undecided(column: Column, seen: Distinct, at: np.ndarray, figures: np.ndarray) -> Finding:
    sample = seen.texts.iloc[at[np.flatnonzero(figures)[0]]]
    return finding(
        [-1],
        column.name,
        [sample],
        "and all other dates of this column fit day first and month first; read as day first",
        "If the month stands first, say so once for files of this kind.",
        "warning",
    )


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


def _with_offset(utc: pd.Series, seen: Distinct, fixed: np.ndarray) -> pd.Series:
    read = pd.to_datetime(seen.texts[fixed], errors="coerce", utc=True, format="ISO8601")
    seen.blame(
        np.flatnonzero(fixed)[read.isna().to_numpy()],
        "is no moment that can be read",
        "Write it like 2025-03-14 08:00+01:00.",
    )
    result = utc.copy()
    result[fixed] = read.astype("datetime64[us, UTC]")
    return result


def _settle_repeated_hour(
    utc: pd.Series,
    local: pd.Series,
    doubtful: np.ndarray,
    coded: Coded,
    column: Column,
    hints: Hints,
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
    result.iloc[later] = _second_occurrence(clock[later], hints.time_zone)
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
