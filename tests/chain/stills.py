"""Hand-made seasons of spirit runs, small enough to follow with a pencil."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from origin_compare.house import HouseRules, Window, default_rules
from origin_compare.season.join import build_season
from origin_compare.season.season import Season


def rules(feints: str = "no", **windows: tuple[float, float]) -> HouseRules:
    """The shipped rules, feints as said, and the windows given by name as (low, high)."""
    usual = default_rules()
    changed = {
        name: Window(name, name, _unit(name), low, high) for name, (low, high) in windows.items()
    }
    return replace(usual, windows={**usual.windows, **changed}, feints_kept_apart=feints)


def _unit(name: str) -> str:
    return "kg" if name.split(" ", maxsplit=1)[0].endswith("_kg") else "L" if "_l" in name else "%"


A_THIRD_AT_30 = {
    "returned_share_pct": (100 / 3, 100 / 3),
    "returned_abv_pct": (30.0, 30.0),
    "low_wines_abv_pct": (24.0, 24.0),
}
"""A third of the charge at 30 % vol, two thirds at 24 % vol: 10 of 26 parts of alcohol are old."""


def runs_of(growers: Sequence[str], house: HouseRules, **changed: Any) -> Season:
    """One batch a day for each of `growers`, of one lot and one malt, through one still."""
    numbers = range(1, len(growers) + 1)
    batches = [f"B{number}" for number in numbers]
    days = pd.date_range("2024-11-01", periods=len(growers), freq="D")
    names = sorted(set(growers))
    sheets = {
        "growers": pd.DataFrame({"grower_id": names}),
        "lots": pd.DataFrame(
            {
                "lot_id": [f"L{name}" for name in names],
                "grower_id": names,
                "season": 2024,
                "delivered_t": 20.0,
            }
        ),
        "malts": pd.DataFrame(
            {
                "malt_id": [f"M{name}" for name in names],
                "lot_id": [f"L{name}" for name in names],
                "grain_t": 10.0,
                "tonnes": 8.4,
                "moisture_pct": 4.0,
                "extract_pct_dm": 80.0,
            }
        ),
        "mashes": pd.DataFrame(
            {
                "batch_id": batches,
                "mash_no": 1,
                "malt_id": [f"M{name}" for name in growers],
                "grist_kg": 1000.0,
                "wort_l": 4000.0,
                "wort_sg": 1.0700,
                "mashed_at": days.tz_localize("UTC"),
            }
        ),
        "fermentations": pd.DataFrame(
            {
                "batch_id": batches,
                "vessel": "V1",
                "pitched_at": days.tz_localize("UTC"),
                "wort_l": 4000.0,
                "og_sg": 1.0700,
                "ended_at": (days + pd.Timedelta(days=3)).tz_localize("UTC"),
            }
        ),
        "spirits": pd.DataFrame(
            {
                "batch_id": batches,
                "run_no": 1,
                "distilled_on": days + pd.Timedelta(days=4),
                "still": "S1",
                "wash_l": 4000.0,
                "wash_abv_pct": 9.0,
                "new_make_l": 500.0,
                "new_make_abv_pct": 70.0,
            }
        ),
    }
    for place, values in changed.items():
        sheet, column = place.split("__")
        sheets[sheet][column] = values
    return build_season(sheets, house)
