"""Frames to database rows and back, a column at a time since a season may hold millions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import chain, islice
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import Table, func, select
from sqlalchemy.engine import Connection

from origin_compare.sheets.catalogue import SHEETS, Kind
from origin_compare.sheets.frames import shaped
from origin_compare.store.schema import SHEET_TABLES

AT_ONCE = 4_096
WRITTEN_AT_ONCE = 50_000
SOUGHT_AT_ONCE = 20_000
MOST_SOUGHT = 1 / 4
LARGE = 20_000
_ROWS_A_STATEMENT = 25

RawOf = Callable[[pd.DataFrame], pd.Series | None]
"""The cells as written of some rows; None where they stand in a file the store keeps."""


def insert_frame(
    link: Connection,
    sheet: str,
    frame: pd.DataFrame,
    intake_id: int,
    raw_of: RawOf,
    told: Callable[[int], None] | None = None,
) -> None:
    """Write a shaped frame with provenance and prints (`_key`, `_content`) as rows of its table.

    Piece by piece, so that only one piece stands in memory as Python objects; `told` gets the
    number of rows written so far.
    """
    table = SHEET_TABLES[sheet]
    with _indexed(link, table, len(frame)):
        for start in range(0, len(frame), WRITTEN_AT_ONCE):
            if told and start:
                told(start)
            some = frame.iloc[start : start + WRITTEN_AT_ONCE]
            cells = _cells(sheet, some, intake_id, raw_of(some))
            _insert_columns(link, table, cells, len(some))


@contextmanager
def _indexed(link: Connection, table: Table, coming: int) -> Iterator[None]:
    """Build the table's indexes after its rows where that costs less than row by row.

    Measured: it does from some ten thousand rows on, if there are not more in the table already.
    It happens in the transaction of the rows themselves: no one sees the table without them.
    """
    afterwards = coming >= LARGE and coming >= rows_in(link, table)
    for index in table.indexes if afterwards else ():
        index.drop(link)
    yield
    for index in table.indexes if afterwards else ():
        index.create(link)


def rows_in(link: Connection, table: Table) -> int:
    """How many rows a table has."""
    return int(link.execute(select(func.count()).select_from(table)).scalar_one())


def _cells(
    sheet: str, frame: pd.DataFrame, intake_id: int, raw: pd.Series | None
) -> dict[str, list[Any] | int | str | None]:
    """Per table column its cells, or the one value all rows share."""
    cells: dict[str, list[Any] | int | str | None] = {
        "intake_id": intake_id,
        "from_file": _texts(frame["_file"]),
        "from_tab": _texts(frame["_tab"]),
        "from_row": _numbers(frame["_row"], int),
        "raw_text": "" if raw is None else raw.tolist(),
        "key_print": frame["_key"].tolist(),
        "content_print": frame["_content"].tolist(),
        "from_cells": _from_cells(frame),
    }
    for column in SHEETS[sheet].columns:
        given = frame[column.name]
        cells[column.name] = None if given.isna().all() else to_cells(given, column.kind)
    return cells


def _from_cells(frame: pd.DataFrame) -> list[Any] | None:
    """The addresses of the cells of rows that a layout put together; None where there are none."""
    if "_cells" not in frame or frame["_cells"].isna().all():
        return None
    return to_cells(frame["_cells"], "text")


def _insert_columns(
    link: Connection,
    table: Table,
    cells: Mapping[str, list[Any] | int | str | None],
    length: int,
) -> None:
    """Insert columns; what all rows share is written into the statement, many rows in each.

    A statement costs the engine far more than a row of it: the counter of row numbers alone is
    read and written once for each.
    """
    quote = link.dialect.identifier_preparer.quote
    shared = {name: _shared(given) for name, given in cells.items()}
    filled = [name for name in cells if shared[name] != "NULL"]
    told = ", ".join(quote(name) for name in filled)
    row = f"({', '.join(shared[name] or '?' for name in filled)})"
    head = f"INSERT INTO {quote(table.name)} ({told}) VALUES "
    given = [cells[name] for name in filled if shared[name] is None]
    rows = zip(*given, strict=True)
    whole = length // _ROWS_A_STATEMENT
    cursor: Any = link.connection.cursor()
    try:
        cursor.executemany(head + ", ".join([row] * _ROWS_A_STATEMENT), _packs(rows, whole))
        cursor.executemany(head + row, rows)
    finally:
        cursor.close()


def _packs(rows: Iterator[tuple[Any, ...]], number: int) -> Iterator[tuple[Any, ...]]:
    for _ in range(number):
        yield tuple(chain.from_iterable(islice(rows, _ROWS_A_STATEMENT)))


def _shared(cells: list[Any] | int | str | None) -> str | None:
    """The value of a whole column as SQL text; None where the rows differ."""
    if cells is None:
        return "NULL"
    if isinstance(cells, list):
        return None
    if isinstance(cells, int):
        return str(cells)
    doubled = cells.replace("'", "''")
    return f"'{doubled}'"


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
    if kind in ("key", "text"):
        codes, texts = pd.factorize(column)  # one Python string per distinct text, not per row
        known: np.ndarray = np.array([*texts, None], dtype=object)
        return list(known[codes].tolist())
    missing = column.isna().to_numpy(dtype=bool)
    if kind == "date":
        return _without(missing, np.datetime_as_string(column.to_numpy(), unit="D").astype(object))
    if kind == "moment":
        return _without(missing, column.dt.tz_localize(None).to_numpy().astype("int64"))
    return _numbers(column, int if kind == "count" else float)


def _texts(column: pd.Series) -> list[Any] | str:
    """The one text of a column, else the text of every row."""
    first = str(column.iloc[0])
    if "\0" not in first and bool((column == first).all()):
        return first
    return to_cells(column, "text")


def _numbers(column: pd.Series, kind: type) -> list[Any]:
    if column.dtype == "int64":
        return list(column.tolist())
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
    names = [*SHEETS[sheet].names(), *more]
    return _shaped(sheet, cells_under(link, sheet, None, names))


def frame_under(link: Connection, sheet: str, keys: pd.Series) -> pd.DataFrame:
    """The rows of a sheet under these key prints (and maybe others) as a shaped frame."""
    return _shaped(sheet, cells_under(link, sheet, keys, SHEETS[sheet].names()))


def _shaped(sheet: str, cells: Mapping[str, list[Any]]) -> pd.DataFrame:
    own = SHEETS[sheet].columns
    read = {column.name: from_cells(cells[column.name], column.kind) for column in own}
    more = {name: given for name, given in cells.items() if name not in read}
    return shaped(sheet, pd.DataFrame(read)).assign(**more)


def cells_under(
    link: Connection, sheet: str, keys: pd.Series | None, names: Sequence[str]
) -> dict[str, list[Any]]:
    """Table columns of the rows under these key prints (None: of all rows), in the order taken in.

    Where a large part of the table is asked for all of it is read: one pass through a table costs
    less than as many look-ups.
    """
    table = SHEET_TABLES[sheet]
    query = select(*(table.c[name] for name in names)).order_by(table.c.row_id)
    columns: list[list[Any]] = [[] for _ in names]
    if keys is None or len(keys) > MOST_SOUGHT * rows_in(link, table):
        _read_on(columns, link.execute(query).cursor)
    else:
        for start in range(0, len(keys), SOUGHT_AT_ONCE):
            some = keys.iloc[start : start + SOUGHT_AT_ONCE].tolist()
            _read_on(columns, link.execute(query.where(table.c.key_print.in_(some))).cursor)
    return dict(zip(names, columns, strict=True))


def _read_on(columns: list[list[Any]], cursor: Any) -> None:
    """The rows of a cursor turned to columns, piece by piece: the tuples are freed on the way."""
    while rows := cursor.fetchmany(AT_ONCE):
        for column, cells in zip(columns, zip(*rows, strict=True), strict=True):
            column.extend(cells)


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
