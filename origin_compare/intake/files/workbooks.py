"""Workbooks: every tab, every cell as text; a formula is listed, never read as an empty cell."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Iterator
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
from openpyxl.utils import get_column_letter

from origin_compare.errors import RefusedFile
from origin_compare.intake.files.text_files import WIDEST, assemble
from origin_compare.intake.findings import Finding, finding
from origin_compare.intake.headers import HEADER_WITHIN, find_header
from origin_compare.intake.raw_table import RawTable

MOST_ROWS = 1_048_576


def read_workbook(name: str, content: bytes, source: str = "") -> tuple[RawTable, ...]:
    """The table of every tab that has a header row.

    Raises `RefusedFile` if the file cannot be opened or no tab holds a table. The caller has
    checked its unpacked size.
    """
    try:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=False)
    except Exception as error:  # openpyxl raises many kinds for a damaged file
        raise _damaged(name) from error
    try:
        tables = [_read_tab(name, tab, source) for tab in book.worksheets]
    except RefusedFile:
        raise
    except Exception as error:
        raise _damaged(name) from error
    finally:
        book.close()
    found = tuple(table for table in tables if table is not None)
    if not found:
        raise RefusedFile(
            f"{name}: none of its {len(tables)} tabs holds a table with a header row. Give each "
            "column a name in the first row, such as batch_id, read_at, sg."
        )
    return found


def _damaged(name: str) -> RefusedFile:
    return RefusedFile(
        f"{name}: the workbook is damaged or locked and cannot be opened. Open it in a "
        "spreadsheet and save it again as XLSX without a password, or as CSV."
    )


def _read_tab(name: str, tab: Any, source: str) -> RawTable | None:
    tab.reset_dimensions()  # the size a tab states about itself is often wrong
    texts: list[list[str]] = []
    numbers: list[int] = []
    found: list[tuple[int, int, str, str]] = []
    for row, record, faulty in _records(tab):
        texts.append(record)
        numbers.append(row)
        found.extend((len(texts) - 1, column, text, why) for column, text, why in faulty)
    while texts and not any(texts[-1]):
        texts.pop()
        numbers.pop()
    at = find_header(texts[:HEADER_WITHIN])
    if at is None:
        return None
    headers = [cell.strip() for cell in texts[at]]
    while headers and not headers[-1]:
        headers.pop()
    rows = np.asarray(numbers[at + 1 :], dtype=np.int64)
    cells, extra = _frame(texts[at + 1 :], len(headers))
    findings = _formulas(
        [(p - at - 1, c, text, why) for p, c, text, why in found if p > at], headers, rows
    )
    first = numbers[at] + 1
    return assemble(name, tab.title, headers, cells, extra, first, source, findings, rows)


def _records(tab: Any) -> Iterator[tuple[int, list[str], list[tuple[int, str, str]]]]:
    """Row number, texts, and (column, text, why) of cells that cannot be taken as they are."""
    for number, row in enumerate(tab.iter_rows(), start=1):
        if number > MOST_ROWS or len(row) > WIDEST:
            raise RefusedFile(
                f"{tab.title}: the tab has more than {MOST_ROWS:,} rows or {WIDEST:,} columns. "
                "Split it into several files."
            )
        texts, faulty = [], []
        for column, cell in enumerate(row):
            text, why = _text(cell)
            texts.append(text)
            if why:
                faulty.append((column, text, why))
        yield number, texts, faulty


def _text(cell: Any) -> tuple[str, str]:
    """A cell's text, and why it cannot be taken ("" if it can)."""
    value = cell.value
    if value is None:
        return "", ""
    if cell.data_type == "f" or type(value).__name__ in {"ArrayFormula", "DataTableFormula"}:
        return str(getattr(value, "text", value)), "formula"
    return _plain_text(value, str(cell.number_format)), "error" if cell.data_type == "e" else ""


def _plain_text(value: object, number_format: str) -> str:
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int | float):
        return _number(value, "%" in number_format)
    if isinstance(value, dt.datetime):
        return _moment(value, number_format)
    if isinstance(value, dt.timedelta):
        return _length(value)
    return str(value).strip()


def _number(value: float, percent: bool) -> str:
    """Digits as a spreadsheet shows them: 15 significant ones, a percentage with its sign."""
    shown = value * 100 if percent else value
    if isinstance(shown, int) or (float(shown).is_integer() and abs(shown) < 1e15):
        text = str(int(shown))
    else:
        text = f"{shown:.15g}"
    return f"{text} %" if percent else text


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


def _frame(texts: list[list[str]], width: int) -> tuple[pd.DataFrame, np.ndarray]:
    extra = np.array([" ".join(record[width:]).strip() for record in texts], dtype=object)
    padded = [record[:width] + [""] * (width - len(record)) for record in texts]
    return pd.DataFrame(padded, columns=range(width), dtype="str"), extra


def _formulas(
    found: list[tuple[int, int, str, str]], headers: list[str], rows: np.ndarray
) -> tuple[Finding, ...]:
    """Formulas and spreadsheet errors by column, each with its cell's address."""
    by_column: dict[int, list[tuple[int, str, str, str]]] = {}
    for at, column, text, why in found:
        address = f"{get_column_letter(column + 1)}{rows[at]}"
        by_column.setdefault(column, []).append((at, text, *_says(why, address)))
    return tuple(
        finding(
            [at for at, *_ in cells],
            headers[column] if column < len(headers) else "",
            [text for _, text, *_ in cells],
            [wrong for *_, wrong, _ in cells],
            [mend for *_, mend in cells],
        )
        for column, cells in by_column.items()
    )


def _says(why: str, address: str) -> tuple[str, str]:
    if why == "formula":
        return (
            f"is a formula in cell {address}",
            "Paste the column as values, then load the file again.",
        )
    return (
        f"is a spreadsheet's error in cell {address}",
        "Write the figure, or leave the cell empty.",
    )
