from __future__ import annotations

from dataclasses import replace

import pytest

from origin_compare.fermentation import departures
from tests.fermentation.simulated import Plant, season_of


@pytest.fixture(scope="module")
def two_yeasts():
    """Forty batches; the second half, on dried yeast, takes a good quarter longer all along."""
    whole = season_of(31, [Plant() for _ in range(40)])
    batches, readings = whole.batches.copy(), whole.sheets["readings"].copy()
    dried = batches["batch_id"].iloc[20:]
    batches.loc[20:, "yeast_form"] = "dried"
    slow = readings["batch_id"].isin(dried)
    readings.loc[slow, "hours"] *= 1.3
    return replace(whole, sheets={"readings": readings}, batches=batches)


def test_batches_are_held_against_their_like_where_that_foresees_them_better(two_yeasts):
    verdicts = departures(two_yeasts)
    assert "each held against its own yeast form" in verdicts.rests_on()
    left = verdicts.table()["status"].eq("left")
    assert left.sum() <= 4
    pressed, dried = verdicts.bands["B001"], verdicts.bands["B021"]
    assert pressed.at([40.0], "sg")["mid"].iloc[0] < dried.at([40.0], "sg")["mid"].iloc[0] - 0.01


def test_a_label_that_means_nothing_splits_nothing(two_yeasts):
    plain = season_of(31, [Plant() for _ in range(40)])
    batches = plain.batches.copy()
    batches.loc[::2, "yeast_form"] = "dried"
    verdicts = departures(replace(plain, batches=batches))
    assert "each held against" not in verdicts.rests_on()
