"""Season, grower, the two together, batch and panel; and trials that the records state."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from origin_compare.drivers import randomised, separable, variance_parts
from origin_compare.drivers.overlap.pitch_weeks import with_calendar
from origin_compare.drivers.slopes.randomised import drawn_by_lot, note_of
from origin_compare.errors import NotEnoughData
from tests.answers import owed
from tests.drivers.seasons import invent, two_true


def test_parts_come_back_and_the_panel_is_taken_out_of_the_batch() -> None:
    """Planted: growers 0.5, batches 0.5, panel 0.3; nothing between seasons."""
    season = invent(2, growers=20, each=6, seasons=2, attributes=8, season_sd=0.0)
    found = variance_parts(season.batches, season.profile)
    owed(found)
    sd = found.parts.groupby("part")["sd"].apply(lambda s: np.sqrt((s**2).mean()))
    assert sd["grower"] == pytest.approx(0.5, abs=0.08)
    assert sd["batch"] == pytest.approx(0.5, abs=0.06)
    assert sd["panel"] == pytest.approx(0.3, abs=0.01)
    assert sd["season"] < 0.15
    assert found.parts.groupby("attribute")["share_pct"].sum().to_numpy() == pytest.approx(100.0)
    assert "Two seasons are two draws of the weather" in found.sentence()


def test_one_season_says_nothing_about_seasons() -> None:
    season = invent(2)
    found = variance_parts(season.batches, season.profile)
    assert "season" not in set(found.parts["part"])
    assert found.sentence().endswith(
        "One season is one draw of the weather: nothing is said about seasons."
    )


def test_one_batch_for_each_grower_is_refused() -> None:
    season = invent(2, growers=12, each=1)
    says = (
        "12 batches of 12 growers: with one grower, or one batch for each, grower and batch are "
        "one thing."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(says)}$"):
        variance_parts(season.batches, season.profile)


def test_only_a_stated_randomised_trial_speaks_of_causes() -> None:
    season = invent(3, slopes=two_true())
    with pytest.raises(NotEnoughData, match=r"^No batch is stated to belong to a randomised trial"):
        randomised(season.batches, season.profile)
    note = np.where(np.arange(60) % 2 == 0, "Randomised trial of length; run 3 of 30", "")
    found = randomised(season.batches.assign(note=note), season.profile)
    assert found.settings == ("length_h",)
    assert len(found.effects.kept.rows) == 30
    assert re.match(
        r"In the randomised trial \(30 batches, length drawn by lot\) length causes a change in "
        r"attribute 1 \(\+0\.\d\d per 10 h, ",
        found.sentence(),
    )
    assert "causes" not in found.effects.sentence()


def test_notes_are_read_as_they_are_written() -> None:
    settings = ("length_h", "peak_temp_c", "final_ph")
    assert drawn_by_lot(f"{note_of(settings)}: run 1") == frozenset(settings)
    assert drawn_by_lot("randomized trial of Peak Temperature") == frozenset({"peak_temp_c"})
    assert drawn_by_lot("slow start") == frozenset()
    assert drawn_by_lot(np.nan) == frozenset()


def test_weekend_fermentations_are_told() -> None:
    pitched = pd.to_datetime(["2025-01-06 08:00", "2025-01-09 08:00"] * 6)
    batches = invent(1, growers=4, each=3).batches.assign(
        pitched_at=pitched + pd.to_timedelta(np.repeat(np.arange(6) * 7, 2), unit="D"),
        length_h=[96.0, 130.0] * 6,
    )
    told = with_calendar(batches)
    assert told["weekend"].tolist() == ["no", "yes"] * 6
    assert told["week"].iloc[0] == "2025-02"
    batches["length_h"] += np.random.default_rng(0).normal(size=12)
    asides = separable(batches).asides
    assert len(asides) == 1
    assert re.fullmatch(
        r"All long fermentations \(over 130 h\) were weekend fermentations, "
        r"of (G\d\d(, | and )?)+; of the others 3 of 9 were\.",
        asides[0],
    )
