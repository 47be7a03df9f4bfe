"""A raw table, once understood, to typed rows; rows with faults are set aside as they stood."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from origin_compare.house import HouseRules
from origin_compare.intake.attributes import attribute_name
from origin_compare.intake.cells.clock_times import as_clock, as_day
from origin_compare.intake.cells.date_order import order_evidence
from origin_compare.intake.cells.decimal_signs import comma_evidence
from origin_compare.intake.cells.gravities import parse_gravity
from origin_compare.intake.cells.hydrometer import corrected, hydrometer_asked
from origin_compare.intake.cells.moments import parse_dates, parse_moments
from origin_compare.intake.cells.numbers import parse_figures
from origin_compare.intake.cells.reading import (
    MISSING_KEYS,
    MISSING_WORDS,
    Coded,
    Hints,
    Parsed,
    code,
    parse_text,
)
from origin_compare.intake.cells.remarks import marks_told, with_remarks
from origin_compare.intake.checks.cell_or_row import cell_or_row
from origin_compare.intake.checks.one_row import out_of_order, score_range
from origin_compare.intake.checks.plausible import unusual
from origin_compare.intake.findings import EMPTY, Finding, finding, mending
from origin_compare.intake.grid import address
from origin_compare.intake.headers import column_spellings
from origin_compare.intake.open_points import COMMA, DECIMALS, OpenPoint, told_apart
from origin_compare.intake.raw_table import MEND_HEADER, RawTable
from origin_compare.intake.recognise import Guess, Mapped
from origin_compare.sheets.catalogue import Column, Sheet

PROVENANCE = ("_file", "_tab", "_row")
"""Beside every clean row: file, tab and row number; `raw_text` gives its cells as written."""

_ROWS_AT_ONCE = 100_000

AT = "_at"
"""Position of a clean row's source in its raw table; a wide row gives several clean rows."""


@dataclass(frozen=True)
class Cleaned:
    """One table read and checked by itself.

    `frame`: every column of the sheet, typed, with `PROVENANCE` and `_at`; `bad`: per raw row
    whether it is set aside; `findings`: faults and warnings by position in the raw table;
    `open_points`: what headers and cells leave open.
    """

    raw: RawTable
    guess: Guess
    frame: pd.DataFrame
    bad: np.ndarray
    findings: tuple[Finding, ...]
    open_points: tuple[OpenPoint, ...] = ()

    @property
    def sheet(self) -> Sheet:
        """The sheet the table was read as."""
        return self.guess.sheet


def clean(raw: RawTable, guess: Guess, rules: HouseRules) -> Cleaned:
    """Type every column, check every cell, fill defaults; faulty rows are marked, not dropped.

    `frame` holds the good rows only. A column whose header is missing is all missing.
    """
    coded = _coded(raw, guess)
    shared = _shared_hints(coded, guess, rules)
    columns, findings, asked = _columns(raw, guess, coded, shared)
    findings = [*cell_or_row(_with_reader(raw, guess, findings), columns, guess.sheet)]
    findings += _needed(columns, coded, guess)
    findings += _one_of(columns, guess, ~_bad_rows(findings, len(raw.rows)))
    findings += unusual(columns, raw, guess, rules)
    findings += out_of_order(columns, guess.sheet)
    scores, more, asked_too = _attributes(coded, guess, shared, score_range(columns))
    findings += more
    asked = (*guess.open_points, *asked, *asked_too)
    bad = _bad_rows(findings, len(raw.rows))
    placed = {**columns, **_provenance(raw), AT: pd.Series(np.arange(len(raw.rows)))}
    frame = pd.DataFrame(placed, index=pd.RangeIndex(len(raw.rows)))
    frame = frame[~bad] if bad.any() else frame
    if guess.attributes:
        frame = _melted(frame, [(name, values[~bad]) for name, values in scores], more)
    frame = frame.reset_index(drop=True)
    return Cleaned(raw, guess, frame, bad, tuple(findings), told_apart(asked))


def set_aside(raw: RawTable, findings: Sequence[Finding], bad: np.ndarray) -> pd.DataFrame:
    """The rows set aside as they stood, under their own headers, with what to mend at the end.

    The index is the row number in the file. Written as CSV the frame can be mended and read back.
    """
    notes = mending(findings, len(raw.rows))
    frame = raw.cells[bad].set_axis(own_names(raw.headers), axis=1)
    frame = frame.assign(**{MEND_HEADER: notes[bad].to_numpy()})
    return frame.set_index(pd.Index(raw.rows[bad], name="row"))


