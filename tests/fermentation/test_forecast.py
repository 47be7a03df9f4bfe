from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.fermentation import forecast, judge_season, replay
from origin_compare.house import default_rules
from tests.answers import owed
from tests.fermentation.simulated import Plant, season_of

RULES = default_rules()
CUT_H = 44.0


@pytest.fixture(scope="module")
def season():
    """Thirty good batches, of which the last is still running, and one that stuck."""
    whole = season_of(21, [Plant() for _ in range(30)] + [Plant("stuck", 26.0, 1.0)])
    readings = whole.sheets["readings"]
    running = (readings["batch_id"] == "B030") & (readings["hours"] > CUT_H)
    batches = whole.batches.copy()
    batches.loc[batches["batch_id"] == "B030", "status"] = "fermenting"
    cut = readings.loc[~running].reset_index(drop=True)
    return replace(whole, sheets={"readings": cut}, batches=batches), readings


@pytest.fixture(scope="module")
def judged(season):
    return judge_season(season[0])


def test_a_running_batch_is_forecast_near_where_it_ended(season, judged):
    ahead = forecast(season[0], "B030", judged=judged)
    owed(ahead)
    assert ahead.holds
    truth = season[1].query("batch_id == 'B030'").sort_values("hours")
    low, likely, high = ahead.final_sg
    assert low < likely < high
    assert low - 0.001 < truth["sg"].iloc[-1] < high + 0.001
    assert ahead.final_ph[1] == pytest.approx(truth["ph"].iloc[-1], abs=0.25)
    assert ahead.end_h == 130
    assert 0 <= ahead.chance_in_style <= 1
    assert set(ahead.path["channel"]) == {"sg", "ph", "temp_c"}
    assert ahead.path["hours"].min() <= CUT_H
    assert ahead.sentence().startswith(f"B030 at {ahead.so_far_h:.0f} h: likely to end at gravity ")


def test_the_same_seed_gives_the_same_forecast(season, judged):
    first = forecast(season[0], "B030", seed=1, judged=judged)
    again = forecast(season[0], "B030", seed=1, judged=judged)
    other = forecast(season[0], "B030", seed=2, judged=judged)
    assert first.final_sg == again.final_sg
    assert first.final_sg != other.final_sg


def test_intervals_hold_when_replayed(judged):
    for at_h in (24.0, 44.0):
        played = replay(judged, at_h)
        assert len(played) >= 25
        # nominal 90 %; 25-30 batches leave +-11 points of chance
        assert 0.75 <= played["sg_inside"].mean() <= 1
        assert 0.75 <= played["ph_inside"].mean() <= 1
        assert played["sg_wide"].median() < 0.006
        assert played["ph_wide"].median() < 0.5


def test_reading_on_narrows_the_forecast(judged):
    early, late = replay(judged, 20.0), replay(judged, 90.0)
    assert late["sg_wide"].median() < early["sg_wide"].median()
    assert late["ph_wide"].median() < early["ph_wide"].median()


def test_a_batch_that_left_is_not_forecast_by_the_house(season, judged):
    ahead = forecast(season[0], "B031", judged=judged)
    assert not ahead.holds
    assert ahead.sentence() == (
        "B031 has left the house band, so the house's own batches do not say where it will end."
    )


def test_a_forecast_learns_from_batches_that_ended_outside_a_window_too(season):
    """Judged by their ends alone the rest would promise that every batch ends in style."""
    tight = RULES.windows["final_ph"].high - 0.15
    strict = replace(
        RULES,
        windows={**RULES.windows, "final_ph": replace(RULES.windows["final_ph"], high=tight)},
    )
    judged = judge_season(replace(season[0], rules=strict))
    left_out = {name for name, why in judged.house.reference.left_out.items() if "pH" in why}
    in_style = {name for name in left_out if not judged.found[name].left}
    assert in_style
    assert in_style <= set(judged.ahead[""].names)
    assert not in_style & set(judged.house.model.names)
    assert "B031" not in judged.ahead[""].names


def test_a_reading_is_worth_less_where_the_course_is_steep(judged):
    """The simulator's readings are good to 0.4 degrees and rounded to halves: 0.43 in all."""
    noise = judged.house.model.noise
    channel = np.zeros(2, int)
    steep, flat = np.sqrt(noise.at(np.array([36.0, 110.0]), channel))
    assert flat == pytest.approx(0.43, abs=0.08)
    assert steep > 1.2 * flat


def test_how_such_forecasts_held_is_said(season, judged):
    ahead = forecast(season[0], "B030", judged=judged)
    gravity, ph, played = ahead.held
    assert 0.7 * played <= min(gravity, ph) <= played
    assert played >= 25
    assert ahead.rests_on().endswith(
        f"foreseen the same way at {ahead.so_far_h:.0f} h, {gravity} of {played} of them ended "
        f"inside the 90 % interval for gravity and {ph} inside that for pH"
    )


def test_what_cannot_be_forecast_is_refused(season, judged):
    with pytest.raises(
        UnknownName, match=r"^There is no batch B99\. Choose one of the season's batches\.$"
    ):
        forecast(season[0], "B99", judged=judged)
    readings = season[0].sheets["readings"]
    few = readings.loc[(readings["batch_id"] != "B030") | (readings["hours"] < 12)]
    with pytest.raises(
        NotEnoughData,
        match=r"^B030 has too few readings for a forecast; at least 3 hours are needed\.$",
    ):
        forecast(replace(season[0], sheets={"readings": few}), "B030")


def test_the_hour_of_the_target_lies_where_ph_passes_it(season, judged):
    ahead = forecast(season[0], "B030", judged=judged)
    low, likely, high = ahead.target_h
    assert CUT_H < low <= likely <= high
    truth = season[1].query("batch_id == 'B030'").sort_values("hours")
    passed = truth.loc[truth["ph"] <= ahead.target_ph, "hours"].iloc[0]
    assert low - 10 <= passed <= high + 10
    assert np.isfinite(ahead.chance_target)
