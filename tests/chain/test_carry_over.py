"""Foreign alcohol by run after a change of lot, and the order in which runs hand it on."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from origin_compare.chain.carry_over import (
    Returned,
    after_a_change,
    foreign_by_run,
    old_alcohol,
    own_by_run,
    returned,
    still_order,
)
from origin_compare.chain.purity import purity
from origin_compare.season.join import build_season
from origin_compare.season.lot_shares import ALL, NOTHING, Span
from tests.answers import owed
from tests.chain.stills import A_THIRD_AT_30, rules, runs_of

# Worked by hand: a third at 30 % vol holds 10 parts of alcohol, two thirds at 24 % vol hold 16.
OLD = 10 / 26
BY_HAND_PCT = [38, 15, 6, 2]
ROUNDING = 0.5


def test_a_third_at_30_and_the_rest_at_24_is_38_per_cent_old() -> None:
    assert old_alcohol(1 / 3, 30, 24) == pytest.approx(OLD, abs=1e-15)


def test_it_falls_38_15_6_2_over_the_runs_after_a_change() -> None:
    assert 100 * foreign_by_run(OLD, 4) == pytest.approx(BY_HAND_PCT, abs=ROUNDING)


def test_the_runs_of_a_season_follow_the_same_arithmetic() -> None:
    # Twenty runs of grower A first, so that what stood before them no longer counts.
    season = runs_of(["A"] * 20 + ["B"] * 4, rules("no", **A_THIRD_AT_30))
    found = [purity(season, f"B{number}") for number in range(21, 25)]
    assert [one.of for one in found] == ["B"] * 4
    assert [100 * (1 - one.share.most) for one in found] == pytest.approx(BY_HAND_PCT, abs=ROUNDING)
    assert [100 * (1 - one.share.least) for one in found] == pytest.approx(
        BY_HAND_PCT, abs=ROUNDING
    )
    assert [int(one.runs["since_change"].iloc[0]) for one in found] == [1, 2, 3, 4]


def test_a_change_back_still_meets_the_grower_of_before() -> None:
    season = runs_of(["A"] * 20 + ["B", "A"], rules("no", **A_THIRD_AT_30))
    # B's charge was 16/26 B and 10/26 A; a share of 10/26 of it comes back into A's.
    assert purity(season, "B22").share.least == pytest.approx(1 - OLD * 16 / 26, abs=1e-6)


def test_before_the_first_run_anything_may_have_stood() -> None:
    share = purity(runs_of(["A"], rules("no", **A_THIRD_AT_30)), "B1").share
    assert (share.least, share.most) == pytest.approx((16 / 26, 1.0))


def test_not_stated_runs_from_none_to_what_is_usual() -> None:
    season = runs_of(["A"] * 20 + ["B"], rules("not stated", **A_THIRD_AT_30))
    share = purity(season, "B21").share
    assert (share.least, share.most) == pytest.approx((16 / 26, 1.0))


def test_kept_apart_by_grower_leaves_the_grower_pure_and_the_lot_not() -> None:
    season = runs_of(["A"] * 3 + ["B"], rules("by grower", **A_THIRD_AT_30))
    assert purity(season, "B4").share.least == 1.0
    assert purity(season, "B4", "lot").share.least == pytest.approx(16 / 26)
    apart = runs_of(["A"] * 3 + ["B"], rules("by lot", **A_THIRD_AT_30))
    assert purity(apart, "B4", "lot").share.least == 1.0


def test_stills_do_not_hand_on_to_one_another() -> None:
    season = runs_of(["A", "B", "A", "B"], rules(), spirits__still=["East", "West"] * 2)
    order = still_order(season).set_index("batch_id")
    assert order.loc["B3", "before"] == "B1" and order.loc["B4", "before"] == "B2"
    assert order["before"].isna().tolist() == [True, False, True, False]


def test_two_batches_on_one_day_leave_the_order_untold() -> None:
    days = pd.to_datetime(["2024-11-05", "2024-11-06", "2024-11-06", "2024-11-07"])
    season = runs_of(["A", "A", "B", "B"], rules("no", **A_THIRD_AT_30), spirits__distilled_on=days)
    order = still_order(season).set_index("batch_id")
    assert order["told"].to_dict() == {"B1": True, "B2": False, "B3": False, "B4": True}
    assert purity(season, "B2").share.most == 1.0 and purity(season, "B2").share.least < 0.62
    assert (
        "the order of 2 runs is not told by the days on record" in purity(season, "B2").rests_on()
    )


def test_a_run_without_a_day_may_have_followed_anything() -> None:
    days = [pd.Timestamp("2024-11-05"), pd.Timestamp("2024-11-06"), pd.NaT]
    season = runs_of(["A", "A", "A"], rules("no", **A_THIRD_AT_30), spirits__distilled_on=days)
    last = purity(season, "B3").share
    assert (last.least, last.most) == pytest.approx((16 / 26, 1.0))


def test_runs_of_one_batch_weigh_by_their_alcohol() -> None:
    season = runs_of(["A"] * 20 + ["B"], rules("no", **A_THIRD_AT_30))
    sheets = dict(season.sheets)
    more = (
        sheets["spirits"]
        .iloc[[-1]]
        .assign(run_no=2, distilled_on=pd.Timestamp("2024-12-24"), new_make_l=1500.0)
    )
    sheets["spirits"] = pd.concat([sheets["spirits"], more], ignore_index=True)
    share = purity(build_season(sheets, season.rules), "B21").share
    assert share.least == pytest.approx(1 - (OLD * 500 + OLD**2 * 1500) / 2000, abs=1e-6)


@given(
    st.lists(st.sampled_from("ABC"), min_size=1, max_size=9),
    st.floats(0, 0.6),
    st.floats(0, 0.4),
    st.data(),
)
def test_what_truly_happened_lies_inside_the_span(
    growers: list[str], low: float, more: float, data: st.DataObject
) -> None:
    """Whatever was returned at each run within the range, and whatever stood there at first."""
    batches = [f"B{number}" for number, _ in enumerate(growers)]
    order = pd.DataFrame(
        {
            "line": "S1",
            "batch_id": batches,
            "run_no": 1,
            "still": "S1",
            "distilled_on": pd.NaT,
            "growers": growers,
            "old_share": float("nan"),
            "told": True,
            "before": None,
        }
    )
    whose = dict(zip(batches, growers, strict=True))
    back = Returned(Span(low, low + more), "no", "")
    runs = own_by_run(order, lambda batch: ALL if whose[batch] == "A" else NOTHING, back)
    truth = data.draw(st.floats(0, 1))
    for run in runs.to_dict("records"):
        old = data.draw(st.floats(low, low + more))
        foreign = old * (1 - truth)
        truth = (1 - old) * (whose[run["batch_id"]] == "A") + old * truth
        assert run["own_least"] - 1e-9 <= truth <= run["own_most"] + 1e-9
        assert run["old_least"] - 1e-9 <= foreign <= run["old_most"] + 1e-9


CHARGE = {
    "spirits__returned_l": 1000.0,
    "spirits__returned_abv_pct": 30.0,
    "spirits__low_wines_l": 2000.0,
    "spirits__low_wines_abv_pct": 24.0,
}


def test_a_recorded_charge_goes_before_the_house_s_habits() -> None:
    # 1000 L at 30 % vol with 2000 L at 24 % vol is the third of the published arithmetic.
    season = runs_of(["A"] * 20 + ["B"], rules("no"), **CHARGE)
    found = purity(season, "B21")
    assert (found.share.least, found.share.most) == pytest.approx((1 - OLD, 1 - OLD), abs=1e-6)
    assert "the charge of 1 of its 1 run is as recorded" in found.rests_on()
    open_ = purity(runs_of(["A"] * 20 + ["B"], rules("not stated"), **CHARGE), "B21").share
    assert (open_.least, open_.most) == pytest.approx((1 - OLD, 1.0), abs=1e-6)
    apart = purity(runs_of(["A"] * 20 + ["B"], rules("by lot"), **CHARGE), "B21").share
    assert apart.least == 1.0, "what was returned was the lot's own"


def test_nothing_returned_needs_no_strength() -> None:
    season = runs_of(["A"] * 3 + ["B"], rules("not stated"), spirits__returned_l=0.0)
    assert purity(season, "B4").share.least == 1.0
    assert still_order(season)["old_share"].tolist() == [0.0] * 4


def test_a_half_recorded_charge_falls_back_on_the_house() -> None:
    half = {**CHARGE, "spirits__low_wines_l": None}
    season = runs_of(["A"] * 20 + ["B"], rules("no", **A_THIRD_AT_30), **half)
    assert still_order(season)["old_share"].isna().all()
    assert purity(season, "B21").share.least == pytest.approx(1 - OLD, abs=1e-6)


def test_what_comes_after_a_change_says_itself() -> None:
    told = after_a_change(rules("no", **A_THIRD_AT_30))
    owed(told)
    assert told.sentence() == (
        "After a change of lot 38, 15, 6, 2 % of the alcohol of runs 1 to 4 is the old lot's."
    )
    assert list(told.table().columns) == ["run", "least_pct", "most_pct"]
    kept = after_a_change(rules("by lot"))
    assert kept.sentence() == (
        "Nothing of the lot before comes back: foreshots and feints are kept apart."
    )


def test_without_shares_and_strengths_anything_may_come_back() -> None:
    house = rules()
    del house.windows["returned_abv_pct"]  # type: ignore[attr-defined]
    assert (returned(house).share.least, returned(house).share.most) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ((1.2, 30, 24), "a share of 1.2 of the charge is outside 0 to 1"),
        ((0.3, 130, 24), "a strength of 130 % vol is outside 0 to 100"),
        ((0.3, 30, -1), "a strength of -1 % vol is outside 0 to 100"),
    ],
)
def test_what_cannot_be_is_refused(given: tuple[float, float, float], message: str) -> None:
    with pytest.raises(ValueError, match=f"^{message}$"):
        old_alcohol(*given)
