"""The first page: one list of what needs a word, with hour, clock, cause and next check."""

from __future__ import annotations

import pandas as pd
import pytest

import origin_compare as oc
from origin_compare.questions import Questions
from origin_compare.review import ThisWeek, in_four_sentences, latest_harvest
from origin_compare.season.season import Season


@pytest.fixture(scope="module")
def asked(demo_season: Season) -> Questions:
    return oc.ask(demo_season)


@pytest.fixture(scope="module")
def week(asked: Questions) -> ThisWeek:
    return asked.this_week(2025)


def test_one_list_holds_what_left_and_what_lies_outside_a_window(
    asked: Questions, week: ThisWeek
) -> None:
    left = {one.batch_id for one in asked.departures if one.status == "left"}
    outside = set(week.review.outside["batch_id"])
    named = [one.batch_id for one in week.words.words]
    assert set(named) == {batch for batch in left | outside if batch.startswith("Q25")}
    assert len(named) == len(set(named))


def test_a_hot_batch_has_its_hour_clock_cause_and_next_check(week: ThisWeek) -> None:
    (hot,) = [one for one in week.words.words if one.batch_id == "Q25-06"]
    assert hot.hours() == "17 to 22 h"
    assert hot.to_at - hot.from_at == pd.Timedelta(hours=hot.to_h - hot.from_h).round("s")
    assert hot.clock() == "Thu 20 Nov 09:06 to 14:05"
    assert hot.why.startswith("most likely hot fermentation (cooling failed) (")
    assert hot.next_check == "valve and coolant log of the hours before"
    assert hot.growers == ("G09",)


def test_a_lone_figure_outside_its_window_is_said_whole_and_without_an_hour(
    week: ThisWeek,
) -> None:
    (late,) = [one for one in week.words.words if one.batch_id == "Q25-03"]
    assert late.why == "hours between readings 9.2 (window: at most 8.5 h)"
    assert (late.hours(), late.clock()) == ("", "")


def test_the_latest_pitched_comes_first(week: ThisWeek) -> None:
    assert [one.batch_id for one in week.words.words] == sorted(
        [one.batch_id for one in week.words.words], reverse=True
    )


def test_the_sentence_names_vessels_words_and_tastings(week: ThisWeek) -> None:
    assert week.sentence() == (
        "1 batch is fermenting (Q25-30 in W3). "
        "4 of 30 batches need a word: Q25-21, Q25-14, Q25-06 and Q25-03. "
        "Every distilled batch has been tasted; 25 of them stand on a single tasting each."
    )
    assert week.readings_due() == (("Q25-30", "Q25-30 in W3 by Thu 25 Jun, 06:24"),)
    assert "not from the clock on the wall" in week.rests_on()
    assert len(week.table()) == 4
    assert week.vessels()["batch_id"].tolist() == ["Q25-30"]


def test_an_earlier_harvest_still_shows_the_batch_that_ferments(asked: Questions) -> None:
    earlier = asked.this_week(2024)
    assert [one.batch_id for one in earlier.running] == ["Q25-30"]
    assert all(one.batch_id.startswith("Q24") for one in earlier.words.words)


def test_the_harvest_is_that_of_the_batch_pitched_last() -> None:
    batches = pd.DataFrame(
        {
            "season": pd.array([2024, 2025, None], dtype="Int64"),
            "pitched_at": pd.to_datetime(["2026-01-02", "2025-12-01", "2026-02-01"], utc=True),
        }
    )
    assert latest_harvest(batches, [2023, 2024, 2025]) == 2024
    assert latest_harvest(batches.iloc[:0], [2023, 2024, 2025]) == 2025


def test_four_sentences_say_what_is_missing_rather_than_fall_silent(week: ThisWeek) -> None:
    told = in_four_sentences(week.review, None, None)
    assert [said for _, said in told] == [
        "26 of 29 finished batches keep inside every window of the house.",
        "Spirit yield: typically 372 L of pure alcohol per tonne of malt; half lie between 368 "
        "and 376.",
        "Nothing was tasted yet.",
        "There are too few batches to compare.",
    ]
