"""Frames to CSV that a spreadsheet opens without running anything in it."""

from __future__ import annotations

import pandas as pd

_RUNS = r"^[=+\-@\t\r]"
_PLAIN = r"[+-]?[\d.,]+(?:[eE][+-]?\d+)?|-"


def safe_text(cells: pd.Series) -> pd.Series:
    """Texts that a spreadsheet would run get an apostrophe in front; figures stay as they are.

    The intake takes the apostrophe off again, so a file written here reads back the same.
    """
    runs = cells.str.contains(_RUNS, regex=True, na=False) & ~cells.str.fullmatch(_PLAIN, na=False)
    return cells.where(~runs, "'" + cells)


def safe_csv(frame: pd.DataFrame) -> bytes:
    """UTF-8 CSV with a byte order mark, text columns and headers made harmless; no index."""
    harmless = frame.copy()
    for column in harmless.columns:
        if pd.api.types.is_string_dtype(harmless[column].dtype):
            harmless[column] = safe_text(harmless[column].astype("str"))
    harmless.columns = pd.Index(safe_text(pd.Series(map(str, frame.columns), dtype="str")))
    return harmless.to_csv(index=False, lineterminator="\r\n").encode("utf-8-sig")
