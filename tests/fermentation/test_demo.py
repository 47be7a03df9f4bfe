"""The demo's planted faults are found, named, and placed within one reading of the truth."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

import origin_compare
from origin_compare import places
from origin_compare.fermentation import departures, derived
from origin_compare.fermentation.departures.signatures import (
    DRIFTS,
    EARLY_LACTIC,
    HOT,
    POOR_YEAST,
    STUCK,
)
from origin_compare.house import default_rules

CAUSE = {
    "stuck": STUCK,
    "hot": HOT,
    "early_lactic": EARLY_LACTIC,
    "old_yeast": POOR_YEAST,
    "probe_drift": DRIFTS[2],
}
ONE_READING_H = 8.5


@pytest.fixture(scope="module")
def season():
    return replace(origin_compare.load_folder(places.demo_folder()), rules=default_rules())


@pytest.fixture(scope="module")
def verdicts(season):
    return departures(season)


@pytest.fixture(scope="module")
def truth():
    file = places.demo_folder().parent / "truth.json"
    return json.loads(file.read_text(encoding="utf-8"))


def test_every_planted_fault_is_found_named_and_placed(verdicts, truth):
    planted = [one for one in truth["faults"] if one["kind"] in CAUSE]
    assert len(planted) == len(CAUSE)
    for one in planted:
        found = verdicts.of(one["batch_id"])
        assert found.status == "left", one
        assert found.named == CAUSE[one["kind"]], one
        assert found.from_h - 0.5 <= one["from_h"] <= found.to_h, one
        assert abs(found.likely_h - one["from_h"]) <= ONE_READING_H, one


def test_sound_batches_stay_in_style(verdicts, truth):
    odd = {one["batch_id"] for one in truth["faults"]}
    sound = [one for one in verdicts if one.batch_id not in odd]
    assert len(sound) > 40
    assert sum(one.status == "left" for one in sound) <= 0.05 * len(sound)


def test_the_wrong_reading_is_set_aside_and_its_vessel_is_sound(verdicts, truth):
    (fault,) = [one for one in truth["faults"] if one["kind"] == "wrong_reading"]
    found = verdicts.of(fault["batch_id"])
    assert found.status == "in style"
    hours = fault["wrong_reading"]["hours"]
    assert [one.hours for one in found.aside] == [pytest.approx(hours, abs=0.1)]
    assert found.aside[0].channel == "sg"


def test_the_running_batch_is_judged_so_far(season, verdicts, truth):
    (name,) = [one["batch_id"] for one in truth["faults"] if one["kind"] == "still_fermenting"]
    assert verdicts.of(name).status == "still fermenting"
    row = derived(season).table().set_index("batch_id").loc[name]
    assert np.isnan(row["length_h"])
    assert row["so_far_h"] > 40


def test_lengths_peaks_and_ends_agree_with_the_truth(season, truth):
    table = derived(season).table().set_index("batch_id")
    sound = [one for one in truth["batches"] if not one["fault"]]
    assert len(sound) > 40
    for one in sound:
        row = table.loc[one["batch_id"]]
        assert row["length_h"] == pytest.approx(one["length_h"], abs=0.1)
        # eight-hourly readings miss the peak, never overstate it by more than reading error
        assert -2.5 < row["peak_temp_c"] - one["peak_temp_c"] < 0.5
        assert row["final_ph"] == pytest.approx(one["final_ph"], abs=0.15)
        assert row["final_sg"] == pytest.approx(one["fg_sg"], abs=0.0015)


def test_a_house_band_of_batches_chosen_by_hand(season):
    asked = origin_compare.ask(season)
    assert asked.accepting([]) is asked
    few = asked.accepting(["Q24-01", "Q24-02"])
    assert few.departures.band is None
    assert few.departures.note == (
        "2 batches in style with readings enough; a house band needs 8. Add batches, or name "
        "those you accept as in style."
    )
    chosen = [f"Q24-{at:02d}" for at in range(1, 12)]
    band = asked.accepting(chosen[::-1]).departures.band
    assert band.reference.names == tuple(chosen)
    assert band.reference.given
    assert asked.accepting(chosen) is asked.accepting(chosen[::-1])
