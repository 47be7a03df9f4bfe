"""What a slope says: one sentence for every attribute and process variable, never none."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from origin_compare.answers import listed
from origin_compare.drivers.verdicts import BLIND, CLEAR, HINT, TIED
from origin_compare.drivers.wording import Limits, plain, signed, title, upper


def said(row: Mapping[Hashable, Any], limits: Limits) -> str:
    """The sentence of one row of the slopes."""
    attribute, name = str(row["attribute"]), title(str(row["process"]))
    if row["verdict"] == BLIND:
        return (
            f"The panel cannot tell batches apart on {attribute}, so nothing can be said of {name}."
        )
    if row["verdict"] == TIED:
        return " ".join([f"{upper(str(row['why']))}.", *_along(row, limits)])
    figure = f"{signed(row['slope'])} per {row['step']} ({_range(row['low'], row['high'])})"
    if row["verdict"] == CLEAR:
        found = f"{upper(attribute)} goes with {name}: {figure}."
    elif row["verdict"] == HINT:
        found = f"A hint that {attribute} goes with {name}: {figure}."
    elif row["wide"]:
        found = (
            f"{upper(attribute)} and {name}: wide, {_range(row['low'], row['high'])} per "
            f"{row['step']}: cannot tell yet{_more(row)}."
        )
    else:
        found = f"{upper(attribute)} is not seen to go with {name}: {figure}."
    return " ".join([found, *_along(row, limits)])


def together_words(slopes: pd.DataFrame, limits: Limits) -> list[str]:
    """What variables that move together, yet can be told apart, do: one sentence per group."""
    rows = slopes[slopes["why"].ne("") & slopes["verdict"].ne(TIED)]
    told = []
    for why, group in rows.groupby("why", sort=False):
        first = group[group["process"].eq(group["process"].iloc[0])]
        seen = first[first["together_q"] <= limits.clear_q]
        words = [
            f"{row['attribute']} {signed(row['along'])} "
            f"({_range(row['along_low'], row['along_high'])})"
            for row in seen.to_dict("records")
        ]
        line = f" {upper(seen['along_says'].iloc[0])}: {listed(words)}." if words else ""
        told.append(f"{upper(str(why))}.{line}")
    return told


def _along(row: Mapping[Hashable, Any], limits: Limits) -> list[str]:
    """What it does together with the variables it moves with, and whether they matter."""
    if not np.isfinite(row["along"]):
        return []
    figure = f"{signed(row['along'])} ({_range(row['along_low'], row['along_high'])})"
    matter = "" if row["together_q"] <= limits.clear_q else ", the two together not shown to matter"
    return [f"{upper(str(row['along_says']))}: {figure}{matter}."]


def _more(row: Mapping[Hashable, Any]) -> str:
    if not np.isfinite(row["more"]) or row["more"] < 1:
        return ""
    batches = "batch" if row["more"] == 1 else "batches"
    verb = "would tell if it is as large as it looks"
    return f"; {row['more']:.0f} more {batches} like {row['more_like']} {verb}"


def _range(low: float, high: float) -> str:
    return f"{plain(low)} to {plain(high)}"
