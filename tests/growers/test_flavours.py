"""The interval of a grower's spirit, worked out by hand, and what `clear` promises."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t

from origin_compare.growers.flavours import Estimate, between_batches, estimate, evidence, flavours
from tests.growers.small import KnownProfile, batch_frame, scores_for

GROWERS = ["A", "A", "B", "B", "C", "D", "E"]


def _scored(scores: list[float], growers: list[str] = GROWERS) -> tuple[pd.DataFrame, pd.DataFrame]:
    batches = batch_frame(growers)
    frame = scores_for(batches, oily=scores)
    by_batch = pd.DataFrame({"grower_id": growers, "score": scores}, index=frame.index)
    return frame, by_batch


def _estimate(scored: pd.DataFrame, profile: KnownProfile, name: str, grower: str) -> Estimate:
    df = dict.fromkeys([(batch_id, name) for batch_id in scored.index], profile.df)
    return estimate(scored, profile, name, grower, df)  # type: ignore[arg-type]


def test_one_batch_carries_the_panels_error_only() -> None:
    frame, scored = _scored([4.0, 5.0, 3.0, 3.4, 6.0, 4.0, 4.0])
    found = _estimate(scored, KnownProfile(frame, sd=0.3), "oily", "C")  # type: ignore[arg-type]
    # own batch against the mean of the six others
    assert found.se == pytest.approx(0.3 * np.sqrt(1 + 1 / 6), rel=1e-12)
    assert (found.own, found.df, found.n_batches) == (6.0, 60.0, 1)


def test_two_batches_carry_the_pooled_spread_between_batches_as_well() -> None:
    frame, scored = _scored([4.0, 5.0, 3.0, 3.4, 6.0, 4.0, 4.0])
    found = _estimate(scored, KnownProfile(frame, sd=0.3), "oily", "A")  # type: ignore[arg-type]
    # squares within A and B: 0.5 and 0.08 on 1 + 1 degrees; the panel alone gives 0.09
    between = (0.5 + 0.08) / 2 - 0.09
    assert found.se == pytest.approx(np.sqrt(between / 2 + 0.09 * (1 / 2 + 1 / 5)), rel=1e-12)
    assert (found.own, found.df, found.n_batches) == (4.5, 2.0, 2)


def test_an_error_all_batches_share_cancels() -> None:
    frame, scored = _scored([4.0, 5.0, 3.0, 3.4, 6.0, 4.0, 4.0])
    plain = _estimate(scored, KnownProfile(frame), "oily", "A")  # type: ignore[arg-type]
    shared = _estimate(scored, KnownProfile(frame, shared_sd=2.0), "oily", "A")  # type: ignore[arg-type]
    assert shared.se == pytest.approx(plain.se, rel=1e-9)


def test_batches_alike_beyond_the_panels_error_never_shrink_the_interval_below_it() -> None:
    _, scored = _scored([4.0, 4.0, 3.0, 3.0, 6.0, 4.0, 4.0])
    assert between_batches(scored, np.eye(7) * 0.09) == (0.0, 2.0)


def test_intervals_at_their_levels() -> None:
    batches = batch_frame(GROWERS)
    scores = [4.0, 5.0, 3.0, 3.4, 6.0, 4.0, 4.0]
    frame = scores_for(batches, oily=scores, sweet=scores[::-1])
    row = flavours(batches, KnownProfile(frame, sd=0.3), "C", 5).iloc[0]  # type: ignore[arg-type]
    se = 0.3 * np.sqrt(1 + 1 / 6)
    assert row["high"] - row["own"] == pytest.approx(t.ppf(0.975, 60) * se, rel=1e-9)
    both = (1 + np.sqrt(0.95)) / 2  # two attributes together at 95 %
    assert row["own"] - row["low_all"] == pytest.approx(t.ppf(both, 60) * se, rel=1e-9)


@pytest.mark.parametrize(
    ("own", "word"),
    [
        (5.0, ("not shown", "")),
        (5.9, ("not shown", "")),
        (6.1, ("a hint", "more")),
        (6.9, ("a hint", "more")),
        (7.1, ("clear", "more")),
        (2.9, ("clear", "less")),
        (3.9, ("a hint", "less")),
    ],
)
def test_the_evidence_word_follows_the_intervals(own: float, word: tuple[str, str]) -> None:
    assert evidence(own, half=0.9, half_all=1.9, group_low=4.9, group_high=5.1) == word


def test_without_a_group_there_is_no_evidence() -> None:
    assert evidence(9.0, 0.1, 0.1, np.nan, np.nan) == ("not shown", "")


def test_only_attributes_told_apart_and_scored_are_shown() -> None:
    batches = batch_frame(GROWERS)
    scores = [4.0, 5.0, 3.0, 3.4, 6.0, 4.0, 4.0]
    frame = scores_for(batches, oily=scores, sweet=[*scores[:6], np.nan])
    shown = flavours(batches, KnownProfile(frame), "E", 5)["attribute"]  # type: ignore[arg-type]
    assert shown.tolist() == ["oily"]


def test_clear_is_rarely_said_when_growers_do_not_differ() -> None:
    """Twelve growers alike, two batches each, six attributes: at most one letter in twenty.

    120 letters of one grower each; three binomial standard errors are allowed over 5 %.
    """
    rng = np.random.default_rng(11)
    growers = [f"G{place:02d}" for place in range(12)] * 2
    batches, wrong, runs = batch_frame(growers), 0, 120
    for _ in range(runs):
        truth = rng.normal(0, 0.35, (24, 6)) + rng.normal(0, 0.2, (24, 6))
        frame = pd.DataFrame(truth, batches["batch_id"].to_list(), [f"a{i}" for i in range(6)])
        letter = flavours(batches, KnownProfile(frame, sd=0.2), "G00", 5)  # type: ignore[arg-type]
        wrong += bool((letter["evidence"] == "clear").any())
    assert wrong / runs <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / runs)


def test_a_grower_far_off_is_called_clear() -> None:
    rng = np.random.default_rng(12)
    growers = [f"G{place:02d}" for place in range(12)] * 2
    batches = batch_frame(growers)
    scores = rng.normal(4, 0.3, 24) + 4.0 * (np.array(growers) == "G00")
    frame = scores_for(batches, oily=scores.tolist())
    row = flavours(batches, KnownProfile(frame), "G00", 5).iloc[0]  # type: ignore[arg-type]
    assert (row["evidence"], row["side"]) == ("clear", "more")
