"""Performance reports on panels with planted habits: each must be found, by name, in words."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.panel import Performance, assess
from origin_compare.panel.assessors.order_effects import before
from origin_compare.panel.assessors.report_words import spread_words
from tests.answers import owed
from tests.panel.invented import SDS, panel

QUIET = {**SDS, "batch": 1.5, "assessor:batch": 0.25, "assessor:tasting": 0.1, "residual": 0.5}


def planted() -> pd.DataFrame:
    """A03 spreads half as wide, A05 repeats badly, A06 drifts, A07 turns the scale round."""
    scores, _ = panel(14, batches=30, assessors=9, per_tasting=5, attributes=2, sds=QUIET)
    rng = np.random.default_rng(3)
    who, tasting = scores["assessor_id"], scores["tasting_id"].str[1:].astype(int)
    score = scores["score"].copy()
    score[who.eq("A03")] = 5 + 0.45 * (score[who.eq("A03")] - 5)
    score[who.eq("A05")] += rng.normal(0, 1.2, int(who.eq("A05").sum()))
    score[who.eq("A06")] += 0.5 * tasting[who.eq("A06")]
    turned = who.eq("A07") & scores["attribute"].eq("attribute 2")
    score[turned] = 10 - score[turned]
    return scores.assign(score=score)


@pytest.fixture(scope="module")
def report() -> Performance:
    return assess(planted())


def verdict(report: Performance, who: str, attribute: str) -> pd.Series:
    own = report.of(who).set_index("attribute")
    return own.loc[attribute]


def test_a_sound_assessor_is_called_sound(report: Performance) -> None:
    for who in ("A01", "A02", "A04", "A08", "A09"):
        assert set(report.of(who)["verdict"]) == {"sound"}, report.of(who)["evidence"].tolist()
        assert set(report.of(who)["train"]) == {""}


def test_a_narrow_scale_is_found_and_said(report: Performance) -> None:
    for attribute in ("attribute 1", "attribute 2"):
        row = verdict(report, "A03", attribute)
        assert row["verdict"] == "narrow"
        assert 0.4 < row["spread_slope"] < 0.65
        assert row["evidence"] == f"A03 {spread_words(row['spread_slope'])} on {attribute}"
        assert row["train"] == (
            f"Practise with a weak and a strong reference for {attribute}; use the whole scale."
        )


def test_poor_repeats_are_found(report: Performance) -> None:
    row = verdict(report, "A05", "attribute 1")
    assert row["verdict"] == "unsteady"
    assert row["repeat_ratio"] > 2
    assert f"A05 repeats attribute 1 with {row['repeat_ratio']:.1f} times" in row["evidence"]


def test_drift_is_found_with_its_size(report: Performance) -> None:
    row = verdict(report, "A06", "attribute 1")
    assert row["verdict"] == "drifting"
    # half a point a tasting, less the ninth of it that moves the panel's own mean
    assert row["drift_per_tasting"] == pytest.approx(0.5 * 8 / 9, abs=0.1)
    assert row["evidence"].startswith("A06 drifts up on attribute 1 by 0.4")


def test_a_scale_turned_round_is_found(report: Performance) -> None:
    assert verdict(report, "A07", "attribute 1")["verdict"] == "sound"
    row = verdict(report, "A07", "attribute 2")
    assert row["verdict"] == "contrary"
    assert row["agreement_r"] < -0.8
    assert row["evidence"].startswith("A07 scores attribute 2 against the panel (correlation -0.9")


def test_the_report_as_a_whole(report: Performance) -> None:
    owed(report)
    assert report.sentence() == (
        "The panel tells batches apart on 2 of 2 attributes; A03, A05 and A06 are sound on fewer "
        "than half of them and should train before the next tasting."
    )
    assert set(report.training()["assessor_id"]) == {"A03", "A05", "A06", "A07"}
    assert list(report.training()) == ["assessor_id", "attribute", "evidence", "train"]
    words = report.assessors.set_index("assessor_id")["verdict"]
    assert words["A01"] == "A01 is sound on 2 of 2 attributes."
    assert words["A03"].startswith("A03 is sound on 0 of 2 attributes; spreads scores")
    assert report.rests_on().endswith("and appear by code only.")
    wanted = (
        "assessor A99: no scores here. Assessors are A01, A02, A03, A04, A05, A06, A07, A08 and "
        "A09."
    )
    with pytest.raises(UnknownName, match=f"^{re.escape(wanted)}$"):
        report.of("A99")


def test_single_figures_against_their_textbook_form() -> None:
    """One tasting, balanced: own F, repeat sd, correlation and slope by hand."""
    scores, _ = panel(9, batches=8, assessors=6, per_tasting=8, control=False, sds=QUIET)
    scores = scores.assign(position=np.nan)
    report = assess(scores)
    row = verdict(report, "A02", "attribute 1")
    own = scores[scores["assessor_id"].eq("A02")]
    f, p = stats.f_oneway(*(group["score"] for _, group in own.groupby("batch_id")))
    assert row["discrimination_f"] == pytest.approx(f)
    assert row["discrimination_p"] == pytest.approx(p)
    spread = own.groupby("batch_id")["score"].var().mean() ** 0.5
    assert row["repeat_sd"] == pytest.approx(spread)
    means = scores.pivot_table(index="batch_id", columns="assessor_id", values="score")
    others = means.drop(columns="A02").mean(axis=1)
    fit = stats.linregress(others, means["A02"])
    assert row["agreement_r"] == pytest.approx(fit.rvalue, abs=1e-6)
    slopes = [
        stats.linregress(means.drop(columns=name).mean(axis=1), means[name]).slope for name in means
    ]
    assert row["spread_slope"] == pytest.approx(fit.slope / np.median(slopes), rel=1e-6)
    assert row["spread_se"] == pytest.approx(fit.stderr / np.median(slopes), rel=1e-6)
    assert report.detail["spread_slope"].median() == pytest.approx(1)
    reach = stats.t.ppf(0.975, 6) * row["spread_se"]
    assert row["spread_high"] - row["spread_slope"] == pytest.approx(reach)


def test_scale_use_is_that_of_the_mixed_assessor_model() -> None:
    """Balanced: interaction = scaling + disagreement, by the model's own sums of squares."""
    scores, _ = panel(9, batches=8, assessors=6, per_tasting=8, control=False, sds=QUIET)
    scores = scores.assign(position=np.nan)
    cells = scores.pivot_table(index="assessor_id", columns="batch_id", values="score").to_numpy()
    x = cells.mean(axis=0) - cells.mean()
    y = cells - cells.mean(axis=1, keepdims=True)
    interaction = ((y - x) ** 2).sum()
    scaling = ((y @ x / (x @ x) - 1) ** 2).sum() * (x @ x)
    f = (scaling / 5) / ((interaction - scaling) / (5 * 6))
    row = assess(scores).panel.loc[0]
    assert row["scale_share"] == pytest.approx(scaling / interaction, rel=1e-6)
    assert row["scale_p"] == pytest.approx(stats.f.sf(f, 5, 30), rel=1e-5)


