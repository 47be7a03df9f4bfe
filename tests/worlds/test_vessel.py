"""The mechanistic house keeps its own books: mass, heat, order, and truth that fits the sheets."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import origin_compare as oc
from tests.faults.worlds import physics, vessel
from tests.faults.worlds.faults import KINDS, Misreading
from tests.faults.worlds.recording import warm_reading_error


@pytest.fixture(scope="module")
def usual() -> pd.DataFrame:
    return physics.course(physics.Batch())


@pytest.fixture(scope="module")
def season() -> vessel.Vessels:
    return vessel.season(3, batches=12, faults={"stuck": 0.1, "hot": 0.1, "clock error": 0.1})


def test_balling_parts_what_was_fermented(usual: pd.DataFrame) -> None:
    wort = physics.Wort()
    left = usual["sugar_g_l"].iloc[-1] + usual["late_sugar_g_l"].iloc[-1]
    ethanol = usual["ethanol_g_l"].iloc[-1]
    parts = ethanol * (1 + physics.CO2_PER_ETHANOL + physics.YEAST_PER_ETHANOL)
    assert parts == pytest.approx(wort.fermentable_g_l - left, rel=1e-9)
    assert 0.080 < ethanol / 789.3 < 0.092  # an ordinary wash of 1.065


def test_heat_made_is_heat_kept_and_lost(usual: pd.DataFrame) -> None:
    ethanol = usual["ethanol_g_l"].iloc[-1]
    made = ethanol * (
        physics.EXTRACT_PER_ETHANOL * physics.HEAT_KJ_PER_G
        - physics.CO2_PER_ETHANOL * physics.EVAPORATION_KJ_PER_G_CO2
    )
    warmer = usual["temp_c"].iloc[-1] - usual["temp_c"].iloc[0]
    lost = usual["wall_kj_l"].iloc[-1] + usual["jacket_kj_l"].iloc[-1]
    assert made == pytest.approx(warmer * physics.HEAT_CAPACITY_KJ_L_K + lost, rel=1e-3)


def test_gravity_only_falls_to_the_limit_and_ph_stays_possible(usual: pd.DataFrame) -> None:
    assert usual["sg"].diff().max() < 1e-6
    assert usual["sg"].iloc[-1] == pytest.approx(physics.Wort().limit_sg, abs=2e-4)
    assert usual["ph"].between(3.2, 5.3).all()
    assert usual["ph"].iloc[-1] < 3.75


def test_a_shut_valve_warms_and_an_open_one_chills(usual: pd.DataFrame) -> None:
    def at(valve: float) -> pd.DataFrame:
        change = physics.Change(25.0, held_valve_pct=valve)
        return physics.course(physics.Batch(changes=(change,)))

    shut, opened = at(0.0), at(100.0)
    assert shut["temp_c"].max() > usual["temp_c"].max() + 4
    assert opened["temp_c"].iloc[-1] < usual["temp_c"].iloc[-1] - 10
    before = usual["hours"] < 24.9
    assert np.allclose(shut["temp_c"][before], usual["temp_c"][before], atol=1e-2)


def test_yeast_that_stops_leaves_the_gravity_standing() -> None:
    run = physics.course(physics.Batch(changes=(physics.Change(30.0, yeast_factor=0.01),)))
    at_stop = np.interp(30.0, run["hours"], run["sg"])
    assert at_stop - run["sg"].iloc[-1] < 0.005
    assert run["sg"].iloc[-1] > 1.020


def test_lactic_acid_meets_what_the_wash_takes_up() -> None:
    ph = physics.ph_with_lactic(4.2, 5.0, 0.023)
    given = 5.0 / 90.08 / (1 + 10 ** (3.86 - ph))
    assert given == pytest.approx(0.023 * (4.2 - ph), rel=1e-6)


def test_a_hydrometer_read_warm_reads_low() -> None:
    degrees = 1000 * warm_reading_error(np.array([20.0, 25.0, 30.0]))
    assert degrees == pytest.approx([0.0, -1.16, -2.56], abs=0.03)  # density of water tables


def test_the_same_seed_gives_the_same_season(season: vessel.Vessels) -> None:
    again = vessel.season(3, batches=12, faults={"stuck": 0.1, "hot": 0.1, "clock error": 0.1})
    pd.testing.assert_frame_equal(again.truth, season.truth)
    for name, sheet in season.sheets.items():
        pd.testing.assert_frame_equal(again.sheets[name], sheet)


def test_the_truth_fits_the_sheets(season: vessel.Vessels) -> None:
    last = season.sheets["readings"].groupby("batch_id")["sg"].last()
    sound = season.truth[season.truth["slips"] == 0].set_index("batch_id")
    assert (last[sound.index] - sound["end_sg"]).abs().max() < 0.002
    assert set(season.truth["kind"]) == {"none", "stuck", "hot", "clock error"}
    stuck = season.truth[season.truth["kind"] == "stuck"].iloc[0]
    assert stuck["end_sg"] > stuck["limit_sg"] + 0.010
    assert stuck["onset_h"] <= stuck["shows_h"] < stuck["onset_h"] + 8


def test_an_instrument_off_in_one_vessel_is_off_there_alone() -> None:
    bias = vessel.Bias("W2", "ph", 0.25)
    plain, off = vessel.season(5, 8, faults={}), vessel.season(5, 8, faults={}, biases=[bias])
    apart = (off.sheets["readings"]["ph"] - plain.sheets["readings"]["ph"]).round(2)
    whose = off.sheets["readings"]["batch_id"].map(off.truth.set_index("batch_id")["vessel"])
    assert set(apart[whose == "W2"]) == {0.25}
    assert set(apart[whose != "W2"]) == {0.0}


def test_a_shift_that_reads_warm_is_off_in_its_own_readings_alone() -> None:
    bias = vessel.Bias(vessel.EVERY_VESSEL, "sg", 1.0, warm=True, shift_h=22)
    plain, off = vessel.season(5, 4, faults={}), vessel.season(5, 4, faults={}, biases=[bias])
    apart = off.sheets["readings"]["sg"] - plain.sheets["readings"]["sg"]
    hour = off.sheets["readings"]["read_at"].dt.hour
    warm = off.sheets["readings"]["temp_c"] > 27
    assert (apart[warm & hour.isin([21, 22, 23])] < -0.001).all()
    assert (apart[hour.isin([5, 6, 7, 13, 14, 15])] == 0).all()


def test_a_drift_begins_at_its_hour() -> None:
    off = Misreading("ph", 40.0, per_h=0.01).off(np.array([10.0, 40.0, 60.0]))
    assert off == pytest.approx([0.0, 0.0, 0.2])


def test_an_unknown_fault_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="No such fault: gremlins"):
        vessel.season(1, 4, faults={"gremlins": 0.5})


def test_every_kind_can_be_planted_and_read_in(tmp_path: Path) -> None:
    made = vessel.season(11, len(KINDS) + 4, faults=dict.fromkeys(KINDS, 1 / (len(KINDS) + 4)))
    assert set(KINDS) <= set(made.truth["kind"])
    vessel.write(made, tmp_path)
    read = oc.load_folder(tmp_path)
    assert [fault for fault in read.faults if fault.weight == "fault"] == []
    assert len(read.sheets["readings"]) == len(made.sheets["readings"])
    joined = read.batches.set_index("batch_id")["grower_id"]
    assert joined.notna().all()


def test_a_running_batch_is_seen_only_so_far(season: vessel.Vessels) -> None:
    name = season.truth["batch_id"].iloc[-1]
    seen = vessel.running(season, {name: 30.0})
    card = seen.sheets["fermentations"].set_index("batch_id").loc[name]
    own = seen.sheets["readings"].query("batch_id == @name")
    assert pd.isna(card["ended_at"])
    assert (own["read_at"] - card["pitched_at"]).max() <= pd.Timedelta(hours=30.1)
    assert name not in set(seen.sheets["spirits"]["batch_id"])
