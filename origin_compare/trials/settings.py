"""What a trial may set, and between which ends: the house window, or what was made so far."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from origin_compare.drivers.wording import title
from origin_compare.house import HouseRules
from origin_compare.trials.proposal import Model, terms_of
from origin_compare.trials.visible_gaps import BETWEEN_LOTS

# Whether the house can hold a setting is its own to say; the first two it usually can.
SETTABLE = {"length_h": True, "peak_temp_c": True, "final_ph": False, "pitch_temp_c": False}
DECIMALS = {"length_h": 0, "peak_temp_c": 1, "final_ph": 2, "pitch_temp_c": 1}
COLUMNS = [
    "setting",
    "use",
    "lowest",
    "highest",
    "levels",
    "matters",
    "made_from",
    "made_to",
]


def settable(batches: pd.DataFrame, rules: HouseRules) -> pd.DataFrame:
    """One row per setting with at least two values so far: `setting, use, lowest, highest`
    (the house window, where it is closed; else the middle nine tenths of the batches made),
    `levels`, `matters` (the weight of its slope), and `made_from, made_to`, the range made so far,
    in the column's unit."""
    rows = []
    for name, use in SETTABLE.items():
        made = batches[name].dropna().astype(float) if name in batches else pd.Series(dtype=float)
        if made.nunique() < 2:
            continue
        window = rules.windows.get(name)
        low, high = np.quantile(made, [0.05, 0.95])
        if window is not None and window.low is not None and window.high is not None:
            low, high = window.low, window.high
        places = DECIMALS[name]
        ends = (round(float(low), places), round(float(high), places))
        if ends[0] < ends[1]:
            made_ends = (round(made.min(), places), round(made.max(), places))
            rows.append((name, use, *ends, 2, 1.0, *made_ends))
    return pd.DataFrame(rows, columns=COLUMNS)


def levels_of(wanted: pd.DataFrame) -> dict[str, list[float]]:
    """Settings in use with their levels, evenly from `lowest` to `highest`.

    Raises ValueError, in words, where an end is missing or the ends are the wrong way round.
    """
    found: dict[str, list[float]] = {}
    for row in wanted[wanted["use"].astype(bool)].to_dict("records"):
        name = str(row["setting"])
        low, high = (pd.to_numeric(row[end], errors="coerce") for end in ("lowest", "highest"))
        if pd.isna(low) or pd.isna(high) or not low < high:
            raise ValueError(
                f"{title(name)}: the lowest has to be below the highest. Give both ends."
            )
        levels = np.linspace(float(low), float(high), int(row["levels"]))
        found[name] = [round(float(level), DECIMALS.get(name, 2) + 1) for level in levels]
    return found


def weights_of(
    wanted: pd.DataFrame, model: Model, bends: float, lots: float
) -> dict[str, float] | None:
    """How much each term of the model matters: slopes as in `wanted` (`setting, use, matters`),
    interactions and bends all `bends`, gaps between lots `lots`; None where all weigh alike."""
    used = wanted[wanted["use"].astype(bool)]
    found = dict(zip(used["setting"], used["matters"].astype(float), strict=True))
    for term in terms_of(tuple(found), model):
        if len(term) > 1:
            found[" x ".join(term)] = bends
    if lots == 0 and all(weight == 1.0 for weight in found.values()):
        return None
    return {**found, BETWEEN_LOTS: lots}


def outside_house(settings: Mapping[str, Sequence[float]], rules: HouseRules) -> list[str]:
    """A sentence for each end of a setting that lies outside the house's own window."""
    return [
        f"{flag.says}."
        for name, levels in settings.items()
        for level in (min(levels), max(levels))
        for flag in rules.flags(name, level)
    ]
