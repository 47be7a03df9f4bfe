"""A plan, its sheets filled in, and the scores read back."""

import re
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from origin_compare.panel import TastingPlan, adjusted, plan_tasting, read_filled
from origin_compare.sheets.catalogue import SCORES


@pytest.fixture()
def plan() -> TastingPlan:
    return plan_tasting(
        ["B01", "B02", "B03", "B04"],
        6,
        2,
        seed=5,
        control="K",
        duplicates=["B02"],
        warm_up="W",
        attributes=["floral", "sour"],
        tasting_id="T7",
    )


@pytest.fixture()
def filled(plan: TastingPlan) -> pd.DataFrame:
    sheets = plan.sheets()
    truth = {"B01": 2.0, "B02": 4.0, "B03": 6.0, "B04": 8.0, "K": 5.0, "W": 9.0}
    rng = np.random.default_rng(1)
    true = plan.key.set_index(["assessor_id", "code"])["sample"].map(truth)
    pairs = list(zip(sheets["assessor_id"], sheets["code"], strict=True))
    sheets["floral"] = [f"{true[pair] + rng.normal(0, 0.2):.1f}" for pair in pairs]
    sheets["sour"] = [f"{rng.normal(5, 0.5):.1f}".replace(".", ",") for _ in pairs]
    return sheets


def test_there_and_back(plan: TastingPlan, filled: pd.DataFrame) -> None:
    back = read_filled(filled.sample(frac=1, random_state=2), plan, tasted_on="2025-03-01")
    scores = back.scores
    assert list(scores.columns) == [
        name for name in [*SCORES.names()] if name in set(scores.columns)
    ]
    assert set(scores.columns) == set(SCORES.names())
    assert back.missing.empty
    assert back.sentence() == "168 scores read; none is missing."
    key = [name for name in SCORES.key if name != "sample_kind"]
    assert not scores[scores["sample_kind"].ne("warm-up")].duplicated(key).any()
    floral = scores[scores["attribute"].eq("floral")]
    means = floral.groupby("batch_id")["score"].mean()
    assert means.round().to_dict() == {"B01": 2, "B02": 4, "B03": 6, "B04": 8, "K": 5, "W": 9}
    twice = floral[floral["batch_id"].eq("B02") & floral["assessor_id"].eq("A01")]
    assert sorted(twice["replicate"]) == [1, 2, 3, 4]
    profile = adjusted(scores)
    assert profile.controls == ("K",)
    assert profile.told == ("floral",)
    assert "24 warm-up scores" in profile.rests_on()


def test_missing_and_declined_scores_are_listed(plan: TastingPlan, filled: pd.DataFrame) -> None:
    filled.loc[3, "sour"] = ""
    back = read_filled(filled[filled["assessor_id"].ne("A02")], plan)
    assert len(back.missing) == 1 + 14 * 2
    assert set(back.missing["assessor_id"]) == {"A01", "A02"}
    assert back.sentence() == "139 scores read; 29 missing, of A01 and A02."


def other_code(frame: pd.DataFrame) -> None:
    frame.loc[2, "code"] = frame.loc[frame["assessor_id"].eq("A05"), "code"].iloc[0]


def unknown_code(frame: pd.DataFrame) -> None:
    frame.loc[2, "code"] = 7


def wild_score(frame: pd.DataFrame) -> None:
    frame.loc[4, "floral"] = "45"


def worded_score(frame: pd.DataFrame) -> None:
    frame.loc[4, "sour"] = "weak"


def twice(frame: pd.DataFrame) -> None:
    frame.loc[len(frame)] = frame.loc[0]


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (
            other_code,
            "filled sheets row 3, code: {code} was not poured for A01. Check the code and whose "
            "sheet it is.",
        ),
        (
            unknown_code,
            "filled sheets row 3, code: 7 is not in the plan of tasting T7. Check the code on the "
            "sheet.",
        ),
        (
            wild_score,
            "filled sheets row 5, floral: 45 is not a number from 0 to 10. Leave it empty if the "
            "score was declined.",
        ),
        (
            worded_score,
            "filled sheets row 5, sour: weak is not a number from 0 to 10. Leave it empty if the "
            "score was declined.",
        ),
        (twice, "filled sheets row 85, code: {first} of A01 stands twice. Keep one of the rows."),
    ],
)
def test_a_spoilt_sheet_is_refused_by_row(
    plan: TastingPlan,
    filled: pd.DataFrame,
    spoil: Callable[[pd.DataFrame], None],
    words: str,
) -> None:
    spoil(filled)
    wanted = words.format(code=filled.loc[2, "code"], first=filled.loc[0, "code"])
    with pytest.raises(ValueError, match=f"^{re.escape(wanted)}$"):
        read_filled(filled, plan)


def test_a_lost_column_is_named(plan: TastingPlan, filled: pd.DataFrame) -> None:
    wanted = "filled sheets: no column sour. Keep the sheet's header."
    with pytest.raises(ValueError, match=f"^{re.escape(wanted)}$"):
        read_filled(filled.drop(columns="sour"), plan)
