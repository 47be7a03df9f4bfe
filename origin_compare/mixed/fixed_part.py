"""The fixed part: from a formula to its columns."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import listed
from origin_compare.errors import NotEnoughData
from origin_compare.mixed.likelihood.sums import Floats

RANK_TOLERANCE = 1e-9
"""A fixed column is aliased if less than this share of its length is new."""


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


def formula_columns(data: pd.DataFrame, fixed: str) -> tuple[str, ...]:
    """Columns of the table that a formula's right-hand side needs.

    Raises `ValueError` for what cannot be read as one.
    """
    if "~" in fixed:
        raise ValueError(
            f"fixed is {fixed!r}: give the right-hand side only, such as '1 + pitch_temp_c'."
        )
    plain = _plain_columns(data, fixed)
    if plain is not None:
        return plain
    from formulaic import Formula
    from formulaic.errors import FormulaicError

    try:
        needed = sorted(str(v) for v in Formula(fixed).required_variables)
    except FormulaicError as fault:
        raise ValueError(
            f"The fixed part {fixed!r} cannot be read as a formula. "
            "Write columns joined by +, such as 'peak_temp_c + still'."
        ) from fault
    if not needed:
        raise ValueError(
            f"The fixed part {fixed!r} names no column: write '1' for a mean alone, "
            "or columns joined by +, such as 'peak_temp_c + still'."
        )
    return tuple(needed)


def _plain_columns(data: pd.DataFrame, fixed: str) -> tuple[str, ...] | None:
    """The columns if the formula is a mean and number columns, else None.

    Such a part needs no formula library, whose import alone takes longer than a season's fit.
    """
    pieces = [piece.strip() for piece in fixed.split("+")] if fixed.strip() else []
    names = [piece for piece in pieces if piece != "1"]
    for name in names:
        if not re.fullmatch(r"[A-Za-z_]\w*", name) or name not in data.columns:
            return None
        column = data[name]
        if not pd.api.types.is_numeric_dtype(column) or pd.api.types.is_bool_dtype(column):
            return None
    return tuple(dict.fromkeys(names))


def fixed_part(kept: pd.DataFrame, fixed: str, needed: tuple[str, ...]) -> FixedPart:
    """The columns of the rows kept; `needed` as from `formula_columns`."""
    frame = kept[list(needed)]
    if _plain_columns(kept, fixed) is not None:
        values = [frame[c].to_numpy(dtype=float) for c in needed]
        X = np.column_stack([np.ones(len(kept)), *values])
        names = ("Intercept", *needed)
        part = FixedPart(
            fixed or "1", X, names, {n: (i,) for i, n in enumerate(names)}, None, frame
        )
    else:
        part = _by_formula(fixed, frame)
    _finite(part)
    return part


def new_columns(part: FixedPart, new_data: pd.DataFrame) -> Floats:
    """The fixed columns of new rows, coded as the old ones were."""
    frame = new_data[list(part.frame.columns)]
    if part.spec is None:
        values = [frame[c].to_numpy(dtype=float) for c in frame.columns]
        return np.column_stack([np.ones(len(new_data)), *values])
    return np.asarray(part.spec.get_model_matrix(frame, na_action="ignore"), dtype=float)


def _by_formula(fixed: str, frame: pd.DataFrame) -> FixedPart:
    from formulaic import model_matrix
    from formulaic.errors import FormulaicError

    for column in frame.columns:
        if not pd.api.types.is_numeric_dtype(frame[column]) and frame[column].nunique() < 2:
            raise NotEnoughData(
                f"Column {column!r} of the fixed part has one level only "
                f"({frame[column].iloc[0]}): it cannot be compared with anything. Leave it out."
            )
    try:
        with np.errstate(all="ignore"):
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
    return FixedPart(fixed, np.asarray(matrix, dtype=float), names, per_term, spec, frame)


def _finite(part: FixedPart) -> None:
    fine = np.asarray(np.isfinite(part.X).all(axis=0))
    if not fine.all():
        bad = [name for name, ok in zip(part.names, fine, strict=True) if not ok]
        raise ValueError(
            f"The fixed part {part.formula!r} is not a finite number everywhere in {listed(bad)}: "
            "check for logarithms of zero or divisions by zero."
        )


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
