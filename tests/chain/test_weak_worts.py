"""Weak worts of one mash in the next, recorded, stated or taken as none; heels of the still house.

Own arithmetic throughout; that the last waters go into the next mash is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from origin_compare.chain.balance import batch_balance, batch_flows
from origin_compare.chain.purity import purity
from origin_compare.measures import extract_kg
from tests.chain.stills import rules, runs_of

PART = extract_kg(1000, 1.010) / extract_kg(4000, 1.070)
"""1000 L at 1.010 in a mash of 4000 L at 1.070: 3.6 % of its extract."""


def test_recorded_weak_worts_carry_one_lot_into_the_next_mash() -> None:
    season = runs_of(
        ["A", "A", "B", "B"],
        rules("by grower"),
        mashes__weak_wort_l=1000.0,
        mashes__weak_wort_sg=1.010,
    )
    first, second = purity(season, "B3"), purity(season, "B4")
    # before the first mash on record anything may have stood: it fades by PART a mash
    assert first.share.least == pytest.approx(1 - PART)
    assert first.share.most == pytest.approx(1 - PART + PART**3)
    assert second.share.least == pytest.approx(1 - PART**2)
    assert first.table()["part"].tolist()[:3] == [
        "grain of grower",
        "the same, weak worts mixed in",
        "the same, heels mixed in",
    ]
    assert first.table()["says"].tolist()[1] == "3 to 4 % of its first mash's extract, of B2"
    assert first.sentence().startswith(
        "Between 96 and 97 % of the alcohol of batch B3 is of grower B, heels not stated and taken "
        "as none"
    )
    assert "weak worts have the make-up of the mash before, in one mash tun" in first.assumptions


def test_a_site_states_a_range_or_that_none_are_taken_back() -> None:
    some = purity(runs_of(["A", "B"], rules("by grower", weak_worts_pct=(2, 6))), "B2")
    # what B1's wort held may itself have been 6 % of anybody's
    assert (some.share.least, some.share.most) == pytest.approx((0.94, 0.98 + 0.02 * 0.06))
    assert some.reasons == ("alcohol of one grower 94 to 99 %, limit at least 95 %",)
    none = purity(runs_of(["A", "B"], rules("by grower", weak_worts_pct=(0, 0))), "B2")
    assert none.share.least == none.share.most == 1.0
    assert none.taken_as_none == ("heels",)


def test_a_mash_without_a_record_is_said_and_one_without_a_gravity_is_bounded() -> None:
    season = runs_of(
        ["A", "B", "C"],
        rules("by grower"),
        mashes__weak_wort_l=[np.nan, 400, 0],
        mashes__weak_wort_sg=np.nan,
    )
    found = purity(season, "B2")
    assert (found.share.least, found.share.most) == pytest.approx((0.9, 1.0))
    assert found.rests_on().endswith("for 1 mash not on record, and taken as none.")
    assert purity(season, "B3").share.least == 1.0
    assert purity(season, "B1").table()["says"].tolist()[1] == "not on record, taken as none"


def test_the_balance_sets_weak_worts_off_so_that_they_are_nobodys_extract_twice() -> None:
    season = runs_of(
        ["A", "B"], rules(), mashes__weak_wort_l=[0.0, 1000.0], mashes__weak_wort_sg=1.010
    )
    wort, weak = extract_kg(4000, 1.070), extract_kg(1000, 1.010)
    flows = batch_flows(season)["extract_kg"]
    assert flows.tolist() == pytest.approx([wort + weak, wort - weak])
    row = batch_balance(season, "B2").rows.set_index("step").loc["extract in the wort"]
    assert row["of_before_pct"] == pytest.approx(100 * (wort - weak) / 768)


def test_heels_of_charger_and_low_wines_receiver_count_for_what_is_distilled() -> None:
    season = runs_of(["A", "B"], rules("by grower", heel_charger_l=(0, 100)))
    assert purity(season, "B2").share.least == pytest.approx(1 - 100 / 4100)
    # 4000 L of wash at 9 % vol give at least 1440 L of low wines at 25 % vol
    season = runs_of(["A", "B"], rules("by grower", heel_low_wines_l=(0, 60)))
    assert purity(season, "B2").share.least == pytest.approx(1 - 60 / 1500)
    season = runs_of(
        ["A", "B"], rules("by grower", heel_low_wines_l=(0, 60)), spirits__low_wines_l=1600.0
    )
    assert purity(season, "B2").share.least == pytest.approx(1 - 60 / 1660)