def blank_column(column: Column, length: int) -> pd.Series:
    """A column of missing values of the kind's own type."""
    dtypes: Mapping[str, str] = {
        "count": "Int64",
        "date": "datetime64[us]",
        "moment": "datetime64[us, UTC]",
        "key": "str",
        "text": "str",
    }
    dtype = dtypes.get(column.kind, "float64")
    missing = pd.NaT if "date" in dtype else (pd.NA if dtype == "Int64" else np.nan)
    return pd.Series(missing, index=pd.RangeIndex(length), dtype=dtype)


def _with_reader(raw: RawTable, guess: Guess, findings: Sequence[Finding]) -> list[Finding]:
    """What the reader found goes first; a cell it listed already is not listed again."""
    names = {one.header: one.column.name for one in guess.mapped}
    first = [replace(one, column=names.get(one.column, one.column)) for one in raw.findings]
    result = list(first)
    for one in findings:
        listed = [other.at for other in first if other.column == one.column]
        new = ~np.isin(one.at, np.concatenate(listed)) if listed else np.ones(len(one.at), bool)
        result.append(one if new.all() else one.only(new))
    return [one for one in result if len(one.at)]


def _coded(raw: RawTable, guess: Guess) -> dict[int, Coded]:
    """The columns that are read, by position; a day gets its time of day from the other column."""
    used = [one.at for one in guess.mapped] + [at for at, _ in guess.attributes]
    coded = {at: code(raw.cells[at]) for at in used}
    for one in guess.mapped:
        if one.clock_at >= 0:
            clock = as_clock(raw.cells[one.clock_at])
            coded[one.at] = code((as_day(raw.cells[one.at]) + " " + clock).str.strip())
    return coded


def _columns(
    raw: RawTable, guess: Guess, coded: Mapping[int, Coded], shared: Hints
) -> tuple[dict[str, pd.Series], list[Finding], tuple[OpenPoint, ...]]:
    """Every column of the sheet as a typed series, in the sheet's order; findings; open points."""
    given = {one.column.name: one for one in guess.mapped}
    groups = _groups(coded, given, len(raw.rows))
    columns: dict[str, pd.Series] = {}
    findings: list[Finding] = []
    asked: list[OpenPoint] = []
    remarks: list[tuple[str, pd.Series]] = []
    beside: dict[str, pd.Series] = {}
    for column in guess.sheet.columns:
        texts = _texts(coded, guess, column, given, len(raw.rows))
        if texts is None:
            columns[column.name] = blank_column(column, len(raw.rows))
            continue
        one = given.get(column.name)
        narrowed = score_range(columns) if column.name == "score" else None
        hints = _hints_of(shared, column, one, groups)
        read = parse_column(texts, narrowed or column, hints)
        columns[column.name] = _as_attribute(read.values, column)
        findings.extend(read.findings)
        asked.extend(read.open_points)
        beside.update(read.beside)
        if read.remarks is not None:
            remarks.append((hints.header, read.remarks))
            findings.extend(marks_told(column.name, read))
    for name, values in beside.items():
        columns[name] = columns[name].fillna(values)
    if "sg" in given:
        _read_warm(raw, given["sg"].header, columns, shared, findings, asked, remarks)
    return with_remarks(columns, remarks), findings, tuple(asked)


def _read_warm(
    raw: RawTable,
    header: str,
    columns: dict[str, pd.Series],
    shared: Hints,
    findings: list[Finding],
    asked: list[OpenPoint],
    remarks: list[tuple[str, pd.Series]],
) -> None:
    """Correct a hydrometer's readings where that was said, or ask whether to."""
    point = hydrometer_asked(raw, header, shared)
    done = corrected(raw, header, columns, shared)
    if point is not None:
        asked.append(point)
    if done is not None:
        columns["sg"] = done.sg
        findings.extend(done.findings)
        remarks.append((header, done.remarks))


def _hints_of(shared: Hints, column: Column, one: Mapped | None, groups: np.ndarray) -> Hints:
    """What the file tells about one column."""
    return replace(
        shared,
        unit=one.unit if one else "",
        groups=groups if column.name == "read_at" else None,
        header=one.header if one else column.name,
        spellings=column_spellings(column),
    )


def _as_attribute(values: pd.Series, column: Column) -> pd.Series:
    """Attributes are written the same way whether they stand in a header or in a cell."""
    if column.name != "attribute":
        return values
    names = {name: attribute_name(str(name)) for name in values.dropna().unique()}
    return values.map(names).astype("str")


