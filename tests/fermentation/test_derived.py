from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from origin_compare.fermentation import derived
from origin_compare.fermentation.derived import hours_above
from origin_compare.season.season import Season
from tests.answers import owed
from tests.fermentation.simulated import Plant, season_of


def small_season(**batch: object) -> Season:
    hours = np.arange(0.0, 129.0, 8.0)
    sg = 1.0 + 0.065 / (1 + np.exp(0.15 * (hours - 32)))
    temp = np.interp(hours, [0, 40, 56, 128], [21, 32, 30, 22])
    readings = pd.DataFrame(
        {
            "batch_id": "A1",
            "hours": hours,
            "sg": np.round(sg, 4),
            "ph": np.linspace(5.3, 3.4, 17),
            "temp_c": temp,
            "cooling_pct": np.nan,
            "instrument": "hand",
        }
    )
    pitched = pd.Timestamp("2025-10-06 06:00", tz="UTC")
    row = {
        "batch_id": "A1",
        "status": "ended",
        "vessel": "V1",
        "pitched_at": pitched,
        "ended_at": pitched + pd.Timedelta(hours=131),
        "wort_l": 85000.0,
        "og_sg": 1.065,
        "yeast_kg": 240.0,
        "grist_kg": 18000.0,
        "new_make_l": 10000.0,
        "new_make_abv_pct": 69.0,
    } | batch
    return Season({"readings": readings}, pd.DataFrame([row]), pd.DataFrame(), pd.DataFrame())


def test_figures_worked_by_hand():
    answer = derived(small_season())
    row = answer.table().iloc[0]
    owed(answer)
    assert row["length_h"] == 131
    assert row["length_from"] == "ended_at"
    assert row["peak_temp_c"] == 32
    assert row["peak_temp_h"] == 40
    # 21 -> 32 over 40 h passes 30.5 at 34.545 h; 32 -> 30 over 16 h passes 30.5 at 52 h, but the
    # readings stand at 32 h (29.8), 40, 48 (31) and 56 h (30)
    rising = 8 * (32 - 30.5) / (32 - 29.8)
    assert row["h_above_window"] == pytest.approx(rising + 8 + 8 * 0.5 / 1.0)
    assert row["final_ph"] == pytest.approx(3.4)
    assert row["final_sg"] == 1.0
    assert row["apparent_attenuation_pct"] == pytest.approx(100.0, abs=0.1)
    assert 80 < row["real_attenuation_pct"] < 83
    assert row["lpa"] == pytest.approx(6900)
    assert row["spirit_yield_lpa_t"] == pytest.approx(6900 / 18)
    assert row["yeast_g_l"] == pytest.approx(240_000 / 85_000)
    assert row["lag_h"] == pytest.approx(32 - 2 / 0.15, abs=0.1)
    assert row["curve_status"] == "ok"
    # within a degree of its end of 65 from exp(0.15 (h - 32)) = 64 on; ended at 131 h
    level = 32 + np.log(64) / 0.15
    assert row["level_h"] == pytest.approx(level, abs=0.3)
    assert row["secondary_h"] == pytest.approx(131 - level, abs=0.3)
    assert not row["still_fermenting"]


def test_a_running_batch_has_no_length_and_no_final_figures():
    row = derived(small_season(status="fermenting", ended_at=pd.NaT)).table().iloc[0]
    assert row["still_fermenting"]
    assert np.isnan(row["length_h"])
    assert row["so_far_h"] == 128
    for name in ("final_ph", "final_sg", "apparent_attenuation_pct", "co2_kg"):
        assert np.isnan(row[name]), name
    assert row["peak_temp_c"] == 32


def test_an_ended_batch_without_its_hour_says_where_the_length_comes_from():
    row = derived(small_season(ended_at=pd.NaT)).table().iloc[0]
    assert row["length_h"] == 128
    assert row["length_from"] == "last reading"


def test_what_the_sheets_do_not_hold_stays_missing():
    row = derived(small_season(grist_kg=np.nan, wort_l=np.nan, og_sg=np.nan)).table().iloc[0]
    for name in ("spirit_yield_lpa_t", "yeast_g_l", "co2_kg", "real_attenuation_pct"):
        assert np.isnan(row[name]), name
    assert row["lpa"] == pytest.approx(6900)


def test_a_transposed_reading_is_set_aside_and_named():
    season = small_season()
    readings = season.sheets["readings"].copy()
    assert readings.loc[3, "sg"] == pytest.approx(1.0500, abs=0.0008)
    readings.loc[6, "sg"] = 1.050  # 1.005 with its digits swapped
    answer = derived(
        Season({"readings": readings}, season.batches, season.shares, season.unmatched)
    )
    assert [one.row for one in answer.aside] == [6]
    assert answer.aside[0].why == (
        "gravity 1.05 stands alone between its neighbours; two digits may be swapped, "
        "1.005 would fit"
    )
    assert answer.rests_on() == "17 readings of 1 batch, 1 set aside as not true (A1)"
    assert answer.table()["n_set_aside"].iloc[0] == 1
    assert answer.table()["curve_status"].iloc[0] == "ok"


def test_a_wild_temperature_is_no_peak():
    season = small_season()
    readings = season.sheets["readings"].copy()
    readings.loc[9, "temp_c"] = 47.5
    answer = derived(
        Season({"readings": readings}, season.batches, season.shares, season.unmatched)
    )
    assert answer.table()["peak_temp_c"].iloc[0] == 32


def test_hours_above_counts_crossings():
    assert hours_above(np.array([0.0, 10, 20]), np.array([29.0, 31, 29]), 30) == pytest.approx(10)
    assert hours_above(np.array([0.0, 10]), np.array([31.0, 31]), 30) == 10
    assert hours_above(np.array([0.0, 10]), np.array([29.0, 30]), 30) == 0


def test_a_season_of_good_batches_reads_true():
    season = season_of(3, [Plant() for _ in range(12)])
    frame = derived(season).table()
    assert list(frame["batch_id"]) == list(season.batches["batch_id"])
    assert frame["n_set_aside"].sum() == 0
    assert (frame["curve_status"] == "ok").all()
    assert frame["final_sg"].between(0.997, 1.005).all()
