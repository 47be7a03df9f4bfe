"""From a table and a formula to the columns the engine works on; every row left out is counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.mixed.fixed_part import FixedPart, fixed_part, formula_columns
from origin_compare.mixed.likelihood.sums import Floats, Ints


@dataclass(frozen=True)
class Grouping:
    """One group: `codes` (n) into `levels`; `parts` are the columns it is made of."""

    name: str
    parts: tuple[str, ...]
    codes: Ints
    levels: pd.DataFrame
    labels: tuple[str, ...]


@dataclass(frozen=True)
class Design:
    """Complete rows only. Y (n, R) may still miss cells; `left_out` counts rows by cause."""

    fixed: FixedPart
    groups: tuple[Grouping, ...]
    responses: tuple[str, ...]
    Y: Floats
    rows: Ints
    index: pd.Index
    n_given: int
    left_out: dict[str, int]


def build(
    data: pd.DataFrame, responses: Sequence[str] | str, fixed: str, groups: Sequence[str] | str
) -> Design:
    """Check the question against the table and lay out its columns.

    Raises `UnknownName` for a column the table does not hold, `ValueError` for a question that
    makes no sense (no groups, a response that is no number), `NotEnoughData` where too few rows
    or levels are left.
    """
    names = (responses,) if isinstance(responses, str) else tuple(dict.fromkeys(responses))
    group_names = (groups,) if isinstance(groups, str) else tuple(dict.fromkeys(groups))
    if not names:
        raise ValueError("responses is empty: name at least one column to explain.")
    if not group_names:
        raise ValueError("groups is empty: name at least one group, such as ['batch'].")
    needed = formula_columns(data, fixed)
    parts = {g: _parts(g, data) for g in group_names}
    _known(data, [*names, *needed, *(p for some in parts.values() for p in some)])
    keep = np.ones(len(data), dtype=bool)
    left_out: dict[str, int] = {}
    for column in dict.fromkeys([*(p for some in parts.values() for p in some), *needed]):
        missing = data[column].isna().to_numpy() & keep
        if missing.any():
            left_out[f"{column} missing"] = int(missing.sum())
            keep &= ~missing
    Y = np.column_stack([_numbers(data, name) for name in names])
    bare = keep & np.isnan(Y).all(axis=1)
    if bare.any():
        left_out["no response"] = int(bare.sum())
        keep &= ~bare
    rows = np.flatnonzero(keep)
    if len(rows) == 0:
        raise NotEnoughData(
            f"No complete row is left of {count(len(data), 'row')}: {said(left_out)}."
        )
    kept = data if len(rows) == len(data) else data.iloc[rows]
    coded = {
        column: pd.factorize(kept[column], sort=True)
        for column in dict.fromkeys(p for some in parts.values() for p in some)
    }
    laid = tuple(_grouping(kept, g, parts[g], coded) for g in group_names)
    return Design(
        fixed_part(kept, fixed, needed),
        laid,
        names,
        Y[rows],
        rows,
        kept.index,
        len(data),
        left_out,
    )


def said(left_out: dict[str, int]) -> str:
    """`3 rows with grower missing, 1 row with no response`."""
    return ", ".join(f"{count(n, 'row')} with {cause}" for cause, n in left_out.items())


def _parts(group: str, data: pd.DataFrame) -> tuple[str, ...]:
    return (group,) if group in data.columns else tuple(p.strip() for p in group.split(":"))


def _known(data: pd.DataFrame, wanted: Sequence[str]) -> None:
    unknown = [c for c in dict.fromkeys(wanted) if c not in data.columns]
    if unknown:
        held = listed([str(c) for c in data.columns], 12)
        raise UnknownName(
            f"The table has no column {listed([repr(c) for c in unknown])}. It has {held}."
        )


def _numbers(data: pd.DataFrame, name: str) -> Floats:
    column = data[name]
    if not pd.api.types.is_numeric_dtype(column) or pd.api.types.is_bool_dtype(column):
        raise ValueError(
            f"Column {name!r} holds no numbers ({column.dtype}): only numbers can be explained."
        )
    values = column.to_numpy(dtype=float, na_value=np.nan)
    return np.where(np.isfinite(values), values, np.nan)


def _grouping(
    kept: pd.DataFrame, name: str, parts: tuple[str, ...], coded: dict[str, tuple[Any, Any]]
) -> Grouping:
    combined = np.zeros(len(kept), dtype=np.intp)
    for part in parts:
        codes, levels = coded[part]
        combined = combined * len(levels) + codes
    seen, first, codes = np.unique(combined, return_index=True, return_inverse=True)
    if len(seen) < 2:
        only = " ".join(str(kept[p].iloc[0]) for p in parts)
        raise NotEnoughData(
            f"Group {name!r} has one level only ({only}): "
            "its variance needs at least two. Leave the group out."
        )
    levels_frame = kept[list(parts)].iloc[first].reset_index(drop=True)
    labels = levels_frame[parts[0]].astype(str)
    for part in parts[1:]:
        labels = labels + ":" + levels_frame[part].astype(str)
    return Grouping(name, parts, codes.astype(np.intp), levels_frame, tuple(labels))
