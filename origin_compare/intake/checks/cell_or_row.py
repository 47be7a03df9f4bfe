"""Whether a fault sets its cell aside or its whole row."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from origin_compare.intake.findings import Finding
from origin_compare.sheets.catalogue import Sheet

_SHARES = frozenset({("malts", "grain_t"), ("mashes", "grist_kg"), ("scores", "score")})
"""Figures a row is there for: without its mass a part of a batch would be given another share,
and a score that cannot be read is not one that was declined."""


def cell_or_row(
    findings: Sequence[Finding], columns: Mapping[str, pd.Series], sheet: Sheet
) -> Iterator[Finding]:
    """The findings, faults of single cells weighed as `cell`.

    A fault in the row's key, moment, link or needed column sets the row aside, and so does one
    that leaves a row without any figure of a group it needs one of.
    """
    named = {column.name: column for column in sheet.columns}
    for one in findings:
        column = named.get(one.column)
        whole_row = (
            one.weight != "fault"
            or column is None
            or column.needed
            or column.kind in ("key", "moment")
            or column.name in sheet.key
            or (sheet.name, column.name) in _SHARES
        )
        if whole_row:
            yield one
            continue
        emptied = _emptied(one, columns, sheet)
        if emptied.any():
            yield one.only(emptied)
        if not emptied.all():
            yield replace(one.only(~emptied), weight="cell")


def _emptied(one: Finding, columns: Mapping[str, pd.Series], sheet: Sheet) -> np.ndarray:
    """Which rows of a finding hold nothing else of a group they need one of."""
    result = np.zeros(len(one.at), dtype=bool)
    for group in sheet.one_of:
        if one.column in group:
            none = np.logical_and.reduce([columns[name].isna().to_numpy() for name in group])
            result |= (one.at >= 0) & none[one.at]
    return result
