"""Frames to database rows and back, a column at a time since a season may hold millions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import Table, select
from sqlalchemy.engine import Connection

from origin_compare.records.frames import shaped
from origin_compare.records.schema import FROM_COLUMNS, SHEET_TABLES
from origin_compare.records.sheets import SHEETS, Kind

AT_ONCE = 4_096


def insert_frame(link: Connection, sheet: str, frame: pd.DataFrame, intake_id: int) -> None:
    """Write a shaped frame with provenance and prints (`_key`, `_content`) as rows of its table."""
    columns = [
        [intake_id] * len(frame),
        *(frame[name].tolist() for name in ("_file", "_tab")),
        _numbers(frame["_row"], int),
        *(frame[name].tolist() for name in ("_raw", "_key", "_content")),
        *(to_cells(frame[column.name], column.kind) for column in SHEETS[sheet].columns),
    ]
    names = [*FROM_COLUMNS, "key_print", "content_print", *SHEETS[sheet].names()]
    insert_rows(link, SHEET_TABLES[sheet], names, zip(*columns, strict=True))


def insert_rows(
    link: Connection, table: Table, names: Sequence[str], rows: Iterable[tuple[Any, ...]]
) -> None:
    """Insert tuples by the driver itself: several times as fast as by dictionaries."""
    quote = link.dialect.identifier_preparer.quote
    told, marks = ", ".join(quote(name) for name in names), ", ".join("?" for _ in names)
    text = f"INSERT INTO {quote(table.name)} ({told}) VALUES ({marks})"
    cursor: Any = link.connection.cursor()
    try:
        cursor.executemany(text, rows)
    finally:
        cursor.close()


def to_cells(column: pd.Series, kind: Kind) -> list[Any]:
    """One column of a shaped frame as the store holds it; missing as None."""
    missing = column.isna().to_numpy(dtype=bool)
    if kind in ("key", "text"):
        cells = column.to_numpy(dtype=object)
    elif kind == "date":
        cells = np.datetime_as_string(column.to_numpy(), unit="D").astype(object)
    elif kind == "moment":
        return _numbers(column.dt.tz_localize(None).astype("int64").where(~missing), int)
    else:
        return _numbers(column, int if kind == "count" else float)
    return _without(missing, cells)


def _numbers(column: pd.Series, kind: type) -> list[Any]:
    # Microseconds since 1970 stay below 2**53 until the year 2255: a float holds them exactly.
    numbers = column.to_numpy(dtype="float64", na_value=np.nan)
    missing = np.isnan(numbers)
    whole = np.where(missing, 0, numbers).astype("int64" if kind is int else "float64")
    return _without(missing, whole)


def _without(missing: np.ndarray, cells: np.ndarray) -> list[Any]:
    if missing.any():
        cells = cells.astype(object)
        cells[missing] = None
    return list(cells.tolist())


def read_frame(link: Connection, sheet: str, *more: str) -> pd.DataFrame:
    """The whole sheet as a shaped frame in the order taken in, `more` table columns behind it."""
    table = SHEET_TABLES[sheet]
    names = [*SHEETS[sheet].names(), *more]
    found = link.execute(select(*(table.c[name] for name in names)).order_by(table.c.row_id))
    columns = _columns_of(found.cursor, len(names))
    cells = dict(zip(names, columns, strict=True))
    frame = {
        column.name: from_cells(cells[column.name], column.kind) for column in SHEETS[sheet].columns
    }
    whole = shaped(sheet, pd.DataFrame(frame))
    return whole.assign(**{name: cells[name] for name in more})


def _columns_of(cursor: Any, width: int) -> list[list[Any]]:
    """The rows of a cursor turned to columns, piece by piece: the tuples are freed on the way."""
    columns: list[list[Any]] = [[] for _ in range(width)]
    while rows := cursor.fetchmany(AT_ONCE):
        for column, cells in zip(columns, zip(*rows, strict=True), strict=True):
            column.extend(cells)
    return columns


def from_cells(cells: Sequence[Any], kind: Kind) -> pd.Series:
    """One column as the store holds it, back as a Series."""
    if kind in ("key", "text"):
        return pd.Series(cells, dtype="str")
    if kind == "date":
        return pd.to_datetime(pd.Series(cells, dtype="str"), format="%Y-%m-%d").dt.as_unit("us")
    numbers = pd.Series(np.array(cells, dtype="float64"))
    if kind == "moment":
        return pd.to_datetime(numbers.astype("Int64"), unit="us", utc=True)
    return numbers
