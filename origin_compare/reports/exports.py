"""Tables as files that a spreadsheet opens without running anything in them."""

from __future__ import annotations

import io
import re

import pandas as pd

from origin_compare.sheets.formula_signs import harmless

XLSX_ROWS = 1_048_575
"""Rows a worksheet holds under its header."""


def safe_csv(table: pd.DataFrame) -> bytes:
    """CSV (UTF-8 with byte order mark, no index) in which no text will be run as a formula.

    A text cell or a header that begins like one gets an apostrophe in front, which the intake
    takes off again; figures and dates stay as they are.
    """
    return harmless(table).to_csv(index=False, lineterminator="\r\n").encode("utf-8-sig")


def safe_xlsx(table: pd.DataFrame, title: str = "season") -> bytes:
    """An XLSX workbook of one sheet `title`: texts as texts, figures as figures, days as days.

    Nothing is written as a formula or a link. Moments go in as UTC, which their header says,
    since a spreadsheet knows no time zone. The same table gives the same bytes. Raises
    `ValueError` past the 1,048,575 rows a sheet holds.
    """
    if len(table) > XLSX_ROWS:
        raise ValueError(f"{len(table):,} rows: a worksheet holds {XLSX_ROWS:,}. Write CSV.")
    found = io.BytesIO()
    plain = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    options = {"options": plain}
    with pd.ExcelWriter(found, engine="xlsxwriter", engine_kwargs=options) as writer:
        # A fixed date of making, else no two files were alike.
        writer.book.set_properties({"created": pd.Timestamp("2000-01-01").to_pydatetime()})
        _without_zone(table).to_excel(writer, sheet_name=_title(title), index=False)
        sheet = writer.sheets[_title(title)]
        sheet.freeze_panes(1, 0)
        sheet.autofit()
    return found.getvalue()


def _without_zone(table: pd.DataFrame) -> pd.DataFrame:
    columns, names = [], []
    for place, name in enumerate(table.columns):
        column, said = table.iloc[:, place], str(name)
        if isinstance(column.dtype, pd.DatetimeTZDtype):
            column, said = column.dt.tz_convert("UTC").dt.tz_localize(None), f"{said} (UTC)"
        columns.append(column)
        names.append(said)
    plain = pd.concat(columns, axis=1) if columns else table.copy()
    plain.columns = pd.Index(names)
    return plain


def _title(title: str) -> str:
    """A worksheet's name: at most 31 signs, none of those a workbook refuses."""
    return re.sub(r"[\[\]:*?/\\']", " ", title).strip()[:31] or "table"
