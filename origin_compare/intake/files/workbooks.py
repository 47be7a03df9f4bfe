"""Workbooks to grids: every cell as shown, with its comment, its formula, what is hidden or struck.

Values come from openpyxl, which knows formats; the stored values of formulas, and whole workbooks
of the older kinds (.xls, .xlsb, .ods), from python-calamine, which knows values alone.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Sequence
from typing import Any

import numpy as np
import openpyxl
from python_calamine import CalamineWorkbook

from origin_compare.errors import RefusedFile
from origin_compare.intake.grid import Grid, Kind, Mark, Range, kind_of

MOST_ROWS = 1_048_576
WIDEST = 2000
LARGE = 48 * 2**20
"""Unpacked bytes above which a workbook is read cell by cell only, without comments, hidden rows
and merged cells: holding all its cells at once would take some fifty times as much memory."""

_ERROR = re.compile(r"#(?:N/A|DIV/0!|REF!|VALUE!|NAME\?|NUM!|NULL!|GETTING_DATA)")
_PADDED = re.compile(r'(?:"([^"]*)"|\\(.)|([A-Z/\-]))?(0{2,})(?:"([^"]*)")?')


def workbook_grids(name: str, content: bytes, source: str = "") -> tuple[Grid, ...]:
    """Every tab of an .xlsx workbook that holds anything.

    Raises `RefusedFile` if the file cannot be opened. The caller has checked its unpacked size.
    """
    large = _unpacked(content) > LARGE
    try:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=large, data_only=False)
    except Exception as error:  # openpyxl raises many kinds for a damaged file
        raise _damaged(name) from error
    try:
        stored = _Stored(content)
        grids = [_grid(name, tab, source or name, stored, large) for tab in book.worksheets]
    except RefusedFile:
        raise
    except Exception as error:
        raise _damaged(name) from error
    finally:
        book.close()
    return tuple(grid for grid in grids if grid.text.size)


def older_workbook_grids(name: str, content: bytes, source: str = "") -> tuple[Grid, ...]:
    """Every tab of an .xls, .xlsb or .ods workbook that holds anything; values alone."""
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        tabs = [(tab, book.get_sheet_by_name(tab)) for tab in book.sheet_names]
        grids = [_grid_of_values(name, tab, sheet, source or name) for tab, sheet in tabs]
    except Exception as error:  # calamine raises many kinds for a damaged or locked file
        raise _damaged(name) from error
    return tuple(grid for grid in grids if grid.text.size)


def _unpacked(content: bytes) -> int:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return sum(one.file_size for one in archive.infolist())


def _damaged(name: str) -> RefusedFile:
    return RefusedFile(
        f"{name}: the workbook is damaged or locked and cannot be opened. Open it in a "
        "spreadsheet and save it again as XLSX without a password, or as CSV."
    )


class _Stored:
    """The stored values of a workbook's formulas, opened only where there is one."""

    def __init__(self, content: bytes) -> None:
        self._content = content
        self._book: CalamineWorkbook | None = None
        self._tabs: dict[str, list[list[Any]]] = {}

    def value(self, tab: str, row: int, column: int) -> Any:
        """The value at a row and column from 0, None where the file holds none."""
        if tab not in self._tabs:
            book = self._book or CalamineWorkbook.from_filelike(io.BytesIO(self._content))
            self._book = book
            self._tabs[tab] = book.get_sheet_by_name(tab).to_python(skip_empty_area=False)
        rows = self._tabs[tab]
        value = rows[row][column] if row < len(rows) and column < len(rows[row]) else ""
        return None if value == "" else value


def _grid(name: str, tab: Any, source: str, stored: _Stored, large: bool) -> Grid:
    if large:
        tab.reset_dimensions()  # the size a tab states about itself is often wrong
    texts: list[list[str]] = []
    kinds: list[list[int]] = []
    marks: dict[tuple[int, int], Mark] = {}
    struck = _StruckStyles()
    for number, row in enumerate(tab.iter_rows(), start=1):
        if number > MOST_ROWS or len(row) > WIDEST:
            raise RefusedFile(
                f"{tab.title}: the tab has more than {MOST_ROWS:,} rows or {WIDEST:,} columns. "
                "Split it into several files."
            )
        line, told = [], []
        for column, cell in enumerate(row, start=1):
            text, kind, mark = _cell(cell, tab.title, number, column, stored, struck, large)
            line.append(text)
            told.append(kind)
            if mark is not None:
                marks[number, column] = mark
        texts.append(line)
        kinds.append(told)
    text_grid, kind_grid = _squared(texts, kinds)
    return Grid(
        name,
        tab.title,
        text_grid,
        kind_grid,
        marks,
        *_shape(tab, large),
        hidden=tab.sheet_state != "visible",
        source=source,
    )


def _shape(tab: Any, large: bool) -> tuple[tuple[Range, ...], frozenset[int], frozenset[int]]:
    """Merged ranges, hidden rows and hidden columns of a tab."""
    if large:
        return (), frozenset(), frozenset()
    merged = tuple(
        (one.min_row, one.min_col, one.max_row, one.max_col) for one in tab.merged_cells.ranges
    )
    rows = frozenset(at for at, one in tab.row_dimensions.items() if one.hidden)
    columns = frozenset(
        at
        for one in tab.column_dimensions.values()
        if one.hidden
        for at in range(one.min or 0, (one.max or -1) + 1)
    )
    return merged, rows, columns


