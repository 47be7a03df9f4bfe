"""Texts that a spreadsheet would run: kept from running on the way out, read back on the way in."""

from __future__ import annotations

import re
from typing import Any

import pandas as pd

# What spreadsheets take for the beginning of a formula or a command, blanks before it included;
# the wide forms are read as the narrow ones in East Asian settings. Apostrophes before it are
# signs of an earlier export and count with it, so that every text comes back as it was.
_WOULD_RUN = re.compile(r"'*(?:\s*[=+\-@＝＋－＠]|[\t\r\n])")


def harmless(table: pd.DataFrame) -> pd.DataFrame:
    """The table with an apostrophe before every text, header or cell, that would be run.

    Figures, dates and true or false stay as they are.
    """
    columns = [_cells(table.iloc[:, place]) for place in range(table.shape[1])]
    found = pd.concat(columns, axis=1) if columns else table.copy()
    found.columns = pd.Index([harmless_text(str(name)) for name in table.columns])
    return found


def harmless_text(cell: Any) -> Any:
    """The cell with an apostrophe before it if it is a text that would be run."""
    return f"'{cell}" if isinstance(cell, str) and _WOULD_RUN.match(cell) else cell


def as_it_was(column: pd.Series) -> pd.Series:
    """Texts (n) without the apostrophe that `harmless` put before them."""
    signed = column.str.startswith("'").fillna(value=False).astype(bool)
    return column.mask(signed, column[signed].map(text_as_it_was)) if signed.any() else column


def text_as_it_was(text: str) -> str:
    """One text without the apostrophe that `harmless_text` put before it."""
    return text[1:] if text.startswith("'") and _WOULD_RUN.match(text[1:]) else text


def _cells(column: pd.Series) -> pd.Series:
    kind = pd.api.types
    if kind.is_numeric_dtype(column.dtype) or kind.is_datetime64_any_dtype(column.dtype):
        return column
    return column.astype("object").map(harmless_text)
