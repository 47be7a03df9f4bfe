"""Mass and alcohol step by step, each gap against the house's limit, and what is missing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from origin_compare.chain.balance import batch_balance, lot_balance
from origin_compare.errors import UnknownName
from origin_compare.house import default_rules
from origin_compare.measures import extract_kg, wash_abv
from origin_compare.season.join import build_season
from origin_compare.season.season import Season
from tests.answers import owed
from tests.chain.stills import rules, runs_of

CLOSE = 1e-9


def with_readings(season: Season, final_sg: float = 1.002) -> Season:
    """The same with one last gravity a batch, three days after yeast in."""
    readings = pd.DataFrame(
        {
            "batch_id": season.batches["batch_id"],
            "hours": 72.0,
            "sg": final_sg,
            "instrument": "hand",
        }
    )
    return build_season({**season.sheets, "readings": readings}, season.rules)


def test_a_batch_s_account_is_the_pencil_s() -> None:
    # 1 t of malt of 4 % moisture and 80 % extract, of 10 t grain to 8.4 t malt; 4000 L of wort at
    # 1.0700; wash 4000 L at 9.0 % vol; new make 500 L at 70 % vol.
    account = batch_balance(with_readings(runs_of(["A"], rules())), "B1")
    owed(account)
    rows = account.rows.set_index("step")
    wort = extract_kg(4000, 1.07)
    gravity = 40 * wash_abv(1.07, 1.002)
    assert rows["amount"].to_dict() == pytest.approx(
        {
            "grain steeped": 10 / 8.4,
            "malt mashed": 1.0,
            "extract in the malt": 768.0,
            "extract in the wort": wort,
            "alcohol by gravity": gravity,
            "alcohol in the wash": 360.0,
            "alcohol in new make": 350.0,
        },
        rel=CLOSE,
    )
    assert rows["of_before_pct"].dropna().to_dict() == pytest.approx(
        {
            "malt mashed": 84.0,
            "extract in the wort": 100 * wort / 768,
            "alcohol in the wash": 36000 / gravity,
            "alcohol in new make": 100 * 350 / 360,
        },
        rel=CLOSE,
    )
    assert rows.loc["malt mashed", "limit"] == "80 to 87 %"
    assert rows.loc["malt mashed", "source"] == "common practice, no source"


def test_a_gap_outside_its_limit_is_said_with_the_limit() -> None:
    season = runs_of(["A"], rules(), malts__tonnes=7.5, mashes__wort_l=4000.0)
    account = batch_balance(season, "B1")
    assert account.rows.set_index("step")["verdict"].to_dict()["malt mashed"] == "below"
    assert account.sentence() == (
        "Batch B1: malt made over grain steeped 75 % is below the house window, 80 to 87 % "
        "(common practice, no source); not checked: alcohol in the wash."
    )


def test_what_is_missing_is_named_step_by_step() -> None:
    season = runs_of(
        ["A"],
        rules(),
        malts__moisture_pct=None,
        spirits__wash_l=None,
        malts__grain_t=None,
        mashes__wort_sg=None,
    )
    account = batch_balance(season, "B1")
    says = account.rows.set_index("step")["says"]
    assert says["grain steeped"] == "no weights of grain and malt"
    assert says["extract in the malt"] == "no extract or moisture of malt"
    assert says["extract in the wort"] == "no volume or gravity of wort"
    assert says["alcohol by gravity"] == "no original or last gravity"
    assert says["alcohol in the wash"] == "no wash charge"
    assert account.sentence() == (
        "Batch B1: no gap can be checked; not checked: malt mashed, extract in the wort, alcohol "
        "in the wash and alcohol in new make."
    )
    assert account.rests_on() == "2 of 7 steps on record."


def test_a_limit_the_house_does_not_hold_to_is_not_checked() -> None:
    windows = dict(default_rules().windows)
    del windows["malt_per_grain_pct"]
    season = runs_of(["A"], replace(default_rules(), windows=windows), malts__tonnes=7.5)
    row = batch_balance(season, "B1").rows.set_index("step").loc["malt mashed"]
    assert row["verdict"] == "" and row["limit"] == ""
    assert row["of_before_pct"] == pytest.approx(75.0)


def test_a_lot_is_followed_through_all_its_batches() -> None:
    season = with_readings(runs_of(["A", "A", "B"], rules()))
    account = lot_balance(season, "LA")
    rows = account.rows.set_index("step")
    assert rows.loc["grain delivered", "amount"] == 20.0
    assert rows.loc["grain steeped", "amount"] == 10.0
    assert rows.loc["malt made", "amount"] == pytest.approx(8.4)
    assert rows.loc["malt mashed", "amount"] == 2.0
    assert rows.loc["alcohol in new make", "amount"] == pytest.approx(700.0)
    assert rows.loc["malt mashed", "of_before_pct"] == pytest.approx(100 * 2 / 8.4)
    assert account.rests_on() == "9 of 9 steps on record."


def test_more_mashed_than_was_made_is_above() -> None:
    season = runs_of(["A"], rules(), mashes__grist_kg=9000.0)
    account = lot_balance(season, "LA")
    assert account.rows.set_index("step").loc["malt mashed", "verdict"] == "above"
    assert account.sentence().startswith(
        "Lot LA: malt mashed over malt made 107.1 % is above the house window, at most 101 % "
        "(common practice, no source)"
    )


def test_a_batch_of_two_malts_gives_each_lot_its_extract() -> None:
    season = runs_of(
        ["A", "B"], rules(), malts__extract_pct_dm=[80.0, 60.0], mashes__batch_id=["B1", "B1"]
    )
    first = lot_balance(season, "LA").rows.set_index("step")["amount"]
    second = lot_balance(season, "LB").rows.set_index("step")["amount"]
    assert first["malt mashed"] == second["malt mashed"] == 1.0
    assert first["extract in the malt"] == pytest.approx(768.0)
    assert second["extract in the malt"] == pytest.approx(576.0)
    assert first["alcohol in new make"] == pytest.approx(350 * 768 / (768 + 576))


def test_ratios_leave_out_the_batch_that_lacks_a_figure_and_say_so() -> None:
    season = runs_of(["A", "A"], rules(), spirits__new_make_l=[500.0, np.nan])
    account = lot_balance(season, "LA")
    row = account.rows.set_index("step").loc["alcohol in new make"]
    assert row["of_before_pct"] == pytest.approx(100 * 350 / 360)
    assert account.rests_on() == (
        "8 of 9 steps on record; B2 left out of the ratios where a figure is missing."
    )


def test_names_nobody_knows_are_refused() -> None:
    season = runs_of(["A"], rules())
    with pytest.raises(UnknownName, match=r"^There is no batch B7\.$"):
        batch_balance(season, "B7")
    with pytest.raises(UnknownName, match=r"^There is no lot L7\.$"):
        lot_balance(season, "L7")


def test_the_demo_balances(demo_season: Season) -> None:
    accounts = [lot_balance(demo_season, lot) for lot in demo_season.shares["lot_id"].unique()]
    flagged = [one.of for one in accounts if one.flags]
    assert len(accounts) > 30 and len(flagged) < len(accounts) / 4
