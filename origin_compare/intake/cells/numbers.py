"""Figures in cells: numbers, counts and temperatures in the column's own unit."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from origin_compare.intake.cells.decimal_signs import settle_thousands, ungrouped, writes_comma
from origin_compare.intake.cells.reading import BELOW_LIMIT, Coded, Distinct, Hints, Parsed, parsed
from origin_compare.intake.cells.written import COMMA, POINT, Written, taken_apart
from origin_compare.intake.header_units import unit_asked
from origin_compare.intake.open_points import UNIT, OpenPoint
from origin_compare.measures import l_deg_kg_to_pct, protein_to_n
from origin_compare.sheets.catalogue import Column
from origin_compare.sheets.unit_choices import LEAVE_OUT
from origin_compare.sheets.units import conversion, meanings_for, settled

_CLOCK = re.compile(r"(\d{1,3})[:h](\d{2})(?::(\d{2}))?")
_ABOVE = re.compile(r"[>≥]|more than |above |over ")
_CELLS_UNIT = "Write the figure alone."


def parse_figures(coded: Coded, column: Column, hints: Hints) -> Parsed:
    """Numbers, counts and temperatures in the column's own unit; the impossible is a fault."""
    seen = Distinct(coded)
    written_ = taken_apart(seen)
    if _is_length(column):
        written_ = _clocks_as_hours(written_)
    changes, asked = _changes(written_.units, seen, column, hints)
    figures, more = read_figures(seen, written_, column, hints, changes)
    values = figures * changes[:, 0] + changes[:, 1]
    blame_below(seen, written_)
    check_range(values, seen, column)
    if column.kind == "count":
        _check_whole(values, seen)
    values[seen.faulty] = np.nan
    typed = pd.Series(values, dtype="float64")
    whole = typed.astype("Int64") if column.kind == "count" else typed
    return parsed(column.name, seen, whole, (*asked, *more), remarks_of(seen, written_))


def read_figures(
    seen: Distinct, written_: Written, column: Column, hints: Hints, changes: np.ndarray | None
) -> tuple[np.ndarray, tuple[OpenPoint, ...]]:
    """Figures of the distinct texts, and what is asked about them; what is none is blamed.

    `changes` (factor and offset per text) says what each figure is in the column's own unit;
    None for gravity, which has no thousands to settle.
    """
    texts = written_.figures
    values = np.full(len(texts), np.nan)
    point = texts.str.fullmatch(POINT).to_numpy(dtype=bool)
    values[point] = texts[point].astype("float64")
    comma = texts.str.fullmatch(COMMA).to_numpy(dtype=bool) & ~point
    if comma.any():
        values[comma] = texts[comma].str.replace(",", ".", regex=False).astype("float64")
    asked: tuple[OpenPoint, ...] = ()
    if changes is not None:
        says_comma = writes_comma(seen.texts, hints.decimal_comma)
        one = settle_thousands(values, texts, column, says_comma, changes)
        asked = (one,) if one else ()
    for at in np.flatnonzero(~point & ~comma & ~seen.missing):
        grouped = ungrouped(texts.iloc[at])
        if grouped is None:
            seen.blame(int(at), *_unreadable(seen.texts.iloc[at]))
        else:
            values[at] = grouped
    return values, asked


def blame_below(seen: Distinct, written_: Written) -> None:
    """A figure below a limit is no figure: the cell is left empty and the limit kept as noted."""
    for at in np.flatnonzero(written_.below):
        seen.blame(
            int(at),
            f"is below a limit of {written_.figures.iloc[at]}, so there is no figure",
            "Nothing to mend: it is no 0, and the limit is kept as a remark where there is a note.",
        )


def remarks_of(seen: Distinct, written_: Written) -> np.ndarray:
    """Per distinct text the mark that stood around the figure, "" where it was set aside."""
    kept = written_.marks.copy()
    kept[seen.faulty & ~written_.below] = ""
    return kept


def written(value: float) -> str:
    """A figure as one would write it in a cell."""
    return f"{round(value, 6):.10g}"


def limits(possible: tuple[float, float]) -> str:
    """`2.5 to 7.0`, `1 to 1,000,000`."""
    low, high = (f"{end:,.0f}" if abs(end) >= 1000 else str(end) for end in possible)
    return f"{low} to {high}"


def _possible(value: float, column: Column) -> bool:
    low, high = column.possible or (-np.inf, np.inf)
    return bool(low <= value <= high)


def _is_length(column: Column) -> bool:
    return column.name == "hours" or column.name.endswith("_h")


def _clocks_as_hours(written_: Written) -> Written:
    """`5:30` and `16h30` in a column of hours are lengths of time."""
    whole = written_.figures + pd.Series(written_.units, dtype="str")
    clocks = whole.str.fullmatch(_CLOCK.pattern).to_numpy(dtype=bool)
    if not clocks.any():
        return written_
    figures, units = written_.figures.copy(), written_.units.copy()
    for at in np.flatnonzero(clocks):
        figures.iloc[int(at)] = _CLOCK.sub(_hours, figures.iloc[at] + units[at])
        units[at] = ""
    return Written(figures, units, written_.marks, written_.below)


