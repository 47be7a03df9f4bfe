from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.fermentation import departures, house_band, review
from origin_compare.fermentation.departures.signatures import STUCK
from tests.answers import owed
from tests.fermentation.simulated import Plant, season_of


@pytest.fixture(scope="module")
def season():
    good = [Plant() for _ in range(24)]
    return season_of(11, [*good, Plant("stuck", 27.0, 1.0), Plant("gravity offset", 44.0, 7.0)])


@pytest.fixture(scope="module")
def verdicts(season):
    return departures(season)


def test_good_batches_stay_and_planted_ones_leave(verdicts):
    owed(verdicts)
    status = verdicts.table().set_index("batch_id")["status"]
    assert list(status[["B025", "B026"]]) == ["left", "left"]
    assert (status.iloc[:24] == "in style").sum() >= 22
    stuck = verdicts.of("B025")
    assert stuck.from_h <= 27.0 <= stuck.to_h
    assert stuck.named == STUCK
    assert stuck.sentence().startswith(
        f"B025 left the house band between {stuck.from_h:.0f} and {stuck.to_h:.0f} h"
    )


def test_one_row_per_batch_in_order(season, verdicts):
    assert list(verdicts.table()["batch_id"]) == list(season.batches["batch_id"])
    with pytest.raises(
        UnknownName, match=r"^There is no batch B999\. Choose one of the season's batches\.$"
    ):
        verdicts.of("B999")


def test_too_few_batches_draw_no_band(season):
    few = replace(season, batches=season.batches.iloc[:6].reset_index(drop=True))
    answer = departures(few)
    assert set(answer.table()["status"]) == {"cannot tell"}
    assert answer.band is None
    assert answer.sentence().startswith("Whether batches left the house style cannot be told: ")
    with pytest.raises(
        NotEnoughData,
        match=r"^\d batch(es)? in style with readings enough; a house band needs 8\. Add batches, "
        r"or name those you accept as in style\.$",
    ):
        house_band(few)


def test_the_band_holds_whole_batches(season):
    band = house_band(season, in_style=list(season.batches["batch_id"][:24]))
    assert band.reference.given
    assert set(band.coverage) == {"sg", "ph", "temp_c"}
    for channel, share in band.coverage.items():
        assert share >= 0.85, channel
    drawn = band.at(np.array([0.0, 40.0, 120.0]), "sg", 1.065)
    assert (drawn["low"] < drawn["mid"]).all()
    assert (drawn["mid"] < drawn["high"]).all()
    assert drawn["mid"].iloc[0] == pytest.approx(1.065, abs=0.0015)
    assert band.at(np.array([0.0]), "sg", 1.070)["mid"].iloc[0] > drawn["mid"].iloc[0] + 0.004


def test_a_named_example_must_exist(season):
    with pytest.raises(
        UnknownName,
        match=r"^B777 is named as in style, but the season holds no such batch\. "
        r"Choose from its batches\.$",
    ):
        house_band(season, in_style=["B001", "B777"])


def test_a_review_lays_out_one_batch(season):
    laid = review(season, "B025")
    owed(laid)
    assert set(laid.channels) == {"sg", "ph", "temp_c", "cooling_pct"}
    gravity = laid.channels["sg"]
    assert list(gravity.columns) == ["hours", "value", "low", "mid", "high", "set_aside", "why"]
    assert (gravity["value"].iloc[-3:] > gravity["high"].iloc[-3:]).all()
    assert {"pitch", "end", "left"} <= set(laid.events["kind"])
    assert laid.departure.status == "left"
    assert len(laid.curve_line) > 100
    with pytest.raises(
        UnknownName, match=r"^There is no batch nobody\. Choose one of the season's batches\.$"
    ):
        review(season, "nobody")


def test_minutes_from_a_probe_do_not_multiply_the_evidence():
    """Eight thousand readings a batch are not eight thousand witnesses: good batches stay."""
    plants = [*[Plant() for _ in range(14)], Plant("temperature offset", 60.0, 4.0)]
    verdicts = departures(season_of(61, plants, minutes=True))
    table = verdicts.table()
    assert table["status"].eq("left").iloc[:14].sum() <= 1
    found = verdicts.of("B015")
    assert found.status == "left"
    assert found.from_h <= 60.0 <= found.to_h
    assert found.to_h - found.from_h <= 8
