"""Two batches side by side, and the smallest gap a panel could have seen."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from origin_compare.errors import UnknownName
from origin_compare.panel import Profile, adjusted, gap, needed_for, smallest_gap
from origin_compare.panel.profile.smallest_gap import detectable
from tests.panel.invented import panel

COMPONENTS = {"batch": 0.25, "assessor:batch": 0.16, "residual": 0.36}


@pytest.fixture(scope="module")
def profile() -> Profile:
    scores, _ = panel(17, batches=8, assessors=8, per_tasting=8, attributes=3, control=False)
    return adjusted(scores.assign(position=np.nan))


def test_balanced_gap_has_the_classical_error(profile: Profile) -> None:
    found = gap(profile, "B001", "B002").gaps.set_index("attribute")
    wide = profile.wide()
    for attribute in profile.attributes:
        row = found.loc[attribute]
        assert row["gap"] == pytest.approx(
            wide.loc["B001", attribute] - wide.loc["B002", attribute]
        )
        part = profile.verdict(attribute).components.variance
        error = 2 * (part["assessor:batch"] / 8 + part["residual"] / 16)
        assert row["se"] ** 2 == pytest.approx(error, rel=1e-6)
        assert row["df"] == pytest.approx(49, rel=1e-3)


def test_three_verdicts(profile: Profile) -> None:
    order = profile.wide()[profile.attributes[0]].sort_values()
    far = gap(profile, order.index[0], order.index[-1], margin=0.3)
    assert far.gaps.loc[0, "verdict"] == "different"
    near = gap(profile, order.index[0], order.index[-1], margin=50.0)
    assert set(near.gaps["verdict"]) == {"alike"}
    assert near.sentence() == (
        f"{order.index[0]} and {order.index[-1]} are alike within the margin on "
        f"{profile.attributes[0]}, {profile.attributes[1]} and {profile.attributes[2]}."
    )
    one = gap(profile, order.index[3], order.index[4], margin={profile.attributes[0]: 0.01})
    assert one.gaps["margin"].notna().tolist() == [True, False, False]
    assert one.gaps.loc[0, "verdict"] == "undecided"
    none = gap(profile, order.index[3], order.index[4])
    assert none.gaps["p_alike"].isna().all()
    undecided = none.gaps["verdict"].eq("undecided")
    least = none.gaps.loc[undecided, "smallest_seen"].max()
    assert none.sentence().endswith(
        f", where gaps of up to {least:.1f} points could have been missed."
    )
    assert "no margin was set, so nothing can be called alike" in none.rests_on()


def test_holm_by_hand(profile: Profile) -> None:
    found = gap(profile, "B001", "B004").gaps
    p = np.sort(found["p"])
    wanted = np.minimum(1, np.maximum.accumulate(p * [3, 2, 1]))
    np.testing.assert_allclose(np.sort(found["p_adjusted"]), wanted)


def test_an_untasted_batch_is_named(profile: Profile) -> None:
    wanted = "batch B999: not tasted. Tasted are B001, B002, B003, B004, B005, B006 and 2 more."
    with pytest.raises(UnknownName, match=f"^{re.escape(wanted)}$"):
        gap(profile, "B001", "B999")
    wanted = "batch B001: given twice. Name two batches."
    with pytest.raises(ValueError, match=f"^{re.escape(wanted)}$"):
        gap(profile, "B001", "B001")


def test_the_gap_is_seen_four_times_in_five() -> None:
    """Simulated pairs of origins, tested by the plain t test the figure promises."""
    rng = np.random.default_rng(8)
    found = smallest_gap(COMPONENTS, 4, 10, 2, between="origins")
    spread = np.sqrt(0.25 + (0.16 + 0.36 / 2) / 10)
    size = found.gap("score")
    pairs = rng.normal(0, spread, (4000, 2, 4))
    pairs[:, 0] += size
    p = stats.ttest_ind(pairs[:, 0], pairs[:, 1], axis=1).pvalue
    assert np.mean(p < 0.05) == pytest.approx(0.8, abs=0.02)


def test_gap_between_batches_uses_the_error_the_profile_itself_gives(profile: Profile) -> None:
    """How often such a gap is really seen is simulated in tests/faults/panel_power.py."""
    promised = smallest_gap(profile, 8, 8, 2).gaps.set_index("attribute")
    found = gap(profile, "B001", "B002").gaps.set_index("attribute")
    for attribute in profile.attributes:
        row = promised.loc[attribute]
        assert np.sqrt(2) * row["sd_panel"] == pytest.approx(found.loc[attribute, "se"], rel=1e-6)
        assert row["df"] == pytest.approx(found.loc[attribute, "df"], rel=1e-3)
        assert row["gap"] == pytest.approx(found.loc[attribute, "smallest_seen"], rel=1e-3)


def test_more_batches_beat_more_glasses_for_an_origin() -> None:
    few = smallest_gap(COMPONENTS, 2, 10, 3, between="origins").gap("score")
    more = smallest_gap(COMPONENTS, 6, 10, 1, between="origins").gap("score")
    many_glasses = smallest_gap(COMPONENTS, 2, 40, 9, between="origins").gap("score")
    assert more < 0.5 * few
    assert many_glasses > 0.9 * few


def test_detectable_against_the_noncentral_t() -> None:
    assert detectable(1e6) == pytest.approx(stats.norm.ppf(0.975) + stats.norm.ppf(0.8), abs=1e-4)
    assert detectable(np.inf) == pytest.approx(detectable(1e6), abs=1e-6)
    for df in (1, 2, 8, 30):
        edge = stats.t.ppf(0.975, df)
        assert stats.nct.sf(edge, df, detectable(df)) == pytest.approx(0.8)


def test_needed_for_is_the_first_that_sees_it() -> None:
    table = needed_for(0.8, COMPONENTS, assessors=(8, 12), replicates=(2,))
    for row in table.itertuples():
        n, who, times = int(row.batches), int(row.assessors), int(row.replicates)
        assert smallest_gap(COMPONENTS, n, who, times, between="origins").gap("score") <= 0.8
        assert smallest_gap(COMPONENTS, n - 1, who, times, between="origins").gap("score") > 0.8
        assert row.glasses == n * times * 2
    out_of_reach = needed_for(0.05, COMPONENTS, assessors=(8,), replicates=(1,))
    assert pd.isna(out_of_reach["batches"]).all()


def test_it_says_itself(profile: Profile) -> None:
    found = smallest_gap(COMPONENTS, 3, 10, 2, between="origins")
    assert found.sentence() == (
        "With 10 assessors and 2 replicates, a gap between two origins of 3 batches each must be "
        f"{found.gap('score'):.1f} points or more to be seen four times in five."
    )
    assert "never on panel rows" in found.rests_on()
    assert list(smallest_gap(profile, 8, 8, 2).gaps["attribute"]) == list(profile.attributes)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: smallest_gap(COMPONENTS, 1, 8, 2), "batches: 1 is below 2."),
        (
            lambda: smallest_gap({"batch": 1.0}, 4, 8, 2),
            "components of score: no `residual`. Give variances by name: batch, assessor:batch, "
            "residual.",
        ),
        (
            lambda: needed_for(0, COMPONENTS),
            "gap: 0 is not above 0. Give the difference worth seeing, in points.",
        ),
    ],
)
def test_what_cannot_be_asked(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=f"^{re.escape(words)}$"):
        call()
