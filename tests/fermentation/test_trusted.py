from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from origin_compare.fermentation import Cause, Departure, Departures, Derived, trusted
from origin_compare.fermentation.departures.signatures import CLOCK, DRIFTS, HOT, OFFSETS
from origin_compare.fermentation.doubtful_readings import SetAside
from tests.answers import owed

NAN = float("nan")
MEASURED = {
    "batch_id": "B1",
    "length_h": 130.0,
    "still_fermenting": False,
    "peak_temp_c": 33.0,
    "peak_temp_h": 90.0,
    "h_above_window": 20.0,
    "final_ph": 3.4,
    "final_ph_h": 130.0,
    "final_sg": 1.001,
    "final_sg_h": 130.0,
    "apparent_attenuation_pct": 98.0,
    "real_attenuation_pct": 80.0,
    "wash_abv_calc_pct": 8.4,
    "co2_kg": 5000.0,
    "lag_h": 15.0,
    "lag_se_h": 0.5,
    "max_rate_deg_h": 2.5,
    "hour_90_pct": 44.0,
    "level_h": 48.0,
    "secondary_h": 82.0,
    "after_yeast_ph": 4.3,
    "lactic_from_h": 60.0,
    "lactic_from_se_h": 2.0,
}


def verdict(*causes: tuple[str, float], from_h: float = 40.0, aside: tuple = ()) -> Departures:
    ranked = tuple(Cause(name, share, (), (), (), "look") for name, share in causes)
    named = ranked[0].name if ranked and ranked[0].share >= 0.5 else "cannot tell"
    one = Departure(
        "B1",
        "V1",
        "left" if causes else "in style",
        "temperature",
        from_h,
        from_h + 8,
        from_h + 4,
        ranked,
        named,
        False,
        aside,
        "",
    )
    return Departures((one,), None, {}, (), "")


@pytest.fixture
def measured():
    return Derived(pd.DataFrame([MEASURED]), (), 17)


def emptied(answer) -> set[str]:
    return {name for name in MEASURED if pd.isna(answer.table()[name].iloc[0])}


def test_a_drifting_probe_s_peak_is_taken_out_and_said(measured):
    found = trusted(measured, verdict((DRIFTS[2], 0.9)))
    owed(found)
    assert emptied(found) == {"peak_temp_c", "peak_temp_h", "h_above_window"}
    assert found.sentence() == (
        "B1: highest recorded temperature and hours above the temperature window are not trusted "
        "(temperature probe drift)."
    )
    assert found.table()["not_trusted"].iloc[0] == found.sentence()
    assert found.untrusted.set_index("figure").loc["peak_temp_c", "recorded"] == 33.0
    # what was handed over stays as it was
    assert measured.table()["peak_temp_c"].iloc[0] == 33.0


def test_a_peak_from_before_the_probe_went_off_is_kept(measured):
    found = trusted(measured, verdict((DRIFTS[2], 0.9), from_h=96.0))
    assert emptied(found) == set()
    assert found.sentence() == "No figure is in doubt for what was read."


def test_faults_of_one_probe_count_together(measured):
    found = trusted(measured, verdict((DRIFTS[2], 0.4), (OFFSETS[2], 0.35), (HOT, 0.25)))
    assert "peak_temp_c" in emptied(found)
    assert found.untrusted["cause"].unique().tolist() == [DRIFTS[2]]
    less = trusted(measured, verdict((HOT, 0.6), (DRIFTS[2], 0.3)))
    assert emptied(less) == set()


def test_each_instrument_takes_its_own_figures(measured):
    assert "final_ph" in emptied(trusted(measured, verdict((DRIFTS[1], 0.9))))
    gravity = emptied(trusted(measured, verdict((OFFSETS[0], 0.9))))
    assert {"final_sg", "co2_kg", "lag_h", "wash_abv_calc_pct"} <= gravity
    assert not {"peak_temp_c", "final_ph", "length_h"} & gravity
    clock = emptied(trusted(measured, verdict((CLOCK, 0.9), from_h=0.0)))
    assert clock == {
        "lag_h",
        "hour_90_pct",
        "level_h",
        "secondary_h",
        "lactic_from_h",
        "peak_temp_h",
    }


def test_a_last_reading_set_aside_takes_what_hangs_on_it(measured):
    slip = SetAside(16, "B1", 130.0, "sg", 1.010, "gravity 1.01 stands alone")
    found = trusted(measured, verdict(aside=(slip,)))
    assert "final_sg" in emptied(found)
    assert "lag_h" not in emptied(found)
    assert found.sentence().endswith("(the reading is set aside: gravity 1.01 stands alone).")
    earlier = replace(slip, hours=64.0)
    assert emptied(trusted(measured, verdict(aside=(earlier,)))) == set()


def test_what_was_missing_already_is_not_told_again():
    silent = Derived(
        pd.DataFrame(
            [MEASURED | {"peak_temp_c": np.nan, "h_above_window": np.nan, "peak_temp_h": np.nan}]
        ),
        (),
        17,
    )
    assert trusted(silent, verdict((DRIFTS[2], 0.9))).untrusted.empty
