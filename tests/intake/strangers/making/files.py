"""Writers: grids of cells to the bytes of a file, the same bytes each time."""

from __future__ import annotations

import csv
import datetime as dt
import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from xml.sax.saxutils import escape

import xlsxwriter

Grid = Sequence[Sequence[Any]]
Lines = list[list[Any]]
"""A grid while it is being filled."""
WRITTEN = dt.datetime(2025, 1, 2, 3, 4, 5)


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a workbook that carries more than its value.

    `look` are the writing library's format properties; with a `formula`, `value` is the result
    that lies beside it ("" for one never reckoned).
    """

    value: Any
    look: Mapping[str, Any] = field(default_factory=dict)
    note: str = ""
    formula: str = ""


@dataclass(frozen=True, slots=True)
class Tab:
    """One tab; rows, columns and merged ranges (row, column, row, column) count from 0."""

    rows: Grid
    merged: Sequence[tuple[int, int, int, int]] = ()
    hidden_rows: Sequence[int] = ()
    hidden_columns: Sequence[int] = ()
    hidden: bool = False


def delimited(rows: Grid, sep: str = ",", encoding: str = "utf-8", line_end: str = "\r\n") -> bytes:
    """A text file of cells as they stand; quotes only where the separator asks for them."""
    out = io.StringIO()
    csv.writer(out, delimiter=sep, lineterminator=line_end).writerows(rows)
    return out.getvalue().encode(encoding)


def text(*lines: str, encoding: str = "utf-8") -> bytes:
    return "\r\n".join((*lines, "")).encode(encoding)


def book(tabs: Mapping[str, Tab | Grid]) -> bytes:
    """A workbook; dates, times and spans get the usual formats unless their cell says else."""
    out = io.BytesIO()
    workbook = start_book(out)
    for name, tab in tabs.items():
        _tab(workbook, name, tab if isinstance(tab, Tab) else Tab(tab))
    workbook.close()
    return out.getvalue()


def start_book(out: io.BytesIO) -> xlsxwriter.Workbook:
    """An empty workbook whose stamp does not change from run to run."""
    workbook = xlsxwriter.Workbook(out, {"in_memory": True})
    workbook.set_properties({"created": WRITTEN})
    return workbook


def _tab(workbook: xlsxwriter.Workbook, name: str, tab: Tab) -> None:
    sheet = workbook.add_worksheet(name)
    for range_ in tab.merged:
        sheet.merge_range(*range_, "")
    for at, row in enumerate(tab.rows):
        for across, cell in enumerate(row):
            if cell is not None:
                _cell(workbook, sheet, (at, across), cell)
    for at in tab.hidden_rows:
        sheet.set_row(at, None, None, {"hidden": True})
    for across in tab.hidden_columns:
        sheet.set_column(across, across, None, None, {"hidden": True})
    if tab.hidden:
        sheet.hide()


def _cell(workbook: xlsxwriter.Workbook, sheet: Any, at: tuple[int, int], cell: Any) -> None:
    full = cell if isinstance(cell, Cell) else Cell(cell)
    look = {**_usual_look(full.value), **full.look}
    style = workbook.add_format(look) if look else None
    if full.formula:
        sheet.write_formula(*at, full.formula, style, full.value)
    elif isinstance(full.value, str):
        sheet.write_string(*at, full.value, style)
    else:
        sheet.write(*at, full.value, style)
    if full.note:
        sheet.write_comment(*at, full.note, {"author": "office"})


def _usual_look(value: Any) -> dict[str, str]:
    if isinstance(value, dt.datetime):
        return {"num_format": "dd/mm/yyyy hh:mm"}
    if isinstance(value, dt.date):
        return {"num_format": "dd/mm/yyyy"}
    if isinstance(value, dt.time):
        return {"num_format": "hh:mm"}
    if isinstance(value, dt.timedelta):
        return {"num_format": "[h]:mm"}
    return {}


def web_page(title: str, rows: Grid) -> bytes:
    """A table as a web page, as many programs write it and call it .xls."""
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in row) + "</tr>\n"
        for row in rows
    )
    head = f'<html><head><meta charset="utf-8"><title>{escape(title)}</title></head>\n'
    return f"{head}<body><h3>{escape(title)}</h3>\n<table>\n{body}</table></body></html>\n".encode()


_ODS = "application/vnd.oasis.opendocument.spreadsheet"
_SPACES = " ".join(
    f'xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{long}:1.0"'
    for short, long in (("office", "office"), ("table", "table"), ("text", "text"))
)


def open_document(tabs: Mapping[str, Grid]) -> bytes:
    """An OpenDocument spreadsheet (ISO/IEC 26300) of text, numbers and moments."""
    tables = "".join(
        f'<table:table table:name="{escape(name)}">'
        + "".join(
            "<table:table-row>" + "".join(map(_ods_cell, row)) + "</table:table-row>"
            for row in rows
        )
        + "</table:table>"
        for name, rows in tabs.items()
    )
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {_SPACES} '
        f'office:version="1.2"><office:body><office:spreadsheet>{tables}'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    manifest = (
        '<?xml version="1.0" encoding="UTF-8"?><manifest:manifest '
        'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" '
        f'manifest:version="1.2"><manifest:file-entry manifest:full-path="/" '
        f'manifest:media-type="{_ODS}"/><manifest:file-entry manifest:full-path="content.xml" '
        'manifest:media-type="text/xml"/></manifest:manifest>'
    )
    return zipped({"mimetype": _ODS, "content.xml": content, "META-INF/manifest.xml": manifest})


def zipped(members: Mapping[str, str]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name), content)
    return out.getvalue()


def _ods_cell(value: Any) -> str:
    if value is None or value == "":
        return "<table:table-cell/>"
    if isinstance(value, dt.date):
        kind = f'office:value-type="date" office:date-value="{value.isoformat()}"'
    elif isinstance(value, int | float):
        kind = f'office:value-type="float" office:value="{value}"'
    else:
        kind = 'office:value-type="string"'
    return f"<table:table-cell {kind}><text:p>{escape(str(value))}</text:p></table:table-cell>"
