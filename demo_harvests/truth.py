"""What is true of the demo, written down beside the files: effects, faults, profiles, the panel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import pandas as pd

from .ferment import Course
from .taste import ASSESSORS, CONTROL, Panel, Sitting
from .world import ATTRIBUTES, DRIVER_CENTRES, DRIVER_UNITS, SITE, TIME_ZONE, Effects


def season_truth(
    seed: int,
    effects: Effects,
    courses: Sequence[Course],
    drivers: pd.DataFrame,
    origins: pd.DataFrame,
    profile: pd.DataFrame,
    grower_effect: pd.DataFrame,
) -> dict[str, Any]:
    varied = [name for name in ATTRIBUTES if float(profile[name].std()) > 1e-9]
    return {
        "site": SITE,
        "time_zone": TIME_ZONE,
        "seed": seed,
        "attributes": list(ATTRIBUTES),
        "no_batch_differences": [name for name in ATTRIBUTES if name not in varied],
        "driver_units": DRIVER_UNITS,
        "driver_centres": DRIVER_CENTRES,
        "effects": asdict(effects),
        "grower_effects": {
            name: _rounded(grower_effect[name])
            for name in ATTRIBUTES
            if effects.grower_sd.get(name)
        },
        "tied": _tied(drivers, origins),
        "faults": [
            {
                "batch_id": course.batch.batch_id,
                "kind": course.fault.kind,
                "from_h": None if course.fault_from_h is None else round(course.fault_from_h, 2),
            }
            for course in courses
            if course.fault
        ],
        "batches": [_batch_truth(course, drivers, origins, profile) for course in courses],
    }


def _tied(drivers: pd.DataFrame, origins: pd.DataFrame) -> list[dict[str, Any]]:
    """What these data can hardly tell apart, or not at all."""
    sound = drivers[origins.loc[drivers.index, "fault"].isin(["", "wrong_reading", "probe_drift"])]
    both = sound.corr().loc["length_h", "final_ph"]
    return [
        {"pair": ["length_h", "final_ph"], "r_sound_batches": round(float(both), 3)},
        {"pair": ["variety Tarrowhite", "grower_id G11"], "r_sound_batches": 1.0},
    ]


def _batch_truth(
    course: Course, drivers: pd.DataFrame, origins: pd.DataFrame, profile: pd.DataFrame
) -> dict[str, Any]:
    name = course.batch.batch_id
    tasted = name in profile.index
    known = _rounded(drivers.loc[name]) if tasted else {}
    return {
        "batch_id": name,
        "season": course.batch.season,
        "grower_shares": origins.at[name, "grower_shares"],
        "variety": origins.at[name, "variety"],
        "fault": origins.at[name, "fault"],
        "og_sg": round(course.og_sg, 6),
        "fg_sg": round(float(course.sg[-1]), 6),
        "logistic_fg_sg": round(course.fg_sg, 6),
        "limit_sg": round(course.limit_sg, 6),
        "mid_h": round(course.mid_h, 4),
        "rate_per_h": round(course.rate_per_h, 6),
        "cooling_from_h": round(course.cooling_from_h, 3),
        "length_h": round(course.length_h, 4),
        "peak_temp_c": round(course.peak_temp_c, 4),
        "final_ph": round(course.final_ph, 4),
        "grain_n_pct_dm": known.get("grain_n_pct_dm"),
        "cut_off_abv_pct": known.get("cut_off_abv_pct"),
        "profile": _rounded(profile.loc[name]) if tasted else None,
    }


def panel_truth(panel: Panel, sittings: Sequence[Sitting], effects: Effects) -> dict[str, Any]:
    return {
        "assessor_level": {name: _rounded(panel.level.loc[name]) for name in ASSESSORS},
        "assessor_spread": _rounded(panel.spread),
        "assessor_residual_sd": _rounded(panel.residual_sd),
        "poor_assessor": effects.poor_assessor,
        "control": CONTROL,
        "sittings": [
            {
                "tasting_id": sitting.tasting_id,
                "batches": list(sitting.batches),
                "absent": [name for name in ASSESSORS if name not in sitting.assessors],
                "replicates": sitting.replicates,
            }
            for sitting in sittings
        ],
    }


def _rounded(values: Any) -> dict[str, float]:
    return {str(name): round(float(value), 4) for name, value in values.items()}
