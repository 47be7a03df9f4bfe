"""Sixty-four bits that stand for a row: its key, or all it says.

Own arithmetic rather than a library's hash, because the prints are kept in the store for years
and must never change: the mixing steps are splitmix64 (Steele, Lea and Flood 2014, "Fast
splittable pseudorandom number generators"), texts go through BLAKE2b.
"""

from __future__ import annotations

import hashlib
from collections.abc import Set

import numpy as np
import pandas as pd

from origin_compare.sheets.catalogue import SHEETS

_NOTHING = np.uint64(0x9E3779B97F4A7C15)


def key_prints(sheet: str, frame: pd.DataFrame) -> pd.Series:
    """int64 per row of a shaped sheet: equal exactly where all key columns are."""
    return _prints(frame, SHEETS[sheet].key)


def content_prints(sheet: str, frame: pd.DataFrame) -> pd.Series:
    """int64 per row of a shaped sheet: equal exactly where all columns are, missing included.

    A column added to a sheet later counts only where it is filled, so that the print of a row
    kept before there was such a column stays its print.
    """
    later = {column.name for column in SHEETS[sheet].columns if column.since > 1}
    return _prints(frame, SHEETS[sheet].names(), later)


def content_under(keys: pd.Series, standing: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Per key print whether it stands, and the content print it stands with (0 where it does not).

    `standing`: content prints by key print, each key once, in any order.
    """
    at = standing.index.get_indexer(pd.Index(keys))
    return at >= 0, np.append(standing.to_numpy(dtype="int64"), np.int64(0))[at]


def _prints(
    frame: pd.DataFrame, columns: tuple[str, ...], later: Set[str] = frozenset()
) -> pd.Series:
    state = np.zeros(len(frame), dtype=np.uint64)
    with np.errstate(over="ignore"):
        for name in columns:
            onward = _mixed(state * np.uint64(0x100000001B3) + _cells(frame[name]))
            if name in later:
                onward = np.where(frame[name].isna().to_numpy(dtype=bool), state, onward)
            state = onward
    return pd.Series(state.view("int64"), index=frame.index, dtype="int64")


def _cells(column: pd.Series) -> np.ndarray:
    """64 bits per cell; a missing cell has bits of its own."""
    missing = column.isna().to_numpy(dtype=bool)
    if isinstance(column.dtype, pd.StringDtype) or column.dtype == object:
        bits = _of_texts(column)
    elif column.dtype.kind == "M":
        bits = column.astype("int64").to_numpy().view(np.uint64)
    else:
        # + 0.0 makes one zero of two.
        numbers = column.astype("float64").to_numpy(dtype="float64", na_value=np.nan) + 0.0
        bits = numbers.view(np.uint64)
    return np.where(missing, _NOTHING, _mixed(bits))


def _of_texts(column: pd.Series) -> np.ndarray:
    codes, texts = pd.factorize(column)
    prints = [hashlib.blake2b(str(text).encode(), digest_size=8).digest() for text in texts]
    known = np.frombuffer(b"".join(prints), dtype="<u8").astype(np.uint64)
    return np.append(known, np.uint64(0))[codes]


def _mixed(state: np.ndarray) -> np.ndarray:
    with np.errstate(over="ignore"):
        state = state + np.uint64(0x9E3779B97F4A7C15)
        state = (state ^ (state >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        state = (state ^ (state >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        return state ^ (state >> np.uint64(31))
