"""What share of a batch is one grower's, and every reason it cannot be called so."""

from __future__ import annotations

import pandas as pd
import pytest

from origin_compare.chain.heels import not_stated
from origin_compare.chain.purity import purities, purity
from origin_compare.chain.steps import chain_of, grower_chain
from origin_compare.errors import UnknownName
from origin_compare.house import read_rules
from origin_compare.season.join import build_season
from tests.answers import owed
from tests.chain.stills import A_THIRD_AT_30, rules, runs_of
from tests.store import small


def test_a_batch_kept_apart_can_be_called_of_one_grower() -> None:
    found = purity(runs_of(["A", "B"], rules("by grower")), "B2")
    owed(found)
    assert found.single_origin
    assert found.sentence() == (
        "100 % of the alcohol of batch B2 is of grower B, least and most alike, heels and weak "
        "worts not stated and taken as none: it can be called of one grower."
    )
    assert found.rests_on() == (
        "Grain by mass and by extract; foreshots and feints are kept apart by grower; heels at "
        "grain, malt, mash, fermentation, charger, low wines and spirit not stated, taken as none; "
        "weak worts not stated, taken as none."
    )


def test_carry_over_above_the_limit_says_so() -> None:
    found = purity(runs_of(["A"] * 20 + ["B"], rules("no", **A_THIRD_AT_30)), "B21")
    assert found.sentence() == (
        "Between 61 and 62 % of the alcohol of batch B21 is of grower B, heels and weak worts not "
        "stated and taken as none. It cannot be called of one grower: alcohol carried over from "
        "earlier runs 38 to 39 %, limit at most 5 % (foreshots and feints are not kept apart)."
    )
    later = purity(runs_of(["A"] * 20 + ["B"] * 4, rules("no", **A_THIRD_AT_30)), "B24")
    assert later.single_origin, "2 % is left by the fourth run"


def test_not_stated_is_a_reason_by_itself() -> None:
    found = purity(runs_of(["A"] * 20 + ["B"], rules("not stated", **A_THIRD_AT_30)), "B21")
    assert found.reasons == (
        "alcohol carried over from earlier runs 0 to 39 %, limit at most 5 % (whether foreshots "
        "and feints are kept apart is not stated)",
    )


def test_mixed_lots_are_named_with_their_shares() -> None:
    found = purity(
        runs_of(
            ["A", "B"],
            rules("by grower"),
            mashes__batch_id=["B1", "B1"],
            mashes__grist_kg=[750.0, 250.0],
        ),
        "B1",
    )
    assert found.of == "A"
    assert found.reasons[0] == "growers mixed, A 75% and B 25% by mass"
    assert found.share.least == found.share.most == 0.75


def test_weights_missing_leave_it_open_and_are_a_reason() -> None:
    found = purity(
        runs_of(
            ["A", "B"], rules("by grower"), mashes__batch_id=["B1", "B1"], mashes__grist_kg=None
        ),
        "B1",
    )
    assert (found.share.least, found.share.most) == (0.0, 1.0)
    assert "weights missing" in found.reasons


def test_a_broken_chain_is_a_reason() -> None:
    found = purity(runs_of(["A"], rules("by grower"), mashes__malt_id="M9"), "B1")
    assert found.sentence() == (
        "Whose grain batch B1 is made of is not on record. It cannot be called of one grower: "
        "chain broken, no malt."
    )
    assert (found.share.least, found.share.most) == (0.0, 1.0)
    no_lot = purity(runs_of(["A"], rules("by grower"), malts__lot_id="L9"), "B1")
    assert no_lot.reasons == ("chain broken, no lot",)


def test_a_gap_above_its_limit_is_a_reason_until_explained() -> None:
    found = purity(runs_of(["A"], rules("by grower"), malts__tonnes=9.5), "B1")
    assert found.share.least == 1.0
    assert found.reasons == (
        "gap outside its limit: malt made over grain steeped 95 % is above the house window, 80 "
        "to 87 % (common practice, no source)",
    )
    wider = runs_of(["A"], rules("by grower", malt_per_grain_pct=(70, 96)), malts__tonnes=9.5)
    assert purity(wider, "B1").single_origin


def test_not_distilled_speaks_of_grain_and_waits() -> None:
    found = purity(build_season(small.sheets(), rules("by grower")), "B2")
    assert found.sentence().startswith("100 % of the grain of batch B2 is of grower G1, least")
    assert "not distilled, so what it meets in the still is not known" in found.reasons
    assert found.parts["part"].tolist() == ["grain of grower", "the same, heels mixed in"]


