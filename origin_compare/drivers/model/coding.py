"""Tables as numbers: treatment contrasts for factors, orthonormal bases of column spaces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from pandas.api.types import is_bool_dtype, is_numeric_dtype

from origin_compare.errors import NotEnoughData

Array = NDArray[np.floating[Any]]
RANK_TOLERANCE = 1e-9
"""Singular values below this share of the largest, columns at unit length, count as zero."""


def as_table(table: ArrayLike | pd.DataFrame | pd.Series, name: str) -> pd.DataFrame:
    """Any table-like as a DataFrame; unnamed columns are called `name 1`, `name 2`, ..."""
    if isinstance(table, pd.DataFrame):
        return table
    if isinstance(table, pd.Series):
        return table.to_frame(table.name if table.name is not None else name)
    values = np.asarray(table)
    if values.ndim == 1:
        values = values[:, None]
    if values.ndim != 2:
        raise ValueError(
            f"{name} has {values.ndim} dimensions; a table of rows and columns is wanted."
        )
    return pd.DataFrame(values, columns=[f"{name} {k + 1}" for k in range(values.shape[1])])


def is_factor(column: pd.Series) -> bool:
    """Text, categories and true/false are factors; numbers are numbers."""
    return is_bool_dtype(column) or not is_numeric_dtype(column)


def coded(column: pd.Series) -> Array:
    """One column as n x k numbers: a number as it is, a factor in treatment contrasts
    (first level as base), so a factor of one level has no column."""
    if not is_factor(column):
        return column.to_numpy(dtype=float, na_value=np.nan)[:, None]
    codes, levels = pd.factorize(column, sort=True)
    return np.eye(len(levels))[codes][:, 1:]


def design(table: pd.DataFrame) -> Array:
    """A table as n x k numbers without an intercept, factors in treatment contrasts."""
    parts = [coded(table[name]) for name in table.columns]
    return np.hstack(parts) if parts else np.empty((len(table), 0))


def basis(columns: Array) -> Array:
    """Orthonormal basis (n x rank) of the columns after centring."""
    centred = columns - columns.mean(axis=0)
    length = np.linalg.norm(centred, axis=0)
    # A constant column leaves only rounding after centring: compare it with its own size.
    size = np.linalg.norm(columns, axis=0)
    moving = length > RANK_TOLERANCE * np.maximum(size, np.finfo(float).tiny)
    scaled = centred[:, moving] / length[moving]
    if scaled.shape[1] == 0:
        return np.empty((len(columns), 0))
    left, singular, _ = np.linalg.svd(scaled, full_matrices=False)
    return left[:, singular > RANK_TOLERANCE * singular[0]]


def beyond(columns: Array, given: Array) -> Array:
    """Orthonormal basis of what `columns` (n x k) span beyond the basis `given` (n x r)."""
    own = basis(columns)
    left = own - given @ (given.T @ own)
    vectors, singular, _ = np.linalg.svd(left, full_matrices=False)
    # Both bases have unit length, so what is left is compared with 1, not with itself.
    return vectors[:, singular > 1e-7]


def explained(y: Array, columns: Array) -> float:
    """R2 of one response on columns, both centred; 0 where the response does not vary."""
    centred = y - y.mean()
    total = float(centred @ centred)
    if total <= RANK_TOLERANCE**2 * float(y @ y) or columns.shape[1] == 0:
        return 0.0
    part = basis(columns).T @ centred
    return min(1.0, float(part @ part) / total)


def whole_rows(
    tables: Mapping[str, pd.DataFrame], missing: str
) -> tuple[dict[str, pd.DataFrame], int]:
    """The tables on the rows complete in all of them, and how many rows were dropped.

    Raises ValueError for tables of unlike length or, unless `missing="drop"`, for empty cells.
    """
    lengths = {name: len(table) for name, table in tables.items()}
    if len(set(lengths.values())) > 1:
        told = ", ".join(f"{name} {rows}" for name, rows in lengths.items())
        raise ValueError(
            f"The tables have unlike numbers of rows ({told}); row by row they must match."
        )
    empty = {name: table.isna().any(axis=1).to_numpy() for name, table in tables.items()}
    bad = np.any(list(empty.values()), axis=0)
    if bad.any() and missing != "drop":
        first = next(name for name, rows in empty.items() if rows.any())
        raise ValueError(
            f"{int(bad.sum())} of {len(bad)} rows have an empty cell, the first in {first}. "
            'Fill it, or pass missing="drop" to leave such rows out. (Some readers of files '
            'take the words "None" and "NA" for empty cells.)'
        )
    kept = {name: table.loc[~bad].reset_index(drop=True) for name, table in tables.items()}
    return kept, int(bad.sum())


def numeric_matrix(table: pd.DataFrame, name: str) -> Array:
    """A response table as n x m floats; ValueError names a column that is not a number."""
    for column in table.columns:
        if is_factor(table[column]):
            raise ValueError(f"{name} column {column} is not a number; responses must be numbers.")
    return table.to_numpy(dtype=float, na_value=np.nan)


def enough_rows(rows: int, columns: int, what: str) -> None:
    """NotEnoughData unless at least one row is left over for the error."""
    if rows - 1 - columns < 1:
        raise NotEnoughData(
            f"{rows} rows carry at most {max(rows - 2, 0)} columns, and {what} has {columns}. "
            "Name fewer variables, or wait for more batches."
        )


def permutations(
    rows: int,
    count: int,
    rng: np.random.Generator,
    blocks: Sequence[Any] | None = None,
    whole: bool = True,
) -> NDArray[np.intp]:
    """count x rows row orders. With `blocks`, whole blocks trade places with blocks of the same
    size, the order inside kept (`whole=True`), or rows trade places inside their block only."""
    if blocks is None:
        return rng.permuted(np.tile(np.arange(rows), (count, 1)), axis=1)
    codes = pd.factorize(pd.Series(list(blocks)))[0]
    members = [np.flatnonzero(codes == code) for code in range(codes.max() + 1)]
    orders = np.tile(np.arange(rows), (count, 1))
    if not whole:
        for rows_of in members:
            orders[:, rows_of] = rng.permuted(np.tile(rows_of, (count, 1)), axis=1)
        return orders
    for size in {len(rows_of) for rows_of in members}:
        alike = np.array([rows_of for rows_of in members if len(rows_of) == size])
        places = rng.permuted(np.tile(np.arange(len(alike)), (count, 1)), axis=1)
        orders[:, alike.ravel()] = alike[places].reshape(count, -1)
    return orders
