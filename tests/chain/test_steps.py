from __future__ import annotations

import pandas as pd
import pytest

from origin_compare.chain.steps import chain_of, grower_chain
from origin_compare.errors import UnknownName
from origin_compare.measures import wash_abv
from origin_compare.season.join import build_season
from origin_compare.season.season import Season
from tests.answers import owed
from tests.store import small


@pytest.fixture(scope="module")
def season() -> Season:
    return build_season(small.sheets())


def steps(season: Season, batch_id: str, step: str) -> list[list[object]]:
    found = chain_of(season, batch_id).steps
    return found.loc[found["step"] == step, ["name", "share", "there", "says"]].values.tolist()


@pytest.mark.parametrize(
    ("batch_id", "sentence", "rests_on"),
    [
        (
            "B1",
            "Batch B1 is of one field: L1, complete.",
            "1 lot, 1 malt and 2 mashes; shares by weight.",
        ),
        (
            "B2",
            "Batch B2 is of one grower: L1 (75%) and L2 (25%); missing: not distilled; not tasted.",
            "2 lots, 1 malt and 1 mash; shares by weight.",
        ),
        (
            "B3",
            "Batch B3 is mixed from several growers: L1 (75%) and L3 (25%); missing: no yeast "
            "delivery; no readings; still fermenting.",
            "2 lots, 2 malts and 1 mash; shares by weight.",
        ),
        (
            "B4",
            "Batch B4 is of an origin not known in full: not known; missing: no malt; no yeast "
            "delivery; no readings; still fermenting.",
            "0 lots, 0 malts and 1 mash.",
        ),
    ],
)
def test_a_batch_says_what_it_is_made_of(
    season: Season, batch_id: str, sentence: str, rests_on: str
) -> None:
    view = chain_of(season, batch_id)
    owed(view)
    assert view.sentence() == sentence
    assert view.rests_on() == rests_on


def test_each_step_says_what_is_there_and_what_is_not(season: Season) -> None:
    assert steps(season, "B3", "grower") == [["G1", 0.75, True, "clay"], ["G2", 0.25, True, "sand"]]
    assert steps(season, "B3", "malt") == [
        ["M1", 0.75, True, "extract 80 % dry"],
        ["M3", 0.25, True, "extract 78 % dry"],
    ]
    assert steps(season, "B3", "yeast")[0][2:] == [False, "not in the yeasts sheet"]
    assert steps(season, "B4", "yeast")[0][2:] == [False, "no delivery named"]
    assert steps(season, "B4", "malt") == [["M8", 1.0, False, "not in the malts sheet"]]
    assert steps(season, "B4", "lot") == [
        ["not known", 1.0, False, "no lot is named for this part"]
    ]
    assert steps(season, "B1", "spirit")[0][2:] == [True, "400 L at 67.0 % vol"]


def test_the_balance_follows_mass_and_alcohol(season: Season) -> None:
    balance = chain_of(season, "B1").balance.set_index("step")
    # 1 t of malt M1, of which 8 t came from 10 t of grain; 5000 L of wash at 8.1 % vol; 400 L of
    # new make at 67 % vol.
    assert balance["amount"].drop("predicted").to_dict() == pytest.approx(
        {"grain": 1.25, "malt": 1.0, "wash": 405.0, "new make": 268.0}
    )
    assert balance.loc["malt", "of_step_before"] == pytest.approx(0.8)
    assert balance.loc["new make", "of_step_before"] == pytest.approx(268 / 405)
    assert balance.loc["new make", "says"] == "268 L per t of malt"
    assert balance.loc["predicted", "says"] == "not on record"


def test_wash_without_a_charge_is_worked_out_from_gravity(season: Season) -> None:
    balance = chain_of(season, "B2").balance.set_index("step")
    assert balance.loc["wash", "amount"] == pytest.approx(5000 * wash_abv(1.061, 1.050) / 100)
    assert balance.loc["wash", "says"] == "from gravity, no wash charge on record"


def test_a_malting_written_whole_beside_each_lot_is_counted_once(season: Season) -> None:
    # M2: 3 t and 1 t of grain, and 3.2 t of malt written beside both.
    balance = chain_of(season, "B2").balance.set_index("step")
    assert balance.loc["grain", "amount"] == pytest.approx(4 / 3.2)
    sheets = small.sheets()
    sheets["malts"]["tonnes"] = [8.0, 2.4, 0.8, 6.5]  # now each lot's own part
    parts = chain_of(build_season(sheets), "B2").balance.set_index("step")
    assert parts.loc["grain", "amount"] == pytest.approx(4 / 3.2)


def test_more_spirit_than_wash_is_said() -> None:
    sheets = small.sheets()
    sheets["spirits"]["new_make_l"] = [500.0, 200.0]
    balance = chain_of(build_season(sheets), "B1").balance.set_index("step")
    assert balance.loc["new make", "says"] == "more than came in: feints, or a figure to check"


def test_equal_shares_for_want_of_weights_are_said() -> None:
    sheets = small.sheets()
    sheets["malts"]["grain_t"] = None
    view = chain_of(build_season(sheets), "B2")
    assert view.rests_on() == (
        "2 lots, 1 malt and 1 mash; shares taken as equal, since weights are missing."
    )


def test_a_batch_nobody_knows_is_refused_by_name(season: Season) -> None:
    with pytest.raises(UnknownName) as told:
        chain_of(season, "B11")
    assert str(told.value) == "There is no batch B11. Batches on record: B1, B2, B3 and B4."


def test_what_became_of_a_grower_s_barley(season: Season) -> None:
    view = grower_chain(season, "G1")
    owed(view)
    assert view.sentence() == (
        "Grower G1: 2 lots, 2 whole batches and a part of 1 other, 268 L of pure alcohol by mass "
        "share."
    )
    assert view.rests_on() == "1 distilled batch of 3."
    assert view.rows["malt_kg"].tolist() == [1000.0, 750.0, 750.0, 250.0]
    other = grower_chain(season, "G2")
    assert other.sentence() == "Grower G2: 2 lots, 0 whole batches and a part of 1 other."
    assert pd.isna(other.rows["batch_id"].iloc[0]), "L4 of 2023 was never malted"
    assert grower_chain(season, "G9").sentence() == "Grower G9: 0 lots, 0 whole batches."
    with pytest.raises(UnknownName) as told:
        grower_chain(season, "G12")
    assert str(told.value) == "There is no grower G12. Growers on record: G1, G2 and G9."
