"""What an intake plan asks about rows that stand already: never more than its own rows name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import pandas as pd
from sqlalchemy import func, select
from sqlalchemy.engine import Connection

from origin_compare.records.rows import cells_under, frame_under, rows_in
from origin_compare.records.schema import SHEET_TABLES
from origin_compare.records.sheets import SHEETS


class Known(Protocol):
    """Rows that stand already, sheet by sheet; rows are sought by `fingerprint.key_prints`."""

    def holds(self, sheet: str) -> bool:
        """Whether there is any row of this sheet."""
        ...

    def contents(self, sheet: str, keys: pd.Series) -> pd.Series:
        """`fingerprint.content_prints` of the rows under these keys, by key (maybe of others)."""
        ...

    def rows(self, sheet: str, keys: pd.Series) -> pd.DataFrame:
        """The rows under these keys (maybe others besides), shaped."""
        ...

    def names(self, sheet: str) -> set[str]:
        """The names by which other sheets point to this one."""
        ...

    def ways(self, sheet: str, column: str) -> pd.Series:
        """How many rows write each name of a column so: rows by name."""
        ...


@dataclass(frozen=True)
class KnownInStore:
    """What stands in a store, on one unchanging state of it."""

    link: Connection

    def holds(self, sheet: str) -> bool:
        return rows_in(self.link, SHEET_TABLES[sheet]) > 0

    def contents(self, sheet: str, keys: pd.Series) -> pd.Series:
        names = ["key_print", "content_print"]
        found = cells_under(self.link, sheet, keys, names)
        return pd.Series(found["content_print"], found["key_print"], dtype="int64")

    def rows(self, sheet: str, keys: pd.Series) -> pd.DataFrame:
        return frame_under(self.link, sheet, keys)

    def names(self, sheet: str) -> set[str]:
        column = SHEET_TABLES[sheet].c[SHEETS[sheet].key[0]]
        return set(self.link.execute(select(column).distinct()).scalars())

    def ways(self, sheet: str, column: str) -> pd.Series:
        name = SHEET_TABLES[sheet].c[column]
        query = select(name, func.count()).where(name.is_not(None)).group_by(name)
        return pd.Series(dict(map(tuple, self.link.execute(query).all())), dtype="int64")
