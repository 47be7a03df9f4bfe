"""Moments written in two columns: the day in one, the time of day in the other."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from origin_compare.intake.cells.clock_times import CLOCKS, LOOSE, says_time
from origin_compare.intake.headers import plain, spellings
from origin_compare.intake.raw_table import RawTable
from origin_compare.sheets.catalogue import Column, Sheet

FIGURE = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_DAYS = re.compile(
    r"\d{4}-\d\d-\d\d(?: 00:00:00)?|\d{1,2}[./-]\d{1,2}[./-]\d{2,4}"
    r"|\d{1,2}[ -][A-Za-z]{3,9}[ -]\d{2,4}|[2-7]\d{4}|\d{4}-?W\d{2}-?[1-7]"
)


@dataclass(frozen=True, slots=True)
class Mapped:
    """One column of a file: position, header as written, the column it stands for, its unit.

    `clock_at`: position of the time of day where day and time stand in two columns, else -1.
    """

    at: int
    header: str
    column: Column
    unit: str = ""
    clock_at: int = -1


def join_halves(
    raw: RawTable, mapped: Sequence[Mapped], unknown: Sequence[str]
) -> tuple[list[Mapped], list[str]]:
    """A moment whose day and time of day stand in two columns, joined to one.

    The other half is a second header mapped to the same column, or else the one header not known
    that holds what is lacking; of several the one that begins with the same word.
    """
    result, free = list(mapped), list(unknown)
    for one in mapped:
        if one.column.kind != "moment" or one not in result:
            continue
        lacks = _has_clock if _has_day(raw, one.at) else _has_day
        if lacks is _has_day and not _has_clock(raw, one.at):
            continue
        twins = [m.header for m in result if m.column == one.column and m is not one]
        other = _other_half(raw, one.header, twins or free, lacks)
        if other is None:
            continue
        result = [m for m in result if m.header != raw.headers[other] and m is not one]
        free = [header for header in free if header != raw.headers[other]]
        day, clock = (one.at, other) if lacks is _has_clock else (other, one.at)
        result.append(Mapped(day, raw.headers[day], one.column, "", clock))
    return result, free


def hour_of_day(
    raw: RawTable, sheet: Sheet, mapped: Sequence[Mapped], unknown: Sequence[str]
) -> tuple[list[Mapped], list[str]]:
    """`Hour` beside a day is the hour of that day, not the hours since the yeast went in."""
    hour = next((one for one in mapped if one.column.name == "hours" and _is_hour(raw, one)), None)
    if hour is None or any(one.column.kind == "moment" for one in mapped):
        return list(mapped), list(unknown)
    days = [at for at, name in enumerate(raw.headers) if name in unknown and _has_day(raw, at)]
    if len(days) != 1:
        return list(mapped), list(unknown)
    moment = Mapped(days[0], raw.headers[days[0]], sheet.column("read_at"), "", hour.at)
    rest = [one for one in mapped if one is not hour]
    return [*rest, moment], [name for name in unknown if name != moment.header]


def _is_hour(raw: RawTable, one: Mapped) -> bool:
    return not one.unit and says_time(one.header) and _has_clock(raw, one.at)


def named_halves(
    raw: RawTable, sheet: Sheet, mapped: Sequence[Mapped], unknown: Sequence[str]
) -> tuple[list[Mapped], list[str]]:
    """`Read date` and `Read time`: neither says the moment alone, together they do."""
    result, free = list(mapped), list(unknown)
    taken = {one.column.name for one in mapped}
    for column in sheet.columns:
        if column.kind != "moment" or column.name in taken:
            continue
        stems = {said for said, names in spellings(sheet.name).items() if column.name in names}
        named = [at for at, name in enumerate(raw.headers) if name in free and _stem(name) in stems]
        days = [at for at in named if _has_day(raw, at)]
        clocks = [at for at in named if _has_clock(raw, at)]
        if len(days) == len(clocks) == 1:
            day, clock = days[0], clocks[0]
            result.append(Mapped(day, raw.headers[day], column, "", clock))
            free = [name for name in free if name not in (raw.headers[day], raw.headers[clock])]
    return result, free


def _stem(header: str) -> str:
    return re.sub(r"^(?:date|time|clock)|(?:date|time|clock)$", "", plain(header))


def _other_half(
    raw: RawTable, header: str, among: Sequence[str], fits: Callable[[RawTable, int], bool]
) -> int | None:
    fitting = [at for at, name in enumerate(raw.headers) if name in among and fits(raw, at)]
    first = re.split(r"[\s_]+", header.strip().casefold())[0]
    alike = [at for at in fitting if raw.headers[at].casefold().startswith(first)]
    chosen = fitting if len(fitting) == 1 else alike
    return chosen[0] if len(chosen) == 1 else None


def _has_day(raw: RawTable, at: int) -> bool:
    return holds(raw, at, _DAYS)


def _has_clock(raw: RawTable, at: int) -> bool:
    return holds(raw, at, LOOSE if says_time(raw.headers[at]) else CLOCKS)


def holds(raw: RawTable, at: int, form: re.Pattern[str]) -> bool:
    """Nearly all filled cells among the first 500 are of this form."""
    filled = [text for text in raw.cells[at].head(500).tolist() if text]
    fits = sum(form.fullmatch(text) is not None for text in filled)
    return bool(filled) and fits > 0.8 * len(filled)
