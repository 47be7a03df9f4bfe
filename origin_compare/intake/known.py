"""What an intake plan asks about rows that stand already: never more than its own rows name."""

from __future__ import annotations

from typing import Protocol

import pandas as pd


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
