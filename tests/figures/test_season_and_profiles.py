"""Figures draw what the results say, name what is far out, and never rely on colour alone."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest

from origin_compare import figures
from origin_compare.figures.style import DARK, LIGHT, OKABE_ITO, dress
from origin_compare.questions import Questions, ask
from origin_compare.season.season import Season


@pytest.fixture(scope="module")
def asked(demo_season: Season) -> Questions:
    return ask(demo_season)


def marks(figure: go.Figure) -> list[go.Scatter]:
    return [trace for trace in figure.data if trace.type == "scatter" and trace.mode == "markers"]


def _contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours (WCAG 2.1, relative luminance)."""

    def light(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((light(first), light(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("shades", [LIGHT, DARK])
def test_words_and_marks_stand_out_from_their_ground(shades: object) -> None:
    # WCAG 2.1: 4.5 to 1 for text (1.4.3), 3 to 1 for what a graphic needs (1.4.11).
    assert _contrast(shades.text, shades.ground) >= 4.5
    assert _contrast(shades.soft, shades.ground) >= 4.5
    assert _contrast(shades.accent, shades.ground) >= 3
    assert _contrast(shades.estimate, shades.ground) >= 3


def test_the_categories_are_the_published_set() -> None:
    # Okabe and Ito, Color Universal Design (2008), black last.
    assert OKABE_ITO == (
        "#0072B2",
        "#D55E00",
        "#009E73",
        "#CC79A7",
        "#E69F00",
        "#56B4E9",
        "#000000",
    )


def test_every_batch_is_a_dot_and_what_is_outside_is_open_and_named(asked: Questions) -> None:
    review = asked.review
    figure = figures.season_review(review)
    lengths = [trace for trace in marks(figure) if trace.yaxis == "y"]
    drawn = np.concatenate([np.asarray(trace.y, dtype=float) for trace in lengths])
    assert sorted(drawn) == sorted(review.batches["length_h"].dropna())
    hot = set(review.outside.loc[review.outside["measure"] == "peak_temp_c", "batch_id"])
    named = {annotation.text.strip() for annotation in figure.layout.annotations}
    assert hot and hot <= named
    open_marks = sum(
        str(symbol).endswith("-open") for trace in marks(figure) for symbol in trace.marker.symbol
    )
    # A yield is judged by its share of what the malt promised.
    shown = ["length_h", "peak_temp_c", "final_ph", "share_of_predicted_pct"]
    assert open_marks == review.outside["measure"].isin(shown).sum()


def test_a_grower_sees_only_own_dots(asked: Questions) -> None:
    letter = asked.grower("G04", 2025)
    figure = figures.grower(letter)
    drawn = np.concatenate([np.asarray(trace.x, dtype=float) for trace in marks(figure)])
    assert sorted(drawn) == sorted(letter.flavours["own"])
    assert "G0" not in figure.to_json().replace("G04", "")


def test_a_profile_puts_untold_attributes_last(asked: Questions) -> None:
    profile = asked.profile
    figure = figures.profile(profile.table(), "Q24-07", profile.told)
    order = list(figure.layout.yaxis.categoryarray)
    assert set(order[-2:]) == {"buttery", "soapy"}


def test_recipes_show_wanted_and_given(asked: Questions) -> None:
    target = asked.profile.wide()[list(asked.profile.told)].median()
    made = asked.recipes(target, lpa=500)
    figure = figures.recipe(made, made.ranked[0])
    wanted = next(trace for trace in figure.data if trace.name == "wanted")
    assert list(wanted.x) == pytest.approx(target.tolist())


def test_the_nearest_batches_carry_their_verdict_as_a_shape(asked: Questions) -> None:
    near = asked.nearest("Q24-07")
    figure = figures.likeness(near)
    shapes = {"different": "x", "cannot tell": "circle-open"}
    table = near.table().head(15)
    assert list(marks(figure)[0].marker.symbol) == [
        shapes.get(verdict, "circle") for verdict in table["verdict"]
    ]


def test_a_dressed_figure_has_no_ground_of_its_own() -> None:
    figure = dress(go.Figure(go.Scatter(x=[1], y=[1])), dark=True, height=200)
    assert figure.layout.paper_bgcolor == "rgba(0,0,0,0)"
    assert figure.layout.font.color == DARK.text


def test_an_intake_bar_adds_up_to_its_rows(asked: Questions) -> None:
    from origin_compare.house import default_rules
    from origin_compare.intake.plan import plan_intake

    content = b"grower_id,farm_name\nG01,A\nG01,A\nG02,B\n"
    plan = plan_intake([("growers.csv", content)], default_rules())
    figure = figures.intake(plan)
    counts = pd.Series({trace.name: int(trace.customdata[0]) for trace in figure.data})
    assert counts.to_dict() == {
        "to take in": 2,
        "already there": 0,
        "repeated": 1,
        "set aside": 0,
    }
