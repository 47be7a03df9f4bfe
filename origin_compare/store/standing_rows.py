"""The rows that stand in a store, as an intake plan asks about them."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
from sqlalchemy import func, select
from sqlalchemy.engine import Connection

from origin_compare.sheets.catalogue import SHEETS
from origin_compare.store.rows import cells_under, frame_under, rows_in
from origin_compare.store.schema import SHEET_TABLES


@dataclass(frozen=True)
class StandingRows:
    """What stands in a store, on one unchanging state of it."""

    link: Connection

    def holds(self, sheet: str) -> bool:
        """Whether there is any row of this sheet."""
        return rows_in(self.link, SHEET_TABLES[sheet]) > 0

    def contents(self, sheet: str, keys: pd.Series) -> pd.Series:
        """Content prints of the rows under these key prints, by key print."""
        names = ["key_print", "content_print"]
        found = cells_under(self.link, sheet, keys, names)
        return pd.Series(found["content_print"], found["key_print"], dtype="int64")

    def rows(self, sheet: str, keys: pd.Series) -> pd.DataFrame:
        """The rows under these key prints (maybe others besides), shaped."""
        return frame_under(self.link, sheet, keys)

    def names(self, sheet: str) -> set[str]:
        """The names in the first key column, by which other sheets point to this one."""
        column = SHEET_TABLES[sheet].c[SHEETS[sheet].key[0]]
        return set(self.link.execute(select(column).distinct()).scalars())

    def ways(self, sheet: str, column: str) -> pd.Series:
        """How many rows write each name of a column so: rows by name."""
        name = SHEET_TABLES[sheet].c[column]
        query = select(name, func.count()).where(name.is_not(None)).group_by(name)
        return pd.Series(dict(map(tuple, self.link.execute(query).all())), dtype="int64")