def test_unlike_use_of_the_scale_is_found(report: Performance) -> None:
    table = report.panel.set_index("attribute")
    assert (table["scale_p_adjusted"] < 0.001).all()
    assert table.loc["attribute 2", "scale_share"] > 0.5  # one of nine turned it round


def test_a_profile_known_already_is_taken_and_another_refused(report: Performance) -> None:
    scores = planted()
    again = assess(scores, profile=report.profile)
    assert again.profile is report.profile
    pd.testing.assert_frame_equal(again.detail, report.detail)
    wanted = (
        "profile: made of 1,296 scores on 30 batches, not of these 1,295. Leave it out, or give "
        "the one made of these scores."
    )
    with pytest.raises(ValueError, match=f"^{re.escape(wanted)}$"):
        assess(scores.iloc[1:], profile=report.profile)


def test_nobody_is_judged_where_the_panel_finds_nothing() -> None:
    scores, _ = panel(21, batches=8, assessors=5, sds={**QUIET, "batch": 0.0})
    report = assess(scores)
    assert set(report.detail["verdict"]) == {"not judged"}
    assert set(report.detail["evidence"]) == {
        "the panel itself finds no sure difference on attribute 1"
    }
    assert report.sentence() == (
        "The panel tells batches apart on 0 of 1 attribute, so no single assessor can be judged."
    )


def test_one_replicate_leaves_repeats_open_and_still_judges() -> None:
    scores, _ = panel(5, batches=12, assessors=6, replicates=1, sds=QUIET)
    report = assess(scores)
    assert report.detail["repeat_sd"].isna().all()
    assert report.panel["repeat_sd"].isna().all()
    assert set(report.detail["verdict"]) == {"sound"}


def test_false_findings_on_a_sound_panel_are_rare() -> None:
    found = []
    for seed in range(5):
        scores, _ = panel(100 + seed, batches=15, assessors=8, per_tasting=5, sds=QUIET)
        found.append(len(assess(scores).training()) / 8)
    assert np.mean(found) < 0.05


def test_place_and_the_sample_before_are_found() -> None:
    scores, truth = panel(31, batches=24, assessors=10, per_tasting=6, drift=0.2, sds=QUIET)
    known = truth["attribute 1"].reindex(scores["batch_id"]).fillna(5).to_numpy()
    earlier = before(scores)
    pull = earlier.map(truth["attribute 1"]).astype(float).fillna(5) - 5
    report = assess(scores.assign(score=scores["score"] - 0.3 * pull))
    order = report.order.set_index("effect")
    assert len(known) == len(scores)
    for effect, size in (
        ("place, per glass later", 0.2),
        ("first glass", 0.0),
        ("sample before, per point of score", -0.3),
    ):
        row = order.loc[effect]
        assert abs(row["estimate"] - size) < 3.5 * row["se"]
        assert (row["p_adjusted"] < 0.001) == (size != 0.0)


def test_the_sample_before_is_the_neighbour_in_the_same_line() -> None:
    served = pd.DataFrame(
        {
            "tasting_id": "T1",
            "assessor_id": "A1",
            "replicate": [1, 1, 1, 2, 2],
            "position": [2, 1, 4, 1, 2],
            "batch_id": ["b", "a", "d", "e", "f"],
        }
    )
    found = before(served)
    assert found[0] == "a"
    assert found[4] == "e"
    assert found[[1, 2, 3]].isna().all()  # first glasses, and a gap in the line
    through = served.assign(position=[2, 1, 3, 4, 5])
    assert before(through).tolist()[2:] == ["b", "d", "e"]


def test_a_consensus_sheet_cannot_be_assessed() -> None:
    scores, _ = panel(6, batches=6)
    with pytest.raises(NotEnoughData, match=re.escape("1 assessor (table 2): how far")):
        assess(scores.assign(assessor_id="table 2"))


@pytest.mark.parametrize(
    ("slope", "words"),
    [
        (0.52, "spreads scores half as wide as the panel"),
        (2.05, "spreads scores twice as wide as the panel"),
        (0.62, "spreads scores 0.6 times as wide as the panel"),
        (0.05, "hardly spreads scores along with the panel"),
    ],
)
def test_spread_in_words(slope: float, words: str) -> None:
    assert spread_words(slope) == words
