"""Every question of a season is answered in the same form; the demo season is asked them all."""

from __future__ import annotations

import inspect
from collections.abc import Callable

import pandas as pd
import pytest

from origin_compare import ask
from origin_compare.questions import Questions
from origin_compare.season.season import Season
from tests.answers import owed

BATCH, OTHER, GROWER = "Q25-09", "Q25-10", "G09"

ASKED: dict[str, Callable[[Questions], object]] = {
    "derived": lambda asked: asked.derived,
    "trusted": lambda asked: asked.trusted,
    "uncorrected": lambda asked: asked.uncorrected,
    "review": lambda asked: asked.review,
    "this_week": lambda asked: asked.this_week(2025),
    "needs_a_word": lambda asked: asked.needs_a_word,
    "departures": lambda asked: asked.departures,
    "watch": lambda asked: asked.watch,
    "batch": lambda asked: asked.batch(BATCH),
    "side_by_side": lambda asked: asked.side_by_side([BATCH, OTHER]),
    "profile": lambda asked: asked.profile,
    "performance": lambda asked: asked.performance,
    "drift": lambda asked: asked.drift,
    "separable": lambda asked: asked.separable,
    "effects": lambda asked: asked.effects,
    "split": lambda asked: asked.split,
    "fields": lambda asked: asked.fields,
    "field": lambda asked: asked.field(str(asked.fields.batches["batch_id"].iloc[0])),
    "field_of_grower": lambda asked: asked.field_of_grower(GROWER),
    "doubted": lambda asked: asked.doubted,
    "families": lambda asked: asked.families,
    "nearest": lambda asked: asked.nearest(BATCH),
    "recipes": lambda asked: asked.recipes(asked.families.used.mean.mean(), 500.0, 2),
    "grower": lambda asked: asked.grower(GROWER, 2025),
    "chain": lambda asked: asked.chain(BATCH),
    "grower_chain": lambda asked: asked.grower_chain(GROWER),
}
NO_ANSWERS = {
    *("batches", "table", "scales"),  # frames and settings others are worked out from
    *("judged", "judged_if_possible", "profile_if_tasted", "departures_known"),
    *("accepting", "drivers"),  # lead to further questions
}


@pytest.fixture(scope="module")
def asked(demo_season: Season) -> Questions:
    return ask(demo_season)


@pytest.mark.parametrize("question", sorted(ASKED))
def test_a_question_is_answered_in_the_form_owed(question: str, asked: Questions) -> None:
    owed(ASKED[question](asked))


def test_every_question_there_is_is_asked_here() -> None:
    public = {name for name, _ in inspect.getmembers_static(Questions) if not name.startswith("_")}
    assert public - NO_ANSWERS == set(ASKED)


class _Bare:
    """The names are there and nothing is behind them, which `isinstance` would let pass."""

    def sentence(self) -> None: ...

    def table(self) -> pd.DataFrame: ...

    def rests_on(self) -> str: ...


def test_an_answer_with_the_names_alone_is_refused() -> None:
    with pytest.raises(AssertionError, match="_Bare says None"):
        owed(_Bare())
