"""The fermentation figures show what their results say, whole and without overprinting."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from origin_compare import ask, figures
from origin_compare.figures.fermentation import MOST_POINTS, thinned
from origin_compare.figures.fermentation_side_by_side import spread
from origin_compare.figures.style import DARK, LIGHT
from origin_compare.questions import Questions
from origin_compare.season.season import Season

RUNNING, HOT = "Q25-30", "Q25-06"


@pytest.fixture(scope="module")
def asked(demo_season: Season) -> Questions:
    return ask(demo_season)


@pytest.fixture(scope="module")
def lengths(demo_season: Season) -> pd.Series:
    return demo_season.sheets["readings"].groupby("batch_id")["hours"].max()


def test_extremes_survive_thinning() -> None:
    rng = np.random.default_rng(2)
    hours = np.linspace(0, 130, 200_000)
    value = 20 + rng.normal(0, 0.1, len(hours))
    value[123_456], value[77_777] = 41.0, -3.0
    channel = pd.DataFrame({"hours": hours, "value": value})
    kept = thinned(channel.sample(frac=1, random_state=1))
    assert len(kept) <= MOST_POINTS
    assert kept["hours"].is_monotonic_increasing
    assert kept.loc[kept["value"].idxmax(), "hours"] == hours[123_456]
    assert kept.loc[kept["value"].idxmin(), "hours"] == hours[77_777]
    # every stretch keeps its own ends too, so that the width of the noise is drawn as it is
    stretch = np.arange(len(hours)) * (MOST_POINTS // 2) // len(hours)
    highest = pd.Series(value).groupby(stretch).max()
    assert set(highest).issubset(set(kept["value"]))


def test_few_readings_are_left_as_they_are() -> None:
    channel = pd.DataFrame({"hours": [0.0, 8.0], "value": [1.0, 2.0]})
    assert thinned(channel) is channel


def test_running_batches_stand_first_then_those_that_left(
    asked: Questions, lengths: pd.Series
) -> None:
    figure = figures.departures(asked.departures, lengths, everything=False)
    names = list(figure.layout.yaxis.ticktext)
    left = [one.batch_id for one in asked.departures if one.status == "left"]
    assert names == [RUNNING, *left]
    # the axis runs downwards
    assert figure.layout.yaxis.range[0] > figure.layout.yaxis.range[1]
    words = [note.text for note in figure.layout.annotations]
    assert words[0] == "still fermenting"
    assert len(words) == len(names)


def test_batches_in_style_are_drawn_on_request(asked: Questions, lengths: pd.Series) -> None:
    figure = figures.departures(asked.departures, lengths, everything=True)
    assert len(figure.layout.yaxis.ticktext) == len(asked.departures.found)
    apart = np.diff(figure.layout.yaxis.tickvals)
    assert apart.min() >= 20
    # pixels on the page are those the rows were laid out in
    span = figure.layout.yaxis.range[0] - figure.layout.yaxis.range[1]
    plot = figure.layout.height - figure.layout.margin.t - figure.layout.margin.b
    assert plot == pytest.approx(span, rel=0.05)


def test_where_a_batch_left_is_drawn_from_hour_to_hour(
    asked: Questions, lengths: pd.Series
) -> None:
    figure = figures.departures(asked.departures, lengths, everything=False)
    one = asked.departures.of(HOT)
    row = dict(zip(figure.layout.yaxis.ticktext, figure.layout.yaxis.tickvals, strict=True))[HOT]
    drawn = figure.data[1]
    at = [place for place, y in enumerate(drawn.y) if y == row]
    assert [drawn.x[place] for place in at] == [one.from_h, one.to_h]


def test_a_batch_shows_band_readings_and_what_happened(asked: Questions) -> None:
    opened = asked.batch(HOT)
    figure = figures.batch(opened)
    titles = [note.text for note in figure.layout.annotations[:5]]
    assert titles == [
        "what happened",
        "gravity",
        "pH",
        "temperature, °C",
        "cooling, % open",
    ]
    shaded = [shape for shape in figure.layout.shapes if shape.type == "rect"]
    assert len(shaded) == 5
    assert {(shape.x0, shape.x1) for shape in shaded} == {
        (opened.departure.from_h, opened.departure.to_h)
    }
    strip = figure.data[0]
    assert list(strip.customdata) == list(opened.events["what"])
    lines = [trace for trace in figure.data if trace.mode == "lines" and trace.line.width == 1]
    temperature = next(trace for trace in lines if max(trace.y) > 30)
    assert max(temperature.y) == opened.channels["temp_c"]["value"].max()


def test_words_of_events_never_run_into_one_another(asked: Questions) -> None:
    from origin_compare.figures.fermentation import _CHARS, _lanes

    for name in (HOT, "Q25-14", RUNNING):
        opened = asked.batch(name)
        last = max(frame["hours"].max() for frame in opened.channels.values())
        by_lane: dict[int, list[tuple[float, float]]] = {}
        for hour, _, text, _, lane in _lanes(opened):
            wide = (len(text) + 3) * last / _CHARS
            start = hour - wide if hour + wide > last else hour
            by_lane.setdefault(lane, []).append((start, start + wide))
        for taken in by_lane.values():
            assert all(one[1] <= after[0] for one, after in pairwise(taken))


def test_notes_are_told_where_they_fit_and_never_cut_off(asked: Questions) -> None:
    opened = asked.batch("Q25-14")
    long = "foam up to the hatch, fan put on and off again until it fell back"

    def noted(*notes: str) -> list[str]:
        told = pd.DataFrame(
            {"hours": [10.0 * at for at in range(len(notes))], "what": notes, "kind": "note"}
        )
        strip = figures.batch(replace(opened, events=told)).data[0]
        assert list(strip.customdata) == list(notes)
        return [text.strip() for text in strip.text]

    assert noted("smells of pear", long) == ["smells of pear", "note"]
    assert noted(*["read late"] * 12) == [""] * 12


@pytest.mark.parametrize("dark", [False, True])
def test_the_fan_is_the_forecast(asked: Questions, dark: bool) -> None:
    made = asked.watch.running[0].forecast
    assert made is not None
    figure = figures.ahead(made, asked.batch(RUNNING), dark)
    for channel, end in (("sg", made.final_sg[1]), ("ph", made.final_ph[1])):
        path = made.path[made.path["channel"] == channel]
        drawn = next(
            trace
            for trace in figure.data
            if trace.line.dash == "dash" and trace.y[-1] == path["mid"].iloc[-1]
        )
        np.testing.assert_array_equal(drawn.x, path["hours"])
        assert drawn.line.color == (DARK if dark else LIGHT).estimate
        assert drawn.y[-1] == pytest.approx(end, abs=0.02 if channel == "ph" else 0.0005)
    low = made.band["ph"]["low"]
    assert any(len(trace.y) == len(low) and np.allclose(trace.y, low) for trace in figure.data)
    assert made.band["ph"]["hours"].max() == made.end_h


@pytest.mark.parametrize("by", ["hours", "attenuation"])
def test_each_batch_has_its_own_line_style_and_name(asked: Questions, by: str) -> None:
    names = [HOT, "Q25-14", "Q25-21", RUNNING, "Q24-12", "Q24-23"]
    compared = asked.side_by_side(names, by)  # type: ignore[arg-type]
    figure = figures.side_by_side(compared)
    first = [trace for trace in figure.data if trace.yaxis in (None, "y")]
    assert [trace.name for trace in first] == names
    assert len({trace.line.dash for trace in first}) == 6
    assert len({trace.line.color for trace in first}) == 6
    assert len({trace.marker.symbol for trace in first}) == 6
    labels = [note for note in figure.layout.annotations if note.yref == "y domain"]
    assert len(labels) == 6
    assert all(any(name in note.text for name in names) for note in labels)
    assert {note.yanchor for note in labels} == {"middle"}
    heights = sorted(note.y for note in labels)
    assert all(0 <= height <= 1.0001 for height in heights)
    assert all(after - before > 0.09 for before, after in pairwise(heights))


def test_labels_are_pushed_apart_but_stay_in_order() -> None:
    placed = spread({"low": 0.0, "near": 0.01, "top": 1.0, "also": 0.99}, 0.1)
    assert placed["low"] == 0.0
    assert placed["near"] == pytest.approx(0.1)
    assert placed["also"] == pytest.approx(0.9)
    assert placed["top"] == 1.0
