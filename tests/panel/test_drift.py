"""Drift against the hidden control: balanced identities, planted drifts, and what is refused."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from origin_compare.errors import NotEnoughData
from origin_compare.panel import drift
from tests.answers import owed
from tests.panel.invented import SDS, panel

QUIET = {**SDS, "tasting": 0.1, "assessor:tasting": 0.1, "residual": 0.4}


@pytest.fixture(scope="module")
def scores() -> pd.DataFrame:
    """Eight tastings of three batches and the control, no drift planted."""
    return panel(3, batches=24, assessors=7, per_tasting=3, attributes=2, sds=QUIET)[0]


def place(scores: pd.DataFrame) -> pd.Series:
    return scores["tasting_id"].str[1:].astype(int)


def test_balanced_shifts_are_plain_means_with_their_classical_error(scores: pd.DataFrame) -> None:
    found = drift(scores).of("attribute 1").set_index("who")
    control = scores[scores["sample_kind"].eq("control") & scores["attribute"].eq("attribute 1")]
    cells = control.pivot_table(index="assessor_id", columns="tasting_id", values="score")
    means = cells.mean() - cells.to_numpy().mean()
    whole = found.loc["panel"].set_index("tasting_id")
    np.testing.assert_allclose(whole["shift"], means.loc[whole.index])
    rest = cells.sub(cells.mean(axis=1), axis=0) - means
    error = (rest**2).to_numpy().sum() / (6 * 7)
    reach = stats.t.ppf(0.975, 42) * np.sqrt(error / 7 * 7 / 8)
    np.testing.assert_allclose(whole["high"] - whole["shift"], reach)
    own = found.loc["A02"].set_index("tasting_id")["shift"]
    np.testing.assert_allclose(own, (cells.loc["A02"] - cells.loc["A02"].mean()).loc[own.index])
    within = control.groupby(["assessor_id", "tasting_id"])["score"].var().mean()
    half = stats.t.ppf(0.975, 56) * np.sqrt(within / 2)
    one = found.loc["A02"].iloc[0]
    assert one["high"] - one["shift"] == pytest.approx(half)


def test_a_trend_is_the_line_through_the_tastings(scores: pd.DataFrame) -> None:
    found = drift(scores)
    levels = found.of("attribute 2")
    trends = found.trends[found.trends["attribute"].eq("attribute 2")].set_index("who")
    for who in ("panel", "A05"):
        line = levels[levels["who"].eq(who)].sort_values("tasting_id")
        fit = stats.linregress(range(8), line["shift"])
        assert trends.loc[who, "per_tasting"] == pytest.approx(fit.slope)
        assert trends.loc[who, "p"] == pytest.approx(fit.pvalue)
        reach = stats.t.ppf(0.975, 6) * fit.stderr
        assert trends.loc[who, "high"] == pytest.approx(fit.slope + reach)


def test_without_a_drift_none_is_told(scores: pd.DataFrame) -> None:
    found = drift(scores)
    owed(found)
    assert found.sentence() == (
        "Against the hidden control over 8 tastings, the panel as a whole did not demonstrably "
        "drift; nor did any assessor."
    )
    assert found.rests_on() == (
        "224 scores of the control control in 8 tastings; 16 trends looked at, allowed for all of "
        "them. That the control itself did not change is taken for granted."
    )


def test_an_assessor_who_drifts_is_named(scores: pd.DataFrame) -> None:
    own = scores["assessor_id"].eq("A04") & scores["attribute"].eq("attribute 1")
    found = drift(scores.assign(score=scores["score"] + 0.4 * place(scores) * own))
    assert found.sentence() == (
        "Against the hidden control over 8 tastings, the panel as a whole did not demonstrably "
        "drift; among assessors A04 (on 1 attribute) drifted."
    )
    row = found.trends[found.trends["who"].eq("A04") & found.trends["moved"]].iloc[0]
    assert row["attribute"] == "attribute 1"
    assert row["low"] < 0.4 < row["high"]


def test_a_panel_that_drifts_is_told_with_its_size(scores: pd.DataFrame) -> None:
    moved = scores["attribute"].eq("attribute 2") * 0.3 * place(scores)
    found = drift(scores.assign(score=scores["score"] + moved))
    row = found.trends[found.trends["who"].eq("panel") & found.trends["moved"]].iloc[0]
    assert row["low"] < 0.3 < row["high"]
    assert f"drifted on attribute 2 ({row['per_tasting']:+.2f} points a tasting)" in (
        found.sentence()
    )


def test_who_sat_and_a_new_control_make_no_drift() -> None:
    """Assessors of high level leave half way, and a milder control takes over: nothing moved."""
    scores, _ = panel(
        8, batches=24, assessors=8, per_tasting=3, sds={**QUIET, "assessor": 2.0, "residual": 0.2}
    )
    late = place(scores).gt(4)
    level = scores.groupby("assessor_id")["score"].transform("mean")
    kept = scores[~(late & level.gt(level.median()))]
    late = place(kept).gt(4)
    control = kept["sample_kind"].eq("control")
    kept = kept.assign(
        score=kept["score"] - 3.0 * (late & control),
        batch_id=kept["batch_id"].where(~(late & control), "control 2"),
    )
    found = drift(kept)
    whole = found.trends[found.trends["who"].eq("panel")].iloc[0]
    assert abs(whole["per_tasting"]) < 0.1
    assert found.controls == ("control", "control 2")


def test_a_tasting_without_the_control_is_said_and_a_single_one_refused(
    scores: pd.DataFrame,
) -> None:
    left = scores[~(scores["tasting_id"].eq("T03") & scores["sample_kind"].eq("control"))]
    assert drift(left).rests_on().endswith(" Without a control: T03.")
    few = drift(scores[place(scores).le(3)])
    assert few.sentence() == (
        "The control was served in 3 tastings, too few to tell a drift: 4 or more are needed."
    )
    wanted = (
        "No hidden control was served in two tastings, so a drift of the panel cannot be told "
        "from a difference between batches. Serve one control in every tasting."
    )
    for data in (scores[place(scores).eq(1)], scores[scores["sample_kind"].eq("batch")]):
        with pytest.raises(NotEnoughData, match=f"^{re.escape(wanted)}$"):
            drift(data)
