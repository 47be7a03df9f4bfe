"""Figures of the drivers: what is drawn is what was found, and nothing is cut off or made up."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest

from origin_compare import drivers, figures, trials
from origin_compare.figures import driver_detail as detail
from origin_compare.figures import driver_foresight
from origin_compare.figures import trials as drawn
from tests.drivers.seasons import invent, two_true
from tests.drivers.test_detail import Long


@pytest.fixture(scope="module")
def answers() -> drivers.DriverAnswers:
    season = invent(3, growers=12, each=5, slopes=two_true(), seasons=2)
    rng = np.random.default_rng(0)
    batches = season.batches.assign(
        grain_n_pct_dm=np.repeat(rng.normal(1.6, 0.1, 12), 5), rain_mm=rng.normal(40, 9, 60)
    )
    profile = Long(season.profile.estimates, season.profile.errors, season.profile.told)
    return drivers.DriverAnswers(batches, profile)


def _marks(figure: go.Figure) -> list[go.Scatter]:
    # An interval is drawn by marks at its ends too, which say nothing when pointed at.
    return [
        trace
        for trace in figure.data
        if "markers" in (trace.mode or "") and trace.hoverinfo != "skip"
    ]


@pytest.mark.parametrize("dark", [False, True])
def test_every_batch_is_drawn_with_its_error_and_a_sign_per_harvest(
    answers: drivers.DriverAnswers, dark: bool
) -> None:
    found = answers.opened("attribute 1")
    figure = detail.opened(found, dark)
    marks = _marks(figure)
    assert len(marks) == 3 * 2
    length = [trace for trace in marks if trace.xaxis == "x"]
    assert sum(len(trace.x) for trace in length) == 60
    points = found.points.set_index("batch_id")
    for trace in length:
        for (batch, _, low, high), y, up in zip(
            trace.customdata, trace.y, trace.error_y.array, strict=True
        ):
            assert points.loc[batch, "estimate"] == y
            assert high - y == pytest.approx(up)
            assert low < y
    assert {trace.marker.symbol for trace in marks} == {"circle", "diamond-open"}
    assert detail.batch_signs(found) == "dot 2024, open diamond 2025"


def test_the_headline_of_each_panel_is_its_verdict(answers: drivers.DriverAnswers) -> None:
    heads = [one.text for one in detail.opened(answers.opened("attribute 1")).layout.annotations]
    assert heads[0] == "Length<br>clear"
    assert heads[1].startswith("Peak temperature<br>")


def test_growers_stand_in_the_order_of_their_codes_total_and_direct(
    answers: drivers.DriverAnswers,
) -> None:
    figure = detail.origins(answers.origins, answers.agreement, attribute="attribute 1")
    total, direct, *harvests = _marks(figure)
    table = answers.origins.table()
    rows = table[table["attribute"] == "attribute 1"]
    assert list(figure.layout.yaxis.ticktext) == sorted(rows["grower_id"])
    assert list(total.x) == list(rows["estimate"])
    assert list(direct.x) == list(rows["direct"])
    assert len(harvests) == 2
    one = detail.origins(answers.origins, None, grower="G03")
    assert list(one.layout.yaxis.ticktext) == [f"attribute {k}" for k in range(1, 7)]


def test_field_path_and_foresight_draw_what_was_found(answers: drivers.DriverAnswers) -> None:
    field = detail.traits(answers.traits, "attribute 1")
    assert list(field.layout.yaxis.categoryarray) == [
        "grain nitrogen, per 0.1 % nitrogen",
        "rain, per 10 mm",
    ]
    path = answers.path("grain_n_pct_dm", "length_h")
    by_way = _marks(detail.path(path))[0]
    assert list(by_way.x) == list(path.parts["by_way_of"])
    judged = driver_foresight.foresight(answers.foresight)
    scores = answers.foresight.table()
    assert sum(len(trace.x) for trace in _marks(judged)) == len(scores)
    ridge = scores[(scores["method"] == "ridge") & (scores["left_out"] == "grower_id")]
    saved = 100 * (1 - ridge["error"] / ridge["error_of_mean"])
    assert list(_marks(judged)[0].x) == pytest.approx(list(saved))
    open_marks = [symbol.endswith("-open") for symbol in _marks(judged)[0].marker.symbol]
    assert open_marks == list(ridge["verdict"] == "no better than the mean")
    assert len(driver_foresight.foresight_table(answers.foresight)) == len(scores)


def test_a_star_stands_where_something_speaks_against_a_finding(
    answers: drivers.DriverAnswers,
) -> None:
    found = answers.effects
    stars = [
        text for trace in _marks(figures.effects(found)) for text in trace.text if text.strip()
    ]
    assert len(stars) == int(found.slopes["warning"].ne("").sum())


def test_runs_are_drawn_in_their_order() -> None:
    settings = {"length_h": [95.0, 140.0], "peak_temp_c": [28.0, 31.0]}
    lots = pd.DataFrame({"lot_id": ["L1", "L2"]})
    plan = trials.next_trials(trials.Choices(settings, lots, ["W1"]), 8, 0.5)
    length, peak = drawn.runs(plan).data
    assert list(length.x) == list(range(1, 9))
    assert list(length.y) == list(plan.runs["length_h"])
    assert list(length.text) == list(plan.runs["lot_id"])
    assert list(peak.y) == list(plan.runs["peak_temp_c"])


def test_what_is_seen_before_and_after_and_with_more_batches() -> None:
    settings = {"length_h": [95.0, 140.0], "peak_temp_c": [28.0, 31.0]}
    rng = np.random.default_rng(1)
    made = pd.DataFrame(
        {"length_h": rng.uniform(95, 140, 20), "peak_temp_c": rng.uniform(28, 31, 20)}
    )
    plan = trials.next_trials(settings, 8, 0.5, so_far=made)
    power = trials.trial_power(plan, 0.4, 0.3)
    now, then = _marks(drawn.visible(power))
    assert list(now.x) == list(power.terms["visible_before"])
    assert list(then.x) == list(power.terms["visible_after"])
    assert all(after < before for before, after in zip(now.x, then.x, strict=True))
    sizes = trials.trial_sizes(settings, 8, 0.5, so_far=made)
    lines = _marks(drawn.trial_sizes(sizes))
    assert [len(line.x) for line in lines] == [7, 7]
    assert len({line.line.dash for line in lines}) == 2


@pytest.mark.parametrize("dark", [False, True])
def test_every_batch_has_its_score_and_what_it_would_have_scored(
    answers: drivers.DriverAnswers, dark: bool
) -> None:
    found = answers.field
    figure = figures.field_and_handling(found, "attribute 1", "B003", dark)
    usual, score = _marks(figure)
    rows = found.batches[found.batches["attribute"] == "attribute 1"].set_index("batch_id")
    assert sorted(usual.y) == sorted(score.y) == sorted(rows.index)
    np.testing.assert_array_equal(usual.x, rows.loc[list(usual.y), "usual"])
    np.testing.assert_array_equal(score.x, rows.loc[list(score.y), "score"])
    assert "<b>B003</b>" in figure.layout.yaxis.ticktext
