"""The one form a clean sheet has in memory: every column, one dtype per kind."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from origin_compare.sheets.catalogue import SHEETS, Kind

Sheets = Mapping[str, pd.DataFrame]
"""Clean sheets by name, one parameter of that name wherever several are read together."""

PROVENANCE = ("_file", "_tab", "_row", "_raw", "_cells")

DTYPES: Mapping[Kind, str] = {
    "key": "str",
    "text": "str",
    "number": "float64",
    "gravity": "float64",
    "temperature": "float64",
    "count": "Int64",
    "date": "datetime64[us]",
    "moment": "datetime64[us, UTC]",
}


def shaped(
    sheet: str, frame: pd.DataFrame | None = None, *, provenance: bool = False
) -> pd.DataFrame:
    """`frame` with exactly the columns of that sheet, in order and of the right dtype.

    Columns not given come out as missing; with `provenance` the columns of `PROVENANCE` that
    `frame` has are kept behind the others. The index is counted anew.
    """
    given = pd.DataFrame() if frame is None else frame.reset_index(drop=True)
    columns = {
        column.name: _typed(given, column.name, DTYPES[column.kind])
        for column in SHEETS[sheet].columns
    }
    kept = [name for name in PROVENANCE if provenance and name in given.columns]
    return pd.DataFrame(columns | {name: given[name] for name in kept}, index=given.index)


def _typed(given: pd.DataFrame, name: str, dtype: Any) -> pd.Series:
    if name not in given.columns:
        return pd.Series(np.nan, index=given.index, dtype="float64").astype(dtype)
    column = given[name]
    if dtype.startswith("datetime64"):
        return _moments(column, utc="UTC" in dtype)
    if dtype == "float64":
        return pd.to_numeric(column, errors="raise").astype("float64")
    return column.astype(dtype)


def _moments(column: pd.Series, *, utc: bool) -> pd.Series:
    read = pd.to_datetime(column, utc=utc)
    return read.dt.as_unit("us") if utc else read.dt.tz_localize(None).dt.as_unit("us")


def all_shaped(sheets: Sheets) -> Sheets:
    """Every sheet of `SHEETS`, empty where `sheets` has none."""
    return {name: shaped(name, sheets.get(name)) for name in SHEETS}


def looked_up(keys: pd.Series, values: pd.Series) -> pd.Series:
    """For each of `keys` the value standing under it in the index of `values`, else missing."""
    return values.reindex(pd.Index(keys)).set_axis(keys.index)