def parse_column(texts: Coded, column: Column, hints: Hints) -> Parsed:
    """The reader for the column's kind."""
    if column.kind in ("key", "text"):
        return parse_text(texts, column)
    if column.kind == "gravity":
        return parse_gravity(texts, column, hints)
    if column.kind == "date":
        return parse_dates(texts, column, hints)
    if column.kind == "moment":
        return parse_moments(texts, column, hints)
    return parse_figures(texts, column, hints)


def _texts(
    coded: Mapping[int, Coded],
    guess: Guess,
    column: Column,
    given: Mapping[str, Mapped],
    length: int,
) -> Coded | None:
    """The column's cells, constants and defaults filled in; None where nothing gives it."""
    constant = guess.constants.get(column.name)
    fill = constant or column.default
    if column.name in given:
        texts = coded[given[column.name].at]
        return texts.filled(fill) if fill else texts
    if fill is None:
        return None
    return Coded(np.zeros(length, dtype=np.int64), pd.Series([fill], dtype="str"))


def _shared_hints(coded: Mapping[int, Coded], guess: Guess, rules: HouseRules) -> Hints:
    """What all columns of the table together tell about figures and dates."""
    comma = point = day = month = 0
    for at, _ in guess.attributes:
        says_comma, says_point = comma_evidence(coded[at].texts)
        comma, point = comma + says_comma, point + says_point
    for one in guess.mapped:
        if one.column.kind in ("number", "temperature", "gravity"):
            says_comma, says_point = comma_evidence(coded[one.at].texts)
            comma, point = comma + says_comma, point + says_point
        elif one.column.kind in ("date", "moment"):
            says_day, says_month = order_evidence(coded[one.at].texts)
            day, month = day + says_day, month + says_month
    decimal_comma = guess.decimal_comma
    if decimal_comma is None and DECIMALS in guess.answers:
        decimal_comma = guess.answers[DECIMALS] == COMMA
    if decimal_comma is None and (comma or point) and not (comma and point):
        decimal_comma = comma > 0
    month_first = {"day first": False, "month first": True}.get(guess.date_order)
    if month_first is None and (day or month) and not (day and month):
        month_first = month > 0
    stated = rules.zone_stated or rules.time_zone != "UTC"
    return Hints(
        "", decimal_comma, month_first, rules.time_zone, stated, answers=dict(guess.answers)
    )


def _groups(coded: Mapping[int, Coded], given: Mapping[str, Mapped], length: int) -> np.ndarray:
    """A number per row, the same for the readings of one instrument in one batch."""
    groups = np.zeros(length, dtype=np.int64)
    for name in ("batch_id", "instrument"):
        if name in given:
            texts = coded[given[name].at]
            groups = groups * max(len(texts.texts), 1) + texts.codes
    return groups


def _needed(
    columns: Mapping[str, pd.Series], coded: Mapping[int, Coded], guess: Guess
) -> list[Finding]:
    """Cells that must be filled and are not; one already listed as unreadable is listed once."""
    cells = {one.column.name: coded[one.at] for one in guess.mapped}
    findings = []
    for column in guess.sheet.columns:
        wide = column.name == "attribute" and guess.attributes
        if not column.needed or wide or column.name not in cells:
            continue
        texts = cells[column.name]
        empty = _is_empty(texts.texts, column)[texts.codes]
        at = np.flatnonzero(columns[column.name].isna().to_numpy() & empty)
        if len(at):
            says = column.says.split(",")[0]
            mend = f"Every row of {guess.sheet.name} needs its {says}."
            findings.append(finding(at, column.name, "", EMPTY, mend))
    return findings


def _is_empty(texts: pd.Series, column: Column) -> np.ndarray:
    words = MISSING_KEYS if column.kind == "key" else MISSING_WORDS
    return texts.str.casefold().isin(words).to_numpy(dtype=bool)


def _one_of(columns: Mapping[str, pd.Series], guess: Guess, unblamed: np.ndarray) -> list[Finding]:
    """Rows that hold none of a group; where a cell is already listed, that says enough."""
    findings = []
    for group in guess.sheet.one_of:
        none = np.logical_and.reduce([columns[name].isna().to_numpy() for name in group])
        at = np.flatnonzero(none & unblamed)
        if len(at):
            names = f"{', '.join(group[:-1])} or {group[-1]}"
            mend = f"Fill in {names}, or take the row out."
            findings.append(finding(at, "", "", f"holds no {names}", mend))
    return findings


