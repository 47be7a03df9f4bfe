"""From a table and a formula to the columns the engine works on; every row left out is counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import count, listed
from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.mixed.sums import Floats, Ints

RANK_TOLERANCE = 1e-9
"""A fixed column is aliased if less than this share of its length is new."""


@dataclass(frozen=True)
class Grouping:
    """One group: `codes` (n) into `levels`; `parts` are the columns it is made of."""

    name: str
    parts: tuple[str, ...]
    codes: Ints
    levels: pd.DataFrame
    labels: tuple[str, ...]


@dataclass(frozen=True)
class FixedPart:
    """Fixed columns X (n, p), their names, the places of each term's columns, and
    the table's columns they were made from (`frame`)."""

    formula: str
    X: Floats
    names: tuple[str, ...]
    terms: dict[str, tuple[int, ...]]
    spec: Any
    frame: pd.DataFrame


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
    if "~" in fixed:
        raise ValueError(
            f"fixed is {fixed!r}: give the right-hand side only, such as '1 + pitch_temp_c'."
        )
    needed = _formula_columns(fixed)
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
    laid = tuple(_grouping(kept, g, parts[g]) for g in group_names)
    return Design(
        _fixed_part(kept, fixed, needed),
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


def _formula_columns(fixed: str) -> tuple[str, ...]:
    if fixed.strip() in {"1", ""}:
        return ()
    from formulaic import Formula
    from formulaic.errors import FormulaicError

    try:
        return tuple(sorted(str(v) for v in Formula(fixed).required_variables))
    except FormulaicError as fault:
        raise ValueError(
            f"The fixed part {fixed!r} cannot be read: {str(fault).splitlines()[0]} "
            "Write columns joined by +, such as 'peak_temp_c + still'."
        ) from fault


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


def _grouping(kept: pd.DataFrame, name: str, parts: tuple[str, ...]) -> Grouping:
    combined = np.zeros(len(kept), dtype=np.intp)
    for part in parts:
        codes, levels = pd.factorize(kept[part], sort=True)
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


def _fixed_part(kept: pd.DataFrame, fixed: str, needed: tuple[str, ...]) -> FixedPart:
    if not needed:
        ones = np.ones((len(kept), 1))
        return FixedPart("1", ones, ("Intercept",), {"Intercept": (0,)}, None, kept[[]])
    from formulaic import model_matrix
    from formulaic.errors import FormulaicError

    frame = kept[list(needed)]
    for column in needed:
        if not pd.api.types.is_numeric_dtype(frame[column]) and frame[column].nunique() < 2:
            raise NotEnoughData(
                f"Column {column!r} of the fixed part has one level only "
                f"({frame[column].iloc[0]}): it cannot be compared with anything. Leave it out."
            )
    try:
        matrix = model_matrix(fixed, frame, na_action="ignore")
    except FormulaicError as fault:
        raise ValueError(
            f"The fixed part {fixed!r} cannot be worked out: {str(fault).splitlines()[0]}"
        ) from fault
    spec = matrix.model_spec
    names = tuple(str(c) for c in matrix.columns)
    per_term = {
        ("Intercept" if str(term) == "1" else str(term)): tuple(int(i) for i in where)
        for term, where in spec.term_indices.items()
    }
    X = np.asarray(matrix, dtype=float)
    if not np.isfinite(X).all():
        bad = [
            name for name, column in zip(names, X.T, strict=True) if not np.isfinite(column).all()
        ]
        raise ValueError(
            f"The fixed part {fixed!r} is not a finite number everywhere in {listed(bad)}: "
            "check for logarithms of zero or divisions by zero."
        )
    return FixedPart(fixed, X, names, per_term, spec, frame)


def independent(X: Floats) -> NDArray[np.bool_]:
    """Which columns add something to those before them (the first of aliased columns stays)."""
    keep = np.zeros(X.shape[1], dtype=bool)
    basis = np.empty((len(X), 0))
    for j, column in enumerate(X.T):
        length = np.linalg.norm(column)
        rest = column
        for _ in range(2):
            rest = rest - basis @ (basis.T @ rest)
        left = np.linalg.norm(rest)
        if length > 0 and left > RANK_TOLERANCE * length:
            keep[j] = True
            basis = np.column_stack([basis, rest / left])
    return keep