def test_the_threshold_is_the_house_s() -> None:
    season = runs_of(["A"], rules("by grower", heel_wash_l=(0, 400)))
    assert purity(season, "B1").reasons == (
        "alcohol of one grower 90 to 100 %, limit at least 95 %",
    )
    lax = rules("by grower", heel_wash_l=(0, 400), single_origin_pct=(80, 100))
    assert purity(runs_of(["A"], lax), "B1").single_origin


def test_a_heel_of_another_grower_is_foreign_and_of_the_same_is_not() -> None:
    house = rules("by grower", heel_wash_l=(100, 400))
    season = runs_of(["A", "A", "B"], house)
    # 400 L under 4000 L is 1/11 of the vessel; 100 L is 1/41.
    same, other = purity(season, "B2").share, purity(season, "B3").share
    assert (same.least, same.most) == pytest.approx((1.0, 1.0))
    assert (other.least, other.most) == pytest.approx((1 - 400 / 4400, 1 - 100 / 4100))


def test_a_heel_stated_for_one_vessel_counts_in_that_vessel() -> None:
    house = read_rules(
        'feints_kept_apart = "by grower"\n'
        '[windows."heel_wash_l V2"]\nsays = "heel"\nunit = "L"\nlow = 0\nhigh = 400\n'
    )
    season = runs_of(["A", "B", "A"], house, fermentations__vessel=["V1", "V2", "V2"])
    assert purity(season, "B1").share.least == 1.0
    assert purity(season, "B3").share.least == pytest.approx(1 - 400 / 4400)
    assert not_stated(season) == ("grain", "malt", "mash", "charger", "low wines", "spirit")
    assert "heels at grain, malt, mash, charger, low wines and spirit not stated" in (
        purity(season, "B3").rests_on()
    )


def test_a_heel_in_a_vessel_without_a_volume_leaves_it_open() -> None:
    season = runs_of(
        ["A", "B"], rules("by grower", heel_wash_l=(0, 10)), fermentations__wort_l=None
    )
    share = purity(season, "B2").share
    assert (share.least, share.most) == (0.0, 1.0)


def test_the_span_narrows_to_the_parts_it_is_made_of() -> None:
    parts = purity(runs_of(["A"] * 20 + ["B"], rules("no", **A_THIRD_AT_30)), "B21").table()
    assert parts["part"].tolist() == [
        "grain of grower",
        "the same, heels mixed in",
        "alcohol from earlier runs",
        "alcohol of grower",
    ]
    assert parts["most_pct"].tolist() == pytest.approx([100, 100, 38.46, 61.54], abs=0.01)


def test_every_batch_in_one_table() -> None:
    found = purities(runs_of(["A", "B", "B"], rules("by lot")))
    owed(found)
    assert found.sentence() == "3 of 3 batches can be called of one grower."
    assert found.rests_on() == "Foreshots and feints are kept apart by lot."
    assert found.table()["why_not"].tolist() == ["", "", ""]


def test_the_chain_carries_account_purity_and_shares_by_extract() -> None:
    view = chain_of(build_season(small.sheets(), rules("by grower")), "B3")
    assert view.purity.of == "G1" and view.account.of == "Batch B3"
    assert [one.of for one in view.lot_accounts] == ["Lot L1", "Lot L3"]
    assert view.steps["extract_share"].isna().all(), "no moisture on the certificates"
    assert view.after.sentence().startswith("After a change of lot of the same grower 32 to 44, ")


def test_a_grower_s_ways_and_batches() -> None:
    view = grower_chain(build_season(small.sheets(), rules("by grower")), "G2")
    assert view.ways["lot_id"].tolist() == ["L4", "L3"]
    assert pd.isna(view.ways["batch_id"].iloc[0]), "L4 of 2023 was never malted"
    assert view.ways["malt_kg"].iloc[1] == 250.0
    assert view.batches["batch_id"].tolist() == ["B3"]
    assert view.batches[["least_pct", "most_pct"]].iloc[0].tolist() == [25.0, 25.0]
    assert view.of_one_grower() == (
        "0 of 1 batch with barley of grower G2 can be called of one grower; its share of their "
        "alcohol is 25 %."
    )
    nobody = grower_chain(build_season(small.sheets(), rules("by grower")), "G9")
    assert nobody.of_one_grower() == "No batch was mashed from grower G9's barley yet."


def test_a_batch_nobody_knows_is_refused() -> None:
    with pytest.raises(UnknownName) as told:
        purity(runs_of(["A"], rules()), "B9")
    assert str(told.value) == "There is no batch B9. Batches on record: B1."
