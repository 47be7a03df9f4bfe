"""The adjusted profile: balanced identities, gaps, links between tastings, refusals."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from origin_compare.errors import MixedScales, NotEnoughData, UnknownName
from origin_compare.house import HouseRules, default_rules, read_rules
from origin_compare.panel import adjusted, session
from origin_compare.questions import Questions, ask
from origin_compare.season.season import Season
from tests.answers import owed
from tests.panel.invented import SDS, panel

EXACT = 1e-5  # the search stops there, relative to the variance of the scores


@pytest.fixture(scope="module")
def balanced() -> pd.DataFrame:
    scores, _ = panel(1, batches=6, assessors=7, replicates=2, per_tasting=6, control=False)
    return scores.assign(position=np.nan)


@pytest.fixture(scope="module")
def gappy() -> tuple[pd.DataFrame, pd.DataFrame]:
    return panel(11, batches=15, per_tasting=5, attributes=3, missing=0.15)


def mean_squares(scores: pd.DataFrame) -> dict[str, float]:
    cells = scores.pivot_table(index="assessor_id", columns="batch_id", values="score")
    a, b = cells.shape
    r = len(scores) // (a * b)
    x = cells.to_numpy()
    grand = x.mean()
    rows, columns = x.mean(axis=1), x.mean(axis=0)
    inner = x - rows[:, None] - columns + grand
    within = scores["score"] - scores.groupby(["assessor_id", "batch_id"])["score"].transform(
        "mean"
    )
    return {
        "batch": a * r * float(((columns - grand) ** 2).sum()) / (b - 1),
        "assessor": b * r * float(((rows - grand) ** 2).sum()) / (a - 1),
        "assessor:batch": r * float((inner**2).sum()) / ((a - 1) * (b - 1)),
        "residual": float((within**2).sum()) / (a * b * (r - 1)),
    }


def test_balanced_components_are_those_of_the_analysis_of_variance(balanced: pd.DataFrame) -> None:
    ms = mean_squares(balanced)
    found = adjusted(balanced).verdicts[0].components.variance
    wanted = {
        "batch": (ms["batch"] - ms["assessor:batch"]) / 14,
        "assessor": (ms["assessor"] - ms["assessor:batch"]) / 12,
        "assessor:batch": (ms["assessor:batch"] - ms["residual"]) / 2,
        "residual": ms["residual"],
    }
    assert min(wanted.values()) > 0
    assert found == pytest.approx(wanted, rel=1e-3)


def test_balanced_batches_are_tested_against_the_disagreement_on_them(
    balanced: pd.DataFrame,
) -> None:
    ms = mean_squares(balanced)
    verdict = adjusted(balanced).verdicts[0]
    assert verdict.f == pytest.approx(ms["batch"] / ms["assessor:batch"], rel=1e-4)
    assert (verdict.df_batch, verdict.df_error) == (5, pytest.approx(30, rel=1e-3))
    assert verdict.p == pytest.approx(stats.f.sf(verdict.f, 5, 30), rel=1e-2)


def test_balanced_estimates_are_plain_means_with_the_classical_errors(
    balanced: pd.DataFrame,
) -> None:
    ms = mean_squares(balanced)
    profile = adjusted(balanced)
    table = profile.table().set_index("batch_id")
    means = balanced.groupby("batch_id")["score"].mean()
    np.testing.assert_allclose(table["estimate"], means.loc[table.index], atol=EXACT)
    # level: habits of 7 assessors and their disagreement; comparison: disagreement alone
    level = (ms["assessor"] - ms["assessor:batch"]) / (14 * 6) + ms["assessor:batch"] / 14
    np.testing.assert_allclose(table["se"] ** 2, level, rtol=1e-3)
    compared = ms["assessor:batch"] / 14 * (1 - 1 / 6)
    np.testing.assert_allclose(table["se_compare"] ** 2, compared, rtol=1e-3)
    # Satterthwaite's classical formula for a sum of two mean squares
    x, y = ms["assessor"] / 84, ms["assessor:batch"] * 5 / 84
    np.testing.assert_allclose(table["df"], (x + y) ** 2 / (x**2 / 6 + y**2 / 30), rtol=1e-3)


def test_profile_is_an_answer_with_its_frames(gappy: tuple[pd.DataFrame, pd.DataFrame]) -> None:
    scores, _ = gappy
    profile = adjusted(scores)
    owed(profile)
    assert profile.wide().shape == profile.wide_se().shape == (15, 3)
    assert list(profile.wide().columns) == list(profile.attributes)
    assert profile.controls == ("control",)
    assert "control" not in profile.wide().index
    assert profile.rests_on().startswith(f"{len(scores):,} scores by 8 assessors on 15 batches")
    assert profile.told == profile.attributes
    assert profile.sentence() == (
        "The panel tells the 15 batches apart on 3 of 3 attributes: "
        f"{profile.told[0]}, {profile.told[1]} and {profile.told[2]}."
    )
    cov = profile.error_cov(profile.attributes[0])
    np.testing.assert_allclose(np.sqrt(np.diag(cov)), profile.wide_se().iloc[:, 0])
    centred = profile.error_cov(profile.attributes[0], comparing=True)
    np.testing.assert_allclose(
        np.sqrt(np.diag(centred)), profile.wide_se(comparing=True).iloc[:, 0]
    )


def test_the_truth_is_recovered_within_the_stated_errors(
    gappy: tuple[pd.DataFrame, pd.DataFrame],
) -> None:
    scores, truth = gappy
    profile = adjusted(scores)
    wide, compare = profile.wide(), profile.wide_se(comparing=True)
    off = wide - truth.loc[wide.index, wide.columns]
    z = (off - off.mean()) / compare
    assert 0.7 < float(np.sqrt((z**2).to_numpy().mean())) < 1.3


def test_a_control_takes_out_the_shift_of_a_whole_tasting() -> None:
    scores, truth = panel(5, batches=12, sds={**SDS, "tasting": 0.0})
    shifted = scores.copy()
    shifted.loc[shifted["tasting_id"].eq("T02"), "score"] += 3.0
    linked = adjusted(shifted).wide()["attribute 1"]
    true = truth["attribute 1"]
    bias = (linked - true)["B007":].mean() - (linked - true)[:"B006"].mean()
    assert abs(bias) < 1.0
    alone = adjusted(shifted[shifted["sample_kind"].eq("batch")])
    assert "not all tastings share a sample with another" in alone.rests_on()
    unlinked = alone.wide()["attribute 1"]
    assert (unlinked - true)["B007":].mean() - (unlinked - true)[:"B006"].mean() > 2.0
    assert (alone.table()["se"] > adjusted(scores).table()["se"]).all()


def test_position_is_allowed_for() -> None:
    scores, _ = panel(8, batches=6, drift=0.5)
    with_position = adjusted(scores)
    without = adjusted(scores.assign(position=np.nan))
    assert (
        with_position.verdicts[0].components.variance["residual"]
        < 0.8 * without.verdicts[0].components.variance["residual"]
    )
    assert "serving position could not be allowed for" in without.rests_on()
    assert "serving position" not in with_position.rests_on()


def test_no_difference_is_said_to_be_none() -> None:
    scores, _ = panel(21, batches=8, attributes=4, sds={**SDS, "batch": 0.0})
    profile = adjusted(scores)
    assert profile.told == ()
    assert profile.sentence() == (
        "This panel cannot tell the 8 batches apart on any of 4 attributes: what differs between "
        "batches is no larger than what differs between assessors."
    )
    assert profile.reliability()["reliability"].max() < 0.6


def test_shrunken_estimates_lie_nearer_to_their_mean() -> None:
    scores, _ = panel(4, batches=10, assessors=4, sds={**SDS, "assessor:batch": 1.5})
    profile = adjusted(scores)
    assert (profile.shrunken().std() < 0.95 * profile.wide().std()).all()


def test_warm_ups_and_declined_scores_are_left_out_and_counted() -> None:
    scores, _ = panel(2, batches=6)
    scores.loc[:4, "score"] = np.nan
    warm = scores.iloc[:7].assign(sample_kind="warm-up", batch_id="B999", score=9.0)
    profile = adjusted(pd.concat([scores, warm]))
    assert "B999" not in profile.batches
    assert "7 warm-up scores and 5 declined scores left out" in profile.rests_on()


def test_one_replicate_is_enough_and_said() -> None:
    scores, _ = panel(6, batches=6, replicates=1, control=False)
    profile = adjusted(scores)
    assert "no assessor tasted a batch twice" in profile.rests_on()
    assert (profile.table()["se"] > 0).all()


def test_an_attribute_scored_alike_every_time_is_left_out_by_name() -> None:
    scores, _ = panel(6, batches=6)
    flat = scores.assign(attribute="peaty", score=0.0)
    profile = adjusted(pd.concat([scores, flat]))
    assert profile.attributes == ("attribute 1",)
    assert "peaty left out, for it was scored the same every time" in profile.rests_on()
    wanted = "attribute peaty: not in this profile. It holds attribute 1."
    with pytest.raises(UnknownName, match=f"^{re.escape(wanted)}$"):
        profile.error_cov("peaty")


def test_a_consensus_sheet_is_refused() -> None:
    scores, _ = panel(6, batches=6)
    wanted = (
        "Scores of 1 assessor (panel): how far assessors disagree cannot be seen, so no figure "
        "could carry its error. A consensus sheet holds no single scores; keep each assessor's "
        "own row."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(wanted)}$"):
        adjusted(scores.assign(assessor_id="panel"))


def test_a_consensus_copied_to_every_assessor_is_refused() -> None:
    scores, _ = panel(6, batches=6)
    agreed = scores.assign(score=scores["batch_id"].map(lambda name: float(ord(name[-1]) % 7)))
    wanted = (
        "No attribute can be compared: attribute 1 has one and the same score from everybody on "
        "each batch, as a consensus sheet has. Give each assessor's own scores of at least two "
        "batches."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(wanted)}$"):
        adjusted(agreed)


def test_one_batch_is_refused() -> None:
    scores, _ = panel(6, batches=6)
    wanted = "1 batch tasted: a comparison needs at least two. Add the scores of more batches."
    with pytest.raises(NotEnoughData, match=f"^{re.escape(wanted)}$"):
        adjusted(scores[scores["batch_id"].eq("B001")])


def test_two_scales_are_refused_with_their_rows_and_pooled_with_a_mapping() -> None:
    scores, _ = panel(6, batches=6)
    wide = scores.copy()
    wide.loc[:1, "score"] *= 10
    wide.loc[:1, "scale"] = "0-100"
    wanted = (
        f"scores on 2 scales cannot be pooled: 0-100 (2 scores, rows 1 and 2); 0-10 "
        f"({len(scores) - 2} scores, rows 3, 4, 5 and {len(scores) - 5} more). "
        "Give a mapping (factor and offset for each scale; in the house rules under `scales`) or "
        "choose one scale."
    )
    with pytest.raises(MixedScales, match=f"^{re.escape(wanted)}$"):
        adjusted(wide)
    mapped = adjusted(wide, scales={"0-10": (1, 0), "0-100": (0.1, 0)})
    assert mapped.scale == "0-10"
    pd.testing.assert_frame_equal(mapped.wide(), adjusted(scores).wide())
    wanted = "scale 0-100: no mapping given. Give factor and offset for each of 0-100 and 0-10."
    with pytest.raises(MixedScales, match=f"^{re.escape(wanted)}$"):
        adjusted(wide, scales={"0-10": (1, 0)})


def test_the_house_s_mapping_of_scales_reaches_every_question() -> None:
    """A season with one tasting scored from 0 to 100, the house saying how that is meant."""
    scores, _ = panel(13, batches=12, per_tasting=4)
    wide = scores.assign(scale="0-10")
    first = wide["tasting_id"].eq("T01")
    wide.loc[first, "score"] = 10 * wide.loc[first, "score"] + 5
    wide.loc[first, "scale"] = "0-100"
    none = pd.DataFrame()

    def asked(sheet: pd.DataFrame, rules: HouseRules) -> Questions:
        return ask(Season({"scores": sheet}, none, none, none, rules=rules))

    rules = read_rules(
        "[scales.'0-10']\nfactor = 1\noffset = 0\n[scales.'0-100']\nfactor = 0.1\noffset = -0.5\n"
    )
    with pytest.raises(MixedScales, match=re.escape("scores on 2 scales cannot be pooled")):
        _ = asked(wide, default_rules()).profile
    pooled, plain = asked(wide, rules), asked(scores, rules)
    assert pooled.profile.scale == "0-10"
    assert plain.scales is None
    pd.testing.assert_frame_equal(pooled.profile.wide(), plain.profile.wide())
    pd.testing.assert_frame_equal(pooled.performance.detail, plain.performance.detail)
    pd.testing.assert_frame_equal(pooled.drift.levels, plain.drift.levels)
    first_one = session(wide, pooled.profile, "T01", pooled.scales)
    pd.testing.assert_frame_equal(first_one.places, session(scores, plain.profile, "T01").places)


def test_a_missing_column_is_named() -> None:
    scores, _ = panel(6, batches=6)
    wanted = (
        "scores: no column assessor_id. Give a long frame with assessor_id, batch_id, attribute "
        "and score."
    )
    with pytest.raises(ValueError, match=f"^{re.escape(wanted)}$"):
        adjusted(scores.drop(columns="assessor_id"))


def test_order_of_rows_origin_and_unit_of_the_scale_do_not_matter() -> None:
    scores, _ = panel(12, batches=8, per_tasting=4, attributes=2, missing=0.1)
    plain = adjusted(scores)
    mixed_up = adjusted(scores.sample(frac=1, random_state=1))
    stretched = adjusted(scores.assign(score=10 * scores["score"] + 7))
    pd.testing.assert_frame_equal(mixed_up.wide(), plain.wide(), rtol=1e-4)
    pd.testing.assert_frame_equal(stretched.wide(), 10 * plain.wide() + 7, rtol=1e-5)
    pd.testing.assert_frame_equal(stretched.wide_se(), 10 * plain.wide_se(), rtol=1e-4)


def test_few_linked_tastings_are_compared_through_their_shared_samples_alone() -> None:
    """A shift of one tasting moves no comparison when every tasting has the control."""
    scores, _ = panel(13, batches=12, per_tasting=4)
    moved = scores.copy()
    moved.loc[moved["tasting_id"].eq("T03"), "score"] += 4.0
    plain, shifted = adjusted(scores).wide().iloc[:, 0], adjusted(moved).wide().iloc[:, 0]
    gaps = (shifted - shifted.mean()) - (plain - plain.mean())
    assert float(gaps.abs().max()) < 0.02


def test_rough_figures_are_called_rough() -> None:
    scores, _ = panel(14, batches=6, assessors=4)
    words = adjusted(scores.assign(score=(scores["score"] - 5.5).clip(lower=0))).rests_on()
    assert "with 4 assessors, how far assessors differ is known only roughly" in words
    assert "scores of attribute 1 pile up at the lowest mark" in words


def test_served_strength_is_adjusted_for_where_it_is_no_batch_s_own() -> None:
    scores, _ = panel(15, batches=10, per_tasting=5)
    pours = scores.groupby(["tasting_id", "assessor_id", "replicate"]).ngroup()
    strength = 20.0 + 2.5 * pours.mod(3) * scores["batch_id"].gt("B005")
    served = scores.assign(served_abv_pct=strength, score=scores["score"] + 0.6 * (strength - 20))
    profile = adjusted(served)
    assert "served at 20.0 to 25.0 % vol: scores adjusted to the mean strength" in (
        profile.rests_on()
    )
    slope = profile.slopes().set_index("covariate").loc["served_abv_pct"]
    assert abs(slope["slope"] - 0.6) < 3 * slope["se"] < 0.15
    assert list(profile.slopes()["covariate"]) == ["position", "served_abv_pct"]
    plain = adjusted(scores).wide().iloc[:, 0]
    blind = adjusted(served.assign(served_abv_pct=np.nan)).wide().iloc[:, 0]

    def worst(found: pd.Series) -> float:
        off = (found - plain) - (found - plain).mean()
        return float(off.abs().max())

    assert worst(profile.wide().iloc[:, 0]) < 0.2
    assert worst(blind) > 0.6


@pytest.mark.parametrize("own", ["batch_id", "tasting_id"])
def test_served_strength_that_goes_with_batch_or_tasting_is_said(own: str) -> None:
    scores, _ = panel(15, batches=10, per_tasting=5)
    first = scores[own].eq(scores[own].min())
    profile = adjusted(scores.assign(served_abv_pct=20.0 + 2.5 * first))
    assert (
        "served at 20.0 to 22.5 % vol: strength itself moves scores, and here it goes with the "
        "batch or the tasting, so it cannot be adjusted for" in profile.rests_on()
    )
    assert list(profile.slopes()["covariate"]) == ["position"]
