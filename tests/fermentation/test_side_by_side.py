"""Batches beside one another, and one batch's readings as a table."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.fermentation import departures, review, side_by_side
from tests.answers import owed
from tests.fermentation.simulated import Plant, season_of


@pytest.fixture(scope="module")
def season():
    """Twenty good batches; B002's sixth pH reading is a slip, B003 has no readings."""
    whole = season_of(8, [Plant() for _ in range(20)] + [Plant("hot", 24.0, 1.0)])
    log = whole.sheets["readings"].copy()
    log.loc[log.index[log["batch_id"] == "B002"][5], "ph"] += 2.0
    log = log[log["batch_id"] != "B003"].reset_index(drop=True)
    return replace(whole, sheets={"readings": log})


@pytest.fixture(scope="module")
def verdicts(season):
    return departures(season)


def test_by_the_clock_every_kept_reading_is_there(season, verdicts) -> None:
    compared = side_by_side(season, ["B001", "B002"], verdicts)
    owed(compared)
    log = season.sheets["readings"]
    mine = log[log["batch_id"] == "B001"].sort_values("hours")
    drawn = compared.lines.query("batch_id == 'B001' and channel == 'sg'")
    np.testing.assert_allclose(drawn["at"], mine["hours"])
    np.testing.assert_allclose(drawn["value"], mine["sg"])
    slip = compared.lines.query("batch_id == 'B002' and channel == 'ph'")
    assert len(verdicts.of("B002").aside) == 1
    assert len(slip) == (log["batch_id"] == "B002").sum() - 1
    assert "1 set aside" in compared.rests_on()


def test_by_attenuation_a_reading_stands_where_gravity_says(season, verdicts) -> None:
    compared = side_by_side(season, ["B001", "B004"], verdicts, "attenuation")
    batch = season.batches.set_index("batch_id").loc["B001"]
    log = season.sheets["readings"].query("batch_id == 'B001'").sort_values("hours")
    reached = 100 * (batch["og_sg"] - log["sg"]) / (batch["og_sg"] - 1)
    drawn = compared.lines.query("batch_id == 'B001' and channel == 'ph'")
    np.testing.assert_allclose(drawn["at"], np.maximum.accumulate(reached.clip(lower=0)))
    np.testing.assert_allclose(drawn["value"], log["ph"])
    assert "sg" not in set(compared.lines["channel"])
    hours = compared.lines.query("batch_id == 'B001' and channel == 'hours'")
    np.testing.assert_allclose(hours["value"], log["hours"])


def test_the_table_has_the_hour_half_way_and_the_peak(season, verdicts) -> None:
    compared = side_by_side(season, ["B001", "B021"], verdicts)
    table = compared.table().set_index("batch_id")
    log = season.sheets["readings"].query("batch_id == 'B021'").sort_values("hours")
    og = season.batches.set_index("batch_id").loc["B021", "og_sg"]
    half = np.interp(0.5, (og - log["sg"]) / (og - 1), log["hours"])
    assert table.loc["B021", "half_way_h"] == pytest.approx(half)
    assert table.loc["B021", "peak_temp_c"] == log["temp_c"].max()
    assert "B021 ran hottest" in compared.sentence()


def test_a_batch_without_readings_is_said(season, verdicts) -> None:
    compared = side_by_side(season, ["B001", "B003", "B004"], verdicts)
    assert compared.batch_ids == ("B001", "B004")
    assert "no readings of B003" in compared.rests_on()


def test_what_cannot_be_compared_is_said(season, verdicts) -> None:
    with pytest.raises(NotEnoughData) as few:
        side_by_side(season, ["B001", "B003"], verdicts)
    assert str(few.value) == "Choose at least two batches with readings to compare them."
    with pytest.raises(UnknownName) as strange:
        side_by_side(season, ["B001", "Z9"], verdicts)
    assert str(strange.value) == ("There is no batch Z9. Choose one of the season's batches.")
    with pytest.raises(
        ValueError, match=r"^7 batches are too many to compare; choose at most 6\.$"
    ):
        side_by_side(season, [f"B00{at}" for at in range(1, 8)], verdicts)


def test_one_row_per_hour_read_with_what_was_set_aside(season, verdicts) -> None:
    table = review(season, "B002", verdicts).readings()
    log = season.sheets["readings"].query("batch_id == 'B002'").sort_values("hours")
    assert list(table.columns) == [
        "hours",
        "sg",
        "ph",
        "temp_c",
        "cooling_pct",
        "set_aside",
        "why",
    ]
    np.testing.assert_allclose(table["hours"], log["hours"])
    np.testing.assert_allclose(table["ph"], log["ph"])
    marked = table[table["set_aside"] != ""]
    assert list(marked["set_aside"]) == ["pH"]
    assert marked["why"].iloc[0].startswith("pH ")


def test_a_probe_by_the_minute_is_one_row_an_hour(season) -> None:
    whole = season_of(9, [Plant() for _ in range(10)], minutes=True)
    found = departures(whole)
    opened = review(whole, "B004", found)
    table = opened.readings()
    log = whole.sheets["readings"].query("batch_id == 'B004'")
    assert len(log) > 7000
    assert list(table["hours"]) == sorted(set(np.floor(log["hours"])))
    hour = log[np.floor(log["hours"]) == 30]
    row = table.set_index("hours").loc[30]
    assert row["sg"] == pytest.approx(hour["sg"].median(), abs=1e-9)
    assert row["temp_c"] == pytest.approx(hour["temp_c"].median())
    assert len(opened.table()) == 4 * len(log)


def test_events_say_when_cooling_was_seen_open(season, verdicts) -> None:
    events = review(season, "B001", verdicts).events
    log = season.sheets["readings"].query("batch_id == 'B001' and cooling_pct > 0")
    cooled = events[events["kind"] == "cooling"].set_index("what")["hours"]
    assert cooled["cooling first seen open"] == log["hours"].min()
    assert cooled["cooling last seen open"] == log["hours"].max()
