"""Cells of one row held against one another: what cannot come before what, and its scale."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from origin_compare.intake.findings import Finding, finding
from origin_compare.sheets.catalogue import SHEETS, Column, Sheet

_FIRST_AND_THEN: Mapping[str, tuple[tuple[str, str], ...]] = {
    "lots": (("sown_on", "harvested_on"),),
    "yeasts": (("made_on", "delivered_on"),),
    "fermentations": (("pitched_at", "ended_at"), ("first_fill_at", "last_fill_at")),
}
_NOT_BELOW: Mapping[str, tuple[tuple[str, str], ...]] = {
    "spirits": (("cut_on_abv_pct", "cut_off_abv_pct"), ("new_make_abv_pct", "wash_abv_pct")),
}
_SCALE = r"^(\d+(?:\.\d+)?)\s*(?:-|–|to)\s*(\d+(?:\.\d+)?)$"


def out_of_order(columns: Mapping[str, pd.Series], sheet: Sheet) -> list[Finding]:
    """Faults where a row ends before it begins, or gains strength where it must lose it."""
    findings = []
    for first, then in _FIRST_AND_THEN.get(sheet.name, ()):
        early = columns[then] < columns[first]
        findings.append(_listed(columns, early, then, first, "is before"))
    for high, low in _NOT_BELOW.get(sheet.name, ()):
        above = columns[low] > columns[high]
        findings.append(_listed(columns, above, low, high, "is above"))
    return [one for one in findings if len(one.at)]


def score_range(columns: Mapping[str, pd.Series]) -> Column | None:
    """The score column with the range the sheet's own scale states (`0-10`), None if none does.

    Where rows are on several scales the range spans them all.
    """
    if "scale" not in columns:
        return None
    scales = pd.Series(columns["scale"].dropna().unique(), dtype="str")
    ends = scales.str.extract(_SCALE)
    if ends.empty or ends.isna().to_numpy().any():
        return None
    low, high = ends[0].astype("float64").min(), ends[1].astype("float64").max()
    score = SHEETS["scores"].column("score")
    return replace(score, possible=(_short(low), _short(high))) if low < high else None


def _short(value: float) -> float:
    return int(value) if float(value).is_integer() else float(value)


def _listed(
    columns: Mapping[str, pd.Series], mask: pd.Series, blamed: str, other: str, how: str
) -> Finding:
    at = np.flatnonzero(mask.fillna(False).to_numpy(dtype=bool))
    wrong = [f"{how} {other} ({_said(columns[other].iloc[i])})" for i in at]
    values = [_said(columns[blamed].iloc[i]) for i in at]
    return finding(at, blamed, values, wrong, "One of the two is wrong: check both.")


def _said(value: object) -> str:
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d %H:%M} UTC" if value.tzinfo else f"{value:%Y-%m-%d}"
    return f"{value:g}" if isinstance(value, float) else str(value)