def _cell(
    cell: Any, tab: str, row: int, column: int, stored: _Stored, struck: _StruckStyles, large: bool
) -> tuple[str, int, Mark | None]:
    """A cell's text as shown, its kind, and its mark if it has one."""
    value = cell.value
    comment = "" if large or cell.comment is None else str(cell.comment.text).strip()
    crossed = not large and value is not None and cell.has_style and struck.is_struck(cell)
    if value is None:
        return "", Kind.EMPTY, Mark(comment=comment) if comment else None
    number_format = str(cell.number_format)
    formula = ""
    if cell.data_type == "f" or type(value).__name__ in {"ArrayFormula", "DataTableFormula"}:
        formula = str(getattr(value, "text", value))
        value = stored.value(tab, row - 1, column - 1)
        if value is None:
            return formula, Kind.TEXT, Mark(comment, crossed, formula, lacks_value=True)
    text = as_shown(value, number_format)
    error = bool(_ERROR.fullmatch(text))
    mark = Mark(comment, crossed, formula, error=error)
    return text, kind_of_value(value, text), mark if mark != Mark() else None


class _StruckStyles:
    """Which cell styles strike their text out; each style is looked at once."""

    def __init__(self) -> None:
        self._known: dict[int, bool] = {}

    def is_struck(self, cell: Any) -> bool:
        style = int(cell.style_id)
        if style not in self._known:
            self._known[style] = bool(cell.font.strike)
        return self._known[style]


def _grid_of_values(name: str, tab: str, sheet: Any, source: str) -> Grid:
    rows = sheet.to_python(skip_empty_area=False)
    if len(rows) > MOST_ROWS or any(len(row) > WIDEST for row in rows[:1]):
        raise RefusedFile(
            f"{tab}: the tab has more than {MOST_ROWS:,} rows or {WIDEST:,} columns. Split it "
            "into several files."
        )
    texts = [[as_shown(value, "") for value in row] for row in rows]
    kinds = [
        [int(kind_of_value(value, text)) for value, text in zip(row, line, strict=True)]
        for row, line in zip(rows, texts, strict=True)
    ]
    marks = {
        (at + 1, column + 1): Mark(error=True)
        for at, line in enumerate(texts)
        for column, text in enumerate(line)
        if text.startswith("#") and _ERROR.fullmatch(text)
    }
    merged = tuple(
        (first[0] + 1, first[1] + 1, last[0] + 1, last[1] + 1)
        for first, last in (getattr(sheet, "merged_cell_ranges", None) or ())
    )
    return Grid(name, tab, *_squared(texts, kinds), marks, merged, source=source)


def _squared(
    texts: Sequence[Sequence[str]], kinds: Sequence[Sequence[int]]
) -> tuple[np.ndarray, np.ndarray]:
    """Texts and kinds as arrays, without the empty rows and columns at the end."""
    width = max((len(row) for row in texts), default=0)
    text = np.full((len(texts), width), "", dtype=object)
    kind = np.zeros((len(texts), width), dtype=np.int8)
    for at, (row, told) in enumerate(zip(texts, kinds, strict=True)):
        text[at, : len(row)], kind[at, : len(told)] = row, told
    filled = text != ""
    rows, columns = np.flatnonzero(filled.any(axis=1)), np.flatnonzero(filled.any(axis=0))
    height = int(rows[-1]) + 1 if len(rows) else 0
    wide = int(columns[-1]) + 1 if len(columns) else 0
    return text[:height, :wide], kind[:height, :wide]


def as_shown(value: object, number_format: str) -> str:  # noqa: PLR0911
    """A value as the spreadsheet shows it, figures with all the digits they have."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int | float):
        return _number(value, number_format)
    if isinstance(value, dt.datetime):
        return _moment(value, number_format)
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.timedelta):
        return _length(value)
    return str(value).strip()


def kind_of_value(value: object, text: str) -> Kind:
    """The kind a workbook gives a value; a text is what it looks like."""
    if not text:
        return Kind.EMPTY
    if isinstance(value, dt.datetime | dt.date):
        return Kind.MOMENT
    if isinstance(value, dt.time | dt.timedelta):
        return Kind.CLOCK
    if isinstance(value, int | float) and not isinstance(value, bool):
        return Kind.NUMBER
    return kind_of(text)


def _number(value: float, number_format: str) -> str:
    """Digits as a spreadsheet shows them: 15 significant ones, a percentage with its sign.

    `0000` pads with zeros and `"B"000` puts a letter before: such a number is a name.
    """
    percent = "%" in number_format
    shown = value * 100 if percent else value
    if not (isinstance(shown, int) or (float(shown).is_integer() and abs(shown) < 1e15)):
        return f"{shown:.15g} %" if percent else f"{shown:.15g}"
    padded = _PADDED.fullmatch(number_format.split(";", maxsplit=1)[0])
    if padded and shown >= 0:
        before = padded[1] or padded[2] or padded[3] or ""
        return f"{before}{int(shown):0{len(padded[4])}d}{padded[5] or ''}"
    return f"{int(shown)} %" if percent else str(int(shown))


def _moment(value: dt.datetime, number_format: str) -> str:
    """ISO text; only the day where the cell's own format shows no hours."""
    value = (value + dt.timedelta(milliseconds=500)).replace(microsecond=0)
    midnight = value.time() == dt.time(0)
    hours = "h" in number_format.casefold()
    return value.date().isoformat() if midnight and not hours else value.isoformat(sep=" ")


def _length(value: dt.timedelta) -> str:
    """Hours, minutes and seconds; a clock of 24:00 is a whole day to a spreadsheet."""
    seconds = round(value.total_seconds())
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
