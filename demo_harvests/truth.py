"""What is true of the demo, written down beside the files: effects, faults, profiles, the panel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import pandas as pd

from .ferment import Course, shows_from_h
from .taste import ASSESSORS, CONTROL, Panel, Sitting
from .world import ATTRIBUTES, DRIVER_CENTRES, DRIVER_UNITS, SITE, TIME_ZONE, Effects

SAYS = {
    "stuck": "gravity stops 8 degrees above the bench limit; the bench test itself went low",
    "hot": "the jacket fails; temperature runs past the window, then gravity stops early",
    "probe_drift": "the temperature probe climbs while gravity stands still: the vessel is sound",
    "early_lactic": "pH falls before the yeast is done, ahead of gravity",
    "old_yeast": "old, warm-kept and too little yeast: long lag, low slope, high end",
    "wrong_reading": "two figures of one gravity changed places; the vessel is sound",
    "still_fermenting": "nothing wrong: not yet ended, no spirit, not tasted",
}


def season_truth(
    seed: int,
    effects: Effects,
    courses: Sequence[Course],
    drivers: pd.DataFrame,
    origins: pd.DataFrame,
    profile: pd.DataFrame,
    grower_effect: pd.DataFrame,
    wrong_readings: Mapping[str, dict[str, Any]],
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
        "faults": [_fault_truth(course, wrong_readings) for course in courses if course.fault],
        "batches": [_batch_truth(course, drivers, origins, profile) for course in courses],
    }


def _tied(drivers: pd.DataFrame, origins: pd.DataFrame) -> list[dict[str, Any]]:
    """What these data can hardly tell apart, or not at all."""
    sound = drivers[origins.loc[drivers.index, "fault"].isin(["", "wrong_reading", "probe_drift"])]
    pair = ["length_h", "final_ph"]
    return [
        {
            "pair": pair,
            "r_sound_batches": _r(sound, pair),
            "r_all_distilled": _r(drivers, pair),
            "why": "pH keeps falling for as long as the wash stands",
        },
        {
            "pair": ["variety Tarrowhite", "grower_id G11"],
            "r_sound_batches": 1.0,
            "r_all_distilled": 1.0,
            "why": "nobody else grows it",
        },
    ]


def _r(drivers: pd.DataFrame, pair: list[str]) -> float:
    return round(float(drivers[pair].corr().to_numpy()[0, 1]), 3)


def _fault_truth(course: Course, wrong_readings: Mapping[str, dict[str, Any]]) -> dict[str, Any]:
    """kind, the hour it set in, and the hour it shows plainly in each channel it moves."""
    assert course.fault is not None
    wrong = wrong_readings.get(course.batch.batch_id)
    from_h = wrong["hours"] if wrong else course.fault_from_h
    return {
        "batch_id": course.batch.batch_id,
        "kind": course.fault.kind,
        "says": SAYS[course.fault.kind],
        "from_h": None if from_h is None else round(from_h, 2),
        "shows_from_h": shows_from_h(course),
        "wrong_reading": wrong,
    }


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
        "og_sg": round(course.makings.og_sg, 6),
        "fg_sg": round(float(course.sg[-1]), 6),
        "logistic_fg_sg": round(course.makings.fg_sg, 6),
        "limit_sg": round(course.makings.limit_sg, 6),
        "mid_h": round(course.makings.mid_h, 4),
        "rate_per_h": round(course.makings.rate_per_h, 6),
        "cooling_from_h": round(course.makings.cooling_from_h, 3),
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
