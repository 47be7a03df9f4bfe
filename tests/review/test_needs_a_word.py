"""One list of the batches that need a word, whichever page asks."""

from __future__ import annotations

import math

import pandas as pd

from origin_compare.fermentation import Departure, Departures
from origin_compare.house import read_rules
from origin_compare.review import needs_a_word, season_review


def departed(batch: str) -> Departure:
    hours = (24.0, 32.0, 28.0)
    return Departure(
        batch, "W1", "left", "gravity", *hours, (), "cannot tell", False, (), "", (), ()
    )


def kept(batch: str) -> Departure:
    none = (math.nan, math.nan, math.nan)
    return Departure(batch, "W1", "in style", "", *none, (), "", False, (), "", (), ())


def test_a_batch_is_listed_once_with_both_reasons() -> None:
    batches = pd.DataFrame(
        {
            "batch_id": ["B1", "B2", "B3", "B4"],
            "status": "distilled",
            "length_h": [80.0, 60.0, 60.0, 80.0],
        }
    )
    rules = read_rules("[windows.length_h]\nlow = 55\nhigh = 70\n")
    verdicts = (departed("B1"), departed("B2"), kept("B3"), kept("B4"))
    found = needs_a_word(
        season_review(batches, rules), Departures(verdicts, None, {}, (), "few batches.")
    )
    assert found.table()["batch_id"].tolist() == ["B1", "B2", "B4"]
    why = found.table().set_index("batch_id")["why"]
    assert why["B1"] == ("the cause cannot be told; fermentation length 80 (window: 55 to 70 h)")
    assert why["B2"] == "the cause cannot be told"
    assert why["B4"] == "fermentation length 80 (window: 55 to 70 h)"
    assert found.table()["from_h"].tolist()[:2] == [24.0, 24.0]
    assert found.sentence() == "3 of 4 batches need a word: B1, B2 and B4."
    assert found.rests_on().endswith("few batches.")


def test_none_is_said_too() -> None:
    batches = pd.DataFrame({"batch_id": ["B1"], "status": "distilled"})
    review = season_review(batches, read_rules("time_zone = 'UTC'\n"))
    found = needs_a_word(review, Departures((kept("B1"),), None, {}, (), ""))
    assert found.sentence() == "None of 1 batch needs a word."
