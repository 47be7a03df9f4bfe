"""One begins with the sheets one has: any subset of them is answered or refused in words."""

from __future__ import annotations

import os
from collections.abc import Callable
from itertools import combinations

import pandas as pd
import pytest

from origin_compare.answers import Answer
from origin_compare.errors import OriginCompareError
from origin_compare.questions import Questions, ask
from origin_compare.season.join import build_season
from origin_compare.season.season import Season

CHAIN = ("growers", "lots", "malts", "mashes", "fermentations", "readings", "spirits", "scores")
# Those near either end, where a missing partner shows; with EVERY_SUBSET=1 all of them.
SIZES = range(1, len(CHAIN) + 1) if os.environ.get("EVERY_SUBSET") else (1, 2, 7, 8)
KEPT = ("derived", "review", "departures", "watch", "profile", "performance", "drift")
ASKED = ("separable", "effects", "split", "doubted", "families", "uncorrected", "trusted")


@pytest.fixture(scope="module")
def handful(demo_season: Season) -> dict[str, pd.DataFrame]:
    """Every sheet cut down to two batches, two attributes and three assessors: what is asked of
    it is refused or answered at once."""
    batches = demo_season.batches["batch_id"].head(2)
    sheets = {
        name: frame[frame["batch_id"].isin(batches)] if "batch_id" in frame else frame
        for name, frame in demo_season.sheets.items()
    }
    scores = sheets["scores"]
    for column, most in (("attribute", 2), ("assessor_id", 3)):
        scores = scores[scores[column].isin(sorted(scores[column].unique())[:most])]
    return sheets | {"scores": scores}


def questions(asked: Questions, batches: list[str], grower: str) -> dict[str, Callable[[], object]]:
    """Every question one can ask, by its name."""
    by_name: dict[str, Callable[[], object]] = {
        name: lambda name=name: getattr(asked, name) for name in (*KEPT, *ASKED)
    }
    return by_name | {
        "batch": lambda: asked.batch(batches[0]),
        "side_by_side": lambda: asked.side_by_side(batches),
        "nearest": lambda: asked.nearest(batches[0]),
        "recipes": lambda: asked.recipes(asked.profile.wide().mean()),
        "chain": lambda: asked.chain(batches[0]),
        "grower_chain": lambda: asked.grower_chain(grower),
        "grower": lambda: asked.grower(grower, 2024),
        "table": lambda: asked.table,
        "this_week": asked.this_week,
    }


def wrong_with(ask_it: Callable[[], object]) -> str:
    """What breaks when a question is put; empty for an answer, or a refusal in words."""
    try:
        answer = ask_it()
        if isinstance(answer, Answer):
            assert answer.sentence()
            answer.table()
            answer.rests_on()
    except OriginCompareError as refusal:
        return "" if str(refusal).endswith((".", "?")) else f"says {refusal}"
    except Exception as broken:
        return f"{type(broken).__name__}: {broken}"
    return ""


@pytest.mark.parametrize("size", SIZES)
def test_a_subset_of_the_sheets_is_answered_or_refused_in_words(
    size: int, handful: dict[str, pd.DataFrame], demo_season: Season
) -> None:
    batches = demo_season.batches["batch_id"].head(2).tolist()
    grower = str(demo_season.sheets["growers"]["grower_id"].iloc[0])
    broken = []
    for names in combinations(CHAIN, size):
        season = build_season({name: handful[name] for name in names}, demo_season.rules)
        for name, ask_it in questions(ask(season), batches, grower).items():
            wrong = wrong_with(ask_it)
            if wrong:
                broken.append(f"{name} of {', '.join(names)}: {wrong}")
    assert not broken, "\n".join(broken[:20])