def _hours(match: re.Match[str]) -> str:
    hours, minutes, seconds = (int(part or 0) for part in match.groups())
    return f"{hours + minutes / 60 + seconds / 3600:.10g}"


def _unreadable(text: str) -> tuple[str, str]:
    low = text.casefold()
    if low in BELOW_LIMIT:
        return (
            "is no figure but a remark that too little was found",
            "Write the laboratory's limit in the note and leave the cell empty; do not write 0.",
        )
    if _CLOCK.fullmatch(low):
        hours, minutes = re.split("[:h]", low)[:2]
        return "is a time, not a figure", f"Write {int(hours) + int(minutes) / 60:.4g} for hours."
    if _ABOVE.match(low):
        return (
            "is a limit, not a figure",
            "Leave the cell empty and write the limit in the note; do not write the limit or 0.",
        )
    if low.startswith("="):
        return "is a formula, not a figure", "Paste the column as values, then load the file again."
    return "is not a figure", "Write a figure, or leave the cell empty."


def _changes(
    units: np.ndarray, seen: Distinct, column: Column, hints: Hints
) -> tuple[np.ndarray, tuple[OpenPoint, ...]]:
    """Per text the factor and offset to the column's own unit; the cell's unit before the header's.

    A unit that may mean several amounts is asked about, one that does not fit is blamed.
    """
    changes = np.tile(np.array(conversion(column, hints.unit) or (1.0, 0.0)), (len(units), 1))
    asked: list[OpenPoint] = []
    for unit in dict.fromkeys(units[units != ""]):
        here = units == unit
        told = _settled_unit(unit, column, hints)
        change = None if told is None else conversion(column, told)
        if change is not None:
            changes[here] = change
        elif meanings_for(column, unit) and told != LEAVE_OUT:
            asked.append(unit_asked(column, hints.header or column.name, unit))
        else:
            seen.blame(here, f"has a unit, {unit}, that does not fit this column", _CELLS_UNIT)
    return changes, tuple(asked)


def _settled_unit(unit: str, column: Column, hints: Hints) -> str | None:
    """The unit of a cell as it was answered; the column's own name behind a figure is no unit."""
    if "".join(sign for sign in unit if sign.isalnum()) in hints.spellings:
        return ""
    answer = hints.answers.get(f"{UNIT}: {unit}", "")
    return settled(column, unit, answer) if answer else unit


def _check_whole(values: np.ndarray, seen: Distinct) -> None:
    broken = ~np.isnan(values) & (values != np.round(values))
    seen.blame(broken, "is not a whole number", "Write a whole number.")


def check_range(values: np.ndarray, seen: Distinct, column: Column) -> None:
    """Blame what is outside the possible, with what may have happened to it."""
    if column.possible is None:
        return
    low, high = column.possible
    outside = ~np.isnan(values) & ~((values >= low - 1e-9) & (values <= high + 1e-9))
    for at in np.flatnonzero(outside & ~seen.faulty):
        seen.blame(int(at), f"is outside {limits(column.possible)}", advice(values[at], column))


def advice(value: float, column: Column) -> str:
    """What may have happened to a figure that cannot be."""
    other = _swapped(value, column) or _other_unit(value, column)
    if other:
        return other
    if column.kind == "temperature" and column.possible and value > column.possible[1]:
        celsius = (value - 32) / 1.8
        if _possible(celsius, column):
            return f"In °F? {written(value)} °F is {celsius:.1f} °C. Write {celsius:.1f}."
    for power in (10, 100, 1000):
        if _possible(value / power, column) and value > 0:
            return f"A decimal point lost? Write {written(value / power)}."
    if "_pct" in column.name and 0 < value <= 1 and _possible(value * 100, column):
        return f"A share instead of a percentage? Write {written(value * 100)}."
    if column.kind == "gravity":
        return "Write it as SG, like 1.0652."
    return "Check the figure against the record it came from."


def _swapped(value: float, column: Column) -> str:
    """A gravity in the pH column, or a pH in the gravity column."""
    if column.name.endswith("ph") and (0.98 <= value <= 1.14 or 980 <= value <= 1140):
        return "This looks like a gravity. Were the columns swapped? Write the pH here."
    if column.kind == "gravity" and 2.5 <= value <= 7:
        return "This looks like a pH. Were the columns swapped? Write the gravity here."
    return ""


def _other_unit(value: float, column: Column) -> str:
    """Protein among nitrogen, or litre-degrees among per cent of extract."""
    if column.name == "grain_n_pct_dm" and 6 <= value <= 25:
        return (
            f"Protein? {written(value)} % protein is {float(protein_to_n(value)):.2f} % nitrogen. "
            "Write that, or put protein into a column of its own."
        )
    if column.name == "extract_pct_dm" and 193 <= value <= 366:
        return (
            f"In L°/kg? {written(value)} L°/kg is about {float(l_deg_kg_to_pct(value)):.1f} %. "
            "Write that, or put L°/kg into a column of its own."
        )
    return ""