def _attributes(
    coded: Mapping[int, Coded], guess: Guess, shared: Hints, column: Column | None
) -> tuple[list[tuple[str, pd.Series]], list[Finding], list[OpenPoint]]:
    """Scores of a wide tasting sheet by attribute; columns left wholly empty are no attribute.

    A score that cannot be read sets its cell aside: no row is made of it.
    """
    scores: list[tuple[str, pd.Series]] = []
    findings: list[Finding] = []
    asked: list[OpenPoint] = []
    for at, name in guess.attributes:
        texts = coded[at]
        if not bool((texts.texts != "").any()):
            continue
        read = parse_figures(texts, column or guess.sheet.column("score"), shared)
        scores.append((name, read.values))
        asked.extend(read.open_points)
        findings.extend(
            replace(one, column=name, weight="cell" if one.weight == "fault" else one.weight)
            for one in read.findings
        )
    return scores, findings, asked


def _melted(
    frame: pd.DataFrame, scores: Sequence[tuple[str, pd.Series]], findings: Sequence[Finding]
) -> pd.DataFrame:
    """One row per score, row by row in the order of the sheet; none of a cell set aside."""
    parts = []
    for name, values in scores:
        aside = [one.at for one in findings if one.column == name and one.weight == "cell"]
        kept = ~frame[AT].isin(np.concatenate(aside)) if aside else slice(None)
        named = pd.Series(name, index=frame.index, dtype="str")
        parts.append(frame.assign(attribute=named, score=values).loc[kept])
    if not parts:
        return frame.iloc[:0]
    return pd.concat(parts, ignore_index=True).sort_values(AT, kind="stable")


def _bad_rows(findings: Sequence[Finding], length: int) -> np.ndarray:
    bad = np.zeros(length, dtype=bool)
    for one in findings:
        if one.weight == "fault":
            bad[one.at[one.at >= 0]] = True
    return bad


def repeated(text: str, length: int) -> pd.Series:
    """One text in every row."""
    return (
        pd.Series([text], dtype="str").take(np.zeros(length, dtype=np.int64)).reset_index(drop=True)
    )


def _provenance(raw: RawTable) -> dict[str, pd.Series]:
    """File, tab and row; of a table whose cells a layout moved, the cells as written as well."""
    length = len(raw.rows)
    moved: dict[str, pd.Series] = {}
    if raw.places is not None:
        moved = {"_raw": raw_text(raw, np.arange(length)), "_cells": cell_places(raw)}
    return moved | {
        "_file": repeated(raw.file, length),
        "_tab": repeated(raw.tab, length),
        "_row": pd.Series(raw.rows, dtype="int64"),
    }


def raw_text(raw: RawTable, at: np.ndarray) -> pd.Series:
    """The cells as written of the rows at these positions, each row a JSON object by header."""
    parts = [
        _json_rows(raw.cells.iloc[at[start : start + _ROWS_AT_ONCE]], raw.headers)
        for start in range(0, len(at), _ROWS_AT_ONCE)
    ]
    if not parts:
        return pd.Series([], dtype="str")
    return pd.concat(parts, ignore_index=True)


def cell_places(raw: RawTable) -> pd.Series:
    """Per row of a laid table the addresses of its cells, in the order of its headers.

    `A3 C2 - D3`; a cell that stands nowhere in the file, such as the tab's name, has a dash.
    """
    if raw.places is None:
        return pd.Series("", index=range(len(raw.rows)), dtype="str")
    return pd.Series(
        [" ".join(address(int(r), int(c)) if r else "-" for r, c in row) for row in raw.places],
        dtype="str",
    )


def _json_rows(cells: pd.DataFrame, headers: Sequence[str]) -> pd.Series:
    names = [json.dumps(header, ensure_ascii=False) for header in own_names(headers)]
    text = pd.Series(f'{{{names[0]}: "' if names else "{", index=cells.index, dtype="str")
    for at in range(len(names)):
        ends = f'", {names[at + 1]}: "' if at + 1 < len(names) else '"'
        text = text + _escaped(cells[at]) + ends
    return text + "}"


def _escaped(cells: pd.Series) -> pd.Series:
    if bool(cells.str.contains(r'["\\\x00-\x1f]', regex=True).any()):
        return cells.map(lambda cell: json.dumps(cell, ensure_ascii=False)[1:-1]).astype("str")
    return cells


def own_names(headers: Sequence[str]) -> list[str]:
    """Headers made different from one another, as a frame and a JSON object need."""
    names: list[str] = []
    for header in headers:
        name, count = header, 2
        while name in names:
            name, count = f"{header} ({count})", count + 1
        names.append(name)
    return names
