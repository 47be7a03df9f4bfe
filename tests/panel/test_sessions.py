"""What to taste next, one tasting opened, and plans kept as text."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from origin_compare.errors import UnknownName
from origin_compare.panel import (
    KeptPlan,
    adjusted,
    due,
    plan_as_text,
    plan_tasting,
    read_plan,
    session,
    with_keys,
)


def batches(*tasted: int) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "batch_id": [f"B{i}" for i in range(len(tasted))],
            "status": "distilled",
            "distilled_on": pd.date_range("2025-01-01", periods=len(tasted), freq="D")[::-1],
            "n_tastings": list(tasted),
            "n_assessors": 8,
            "new_make_abv_pct": 68.0,
        }
    )


def test_never_tasted_come_first_and_the_oldest_spirit_of_them() -> None:
    running = batches(0).assign(batch_id="B9", status="fermenting")
    found = due(pd.concat([batches(1, 0, 2, 0), running], ignore_index=True))
    assert found.names == ("B3", "B1", "B0", "B2")
    assert found.never == ("B3", "B1")
    assert found.sentence() == "2 batches have been distilled and not yet tasted: B3 and B1."
    assert found.table()["why"].tolist() == [
        "not yet tasted",
        "not yet tasted",
        "in 1 tasting",
        "in 2 tastings",
    ]


@pytest.mark.parametrize(
    ("tasted", "says"),
    [
        ((), "No batch has been distilled yet, so there is nothing to taste."),
        ((0,), "1 batch has been distilled and not yet tasted: B0."),
        (
            (1, 2),
            "Every distilled batch has been tasted; 1 of them stands on a single tasting.",
        ),
        ((2, 3), "Every distilled batch has been tasted at least twice."),
    ],
)
def test_what_is_due_in_a_sentence(tasted: tuple[int, ...], says: str) -> None:
    assert due(batches(*tasted)).sentence() == says


def invented(drift: float, seed: int = 3) -> pd.DataFrame:
    """Two tastings of six batches by ten assessors; in T2 scores move by `drift` points."""
    rng = np.random.default_rng(seed)
    rows = []
    level = dict(zip("abcdef", np.linspace(2, 7, 6), strict=True))
    for tasting in ("T1", "T2"):
        for who in range(10):
            habit = rng.normal(0, 0.5)
            for place, batch in enumerate(rng.permutation(list(level)), start=1):
                moved = drift * (place - 1) / 5 if tasting == "T2" else 0.0
                for attribute in ("floral", "oily"):
                    score = level[str(batch)] + habit + moved + rng.normal(0, 0.3)
                    rows.append((tasting, f"A{who:02d}", str(batch), place, attribute, score))
    names = ["tasting_id", "assessor_id", "batch_id", "position", "attribute", "score"]
    return pd.DataFrame(rows, columns=names).assign(
        tasted_on=pd.Timestamp("2025-03-01"),
        replicate=1,
        sample_kind="batch",
        served_abv_pct=20.0,
        scale="0-10",
    )


def test_a_planted_drift_is_found_in_its_tasting_and_not_in_the_other() -> None:
    scores = invented(drift=1.5)
    profile = adjusted(scores)
    moved, still = session(scores, profile, "T2"), session(scores, profile, "T1")
    assert moved.moved
    assert moved.low < 1.5 < moved.high
    assert not still.moved
    assert moved.sentence().startswith(
        "In T2 on 2025-03-01 10 assessors had 6 samples; scores rose by 1."
    )
    assert "did not demonstrably move" in still.sentence()
    assert moved.places["position"].tolist() == [1, 2, 3, 4, 5, 6]
    assert moved.places["shift"].is_monotonic_increasing


def test_who_sat_what_they_declined_and_who_was_not_there() -> None:
    scores = invented(drift=0.0)
    scores = scores[~(scores["assessor_id"].eq("A03") & scores["tasting_id"].eq("T2"))]
    last = scores.index[-1]
    scores.loc[last, "score"] = np.nan
    found = session(scores, adjusted(scores), "T2")
    assert found.absent == ("A03",)
    own = found.sat[found.sat["assessor_id"].eq("A09")]
    assert own.to_numpy().tolist() == [["A09", 6, 6, 1, 11, 1]]
    assert found.rests_on().startswith("107 scores, 1 declined. Not there: A03.")
    with pytest.raises(
        UnknownName, match=re.escape("tasting T9: no scores here. Tastings are T1 and T2.")
    ):
        session(scores, adjusted(scores), "T9")


def test_without_places_a_drift_is_not_told() -> None:
    scores = invented(drift=0.0).assign(position=np.nan)
    found = session(scores, adjusted(scores), "T2")
    assert found.places.empty
    assert not found.moved
    assert found.sentence() == (
        "In T2 on 2025-03-01 10 assessors had 6 samples; whether scores moved through the "
        "sitting cannot be told."
    )


def test_a_plan_comes_back_from_its_text_glass_by_glass() -> None:
    plan = plan_tasting(
        ["B1", "B2", "B3"],
        ["A01", "Jörg"],
        2,
        5,
        control="K",
        duplicates=["B2"],
        attributes=["floral", "sour"],
        tasting_id="T7",
    )
    kept = KeptPlan(plan, "2026-01-02", 21.5, "nose, then palate")
    back = read_plan(plan_as_text(kept))
    pd.testing.assert_frame_equal(back.plan.key, plan.key)
    assert back.plan.sentence() == plan.sentence()
    assert (back.tasted_on, back.served_abv_pct, back.how) == (
        "2026-01-02",
        21.5,
        "nose, then palate",
    )
    assert back.assessors == ("A01", "Jörg")
    assert back.whose("jörg") == "Jörg"  # kept before there were keys
    keyed = with_keys(kept)
    assert read_plan(plan_as_text(keyed)).keys == keyed.keys
    assert keyed.whose(keyed.keys["A01"].upper()) == "A01"
    assert keyed.whose("A01") is None
    assert with_keys(kept).keys != keyed.keys
    own = back.glasses("A01")
    assert list(own.columns) == ["sitting", "replicate", "position", "code"]
    later = plan_as_text(kept).replace('"form": 1', '"form": 2')
    with pytest.raises(
        ValueError,
        match=re.escape(
            "form: 2 of this tasting plan is not known. It was kept by a newer version of this "
            "program; install that."
        ),
    ):
        read_plan(later)
