"""Decimal points, decimal commas and signs between thousands: settled by column and table."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from origin_compare.intake.open_points import COMMA, DECIMALS, POINT, OpenPoint
from origin_compare.sheets.catalogue import Column

_COMMA_THREE = r"[+-]?[1-9]\d{0,2},\d{3}"
_POINT_THREE = r"[+-]?[1-9]\d{0,2}\.\d{3}"
_SAYS_COMMA = (
    r"[+-]?(?:\d*,(?:\d{1,2}|\d{4,})|0,\d+|\d{1,3}(?:\.\d{3})+,\d+|\d{1,3}(?:\.\d{3}){2,})"
)
_SAYS_POINT = (
    r"[+-]?(?:\d*\.(?:\d{1,2}|\d{4,})|0\.\d+|\d{1,3}(?:,\d{3})+\.\d+|\d{1,3}(?:,\d{3}){2,})"
)
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:(?P<by>[ .,'’])\d{3})(?:(?P=by)\d{3})*(?:[.,]\d+)?")
_LEADING_FIGURE = r"^[<≤>≥~≈]?\s*([+-]?\d[\d.,]*\d|\d|[.,]\d+)"


def comma_evidence(texts: pd.Series) -> tuple[int, int]:
    """How many of the texts can only be read with a decimal comma, and how many with a point."""
    figures = texts
    if bool(texts.str.contains(r"[^\d.,+\-]", regex=True).any()):
        figures = texts.str.extract(_LEADING_FIGURE)[0].fillna("")
    return (
        int(figures.str.fullmatch(_SAYS_COMMA).sum()),
        int(figures.str.fullmatch(_SAYS_POINT).sum()),
    )


def writes_comma(texts: pd.Series, of_table: bool | None) -> bool | None:
    """Whether a column writes decimal commas: by its own cells, else as the table does."""
    comma, point = comma_evidence(texts)
    if comma != point and min(comma, point) == 0:
        return comma > 0
    return None if comma else of_table


def ungrouped(text: str) -> float | None:
    """`1 234,5`, `1.234,5`, `1,234,567`: the sign between threes is no decimal sign."""
    match = _GROUPED.fullmatch(text)
    if not match:
        return None
    sign = match["by"]
    whole = text.replace(sign, "")
    if sign in ".," and whole == text.replace(sign, "", 1) and not re.search(r"[.,]", whole):
        return None
    return float(whole.replace(",", "."))


def settle_thousands(
    values: np.ndarray,
    figures: pd.Series,
    column: Column,
    says_comma: bool | None,
    to_own: np.ndarray,
) -> OpenPoint | None:
    """`25,000` or `25.000`: by how column and table write, else by what is possible, else asked.

    `values` are changed in place; `to_own` turns each into the column's own unit (factor,
    offset by column), so that what is possible is judged there.
    """
    comma = figures.str.fullmatch(_COMMA_THREE).to_numpy(dtype=bool)
    point = figures.str.fullmatch(_POINT_THREE).to_numpy(dtype=bool)
    if says_comma is False:
        values[comma] *= 1000
        return None
    if says_comma is True:
        values[point] *= 1000
        return None
    low, high = column.possible or (-np.inf, np.inf)
    small = values * to_own[:, 0] + to_own[:, 1]
    large = values * 1000 * to_own[:, 0] + to_own[:, 1]
    can_small = (small >= low) & (small <= high)
    can_large = (large >= low) & (large <= high)
    doubtful = comma | point
    open_ = doubtful & can_small & can_large
    if open_.any():
        return _asked(figures[open_], column)
    values[doubtful & can_large & ~can_small] *= 1000
    return None


def _asked(figures: pd.Series, column: Column) -> OpenPoint:
    sample = str(figures.iloc[0])
    sign = "," if "," in sample else "."
    whole = sample.replace(sign, "")
    alone = all(str(text).endswith("00") or str(text).endswith("50") for text in figures)
    likely = (POINT if sign == "," else COMMA) if alone else ""
    evidence = (
        f"Nothing else in the table tells; {len(figures)} different figures are written like this."
    )
    return OpenPoint(
        DECIMALS,
        f"Is {sample} in {column.name} {whole} or {float(sample.replace(',', '.')):g}: does the "
        "table write a decimal point or a decimal comma?",
        evidence,
        (POINT, COMMA),
        likely,
        column=column.name,
    )
