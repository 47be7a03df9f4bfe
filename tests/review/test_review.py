"""The season review: sentences whole, every flag with its rule, and gaps in the data survived."""

import numpy as np
import pandas as pd
import pytest

from origin_compare.house import HouseRules, default_rules, read_rules
from origin_compare.review import season_review
from tests.growers import demo
from tests.growers.small import batch_frame

RULES = default_rules()
KEPT = (
    "Of 4 finished batches from 4 growers, 4 kept inside every house window and 0 did not. "
    "Spirit yield: typically 374 L of pure alcohol per tonne of malt; half lie between 374 and "
    "374."
)


def _four() -> pd.DataFrame:
    return batch_frame(["G1", "G2", "G3", "G4"])


def test_all_inside() -> None:
    assert season_review(_four(), RULES).sentence() == KEPT


def test_what_lay_outside_is_counted_by_measure_and_running_batches_are_said() -> None:
    batches = _four()
    batches.loc[0, ["peak_temp_c", "final_ph"]] = [34.0, 3.9]
    batches.loc[1, "final_ph"] = 3.8
    batches.loc[3, ["status", "final_ph", "length_h", "spirit_yield_lpa_t"]] = [
        "fermenting",
        np.nan,
        np.nan,
        np.nan,
    ]
    assert season_review(batches, RULES).sentence() == (
        "Of 3 finished batches from 3 growers, 1 kept inside every house window and 2 did not "
        "(final pH 2 and peak temperature 1); one more is still fermenting."
    )


def test_a_window_most_batches_miss_is_questioned() -> None:
    batches = _four().assign(length_h=100.0)
    assert (
        season_review(batches, RULES)
        .sentence()
        .startswith(
            "Of 4 finished batches from 4 growers, 0 kept inside every house window and 4 did not "
            "(fermentation length 4). More than half lie outside on fermentation length: "
            "look at the window and how the figure is taken before the batches. Spirit yield: "
        )
    )


@pytest.mark.parametrize(
    ("status", "said"),
    [
        (["fermenting"], "The one batch is still fermenting"),
        (["fermenting"] * 3, "All 3 batches are still fermenting"),
    ],
)
def test_nothing_has_ended(status: list[str], said: str) -> None:
    batches = _four().head(len(status)).assign(status=status, spirit_yield_lpa_t=np.nan)
    review = season_review(batches, RULES)
    assert review.sentence() == f"{said}: nothing has ended that could be compared."
    assert review.outside.empty


def test_one_finished_batch() -> None:
    one = _four().head(1)
    assert season_review(one, RULES).sentence() == (
        "The one finished batch, B25-01, kept inside every house window."
    )
    assert season_review(one.assign(final_ph=3.9, peak_temp_c=35.0), RULES).sentence() == (
        "The one finished batch, B25-01, lay outside on peak temperature and final pH."
    )


def test_no_batch_no_column_no_window() -> None:
    assert season_review(_four().head(0), RULES).sentence() == (
        "There is no batch in these harvests yet."
    )
    bare = _four()[["batch_id"]]
    review = season_review(bare, RULES)
    assert review.sentence() == (
        "Of 4 finished batches, none has a figure the house holds a window for."
    )
    assert review.rests_on() == (
        "4 batches joined from field to spirit. "
        "The house rules hold no window for what was measured."
    )
    assert list(review.table().columns) == ["batch_id", "outside"]
    assert review.lots().empty
    without_rules = season_review(_four(), HouseRules(windows={}))
    assert without_rules.sentence().startswith(
        "Of 4 finished batches from 4 growers, none has a figure the house holds a window for."
    )


def test_a_batch_without_any_figure_is_not_called_inside() -> None:
    batches = _four()
    watched = ["length_h", "peak_temp_c", "final_ph", "final_sg", "spirit_yield_lpa_t"]
    batches.loc[2, watched] = np.nan
    assert season_review(batches, RULES).sentence() == (
        "Of 4 finished batches from 4 growers, 3 kept inside every house window and 0 did not; "
        "1 had no figure to hold against one."
    )


def test_every_flag_names_its_rule_and_source() -> None:
    rules = read_rules('[windows.final_ph]\nhigh = 3.3\nsource = "our own, 2019 to 2024"')
    flags = season_review(_four().assign(peak_temp_c=31.0), rules).outside
    by_rule = flags.drop_duplicates("rule").set_index("rule")
    assert by_rule["source"].to_dict() == {
        "windows.peak_temp_c": "common practice, no source",
        "windows.final_ph": "our own, 2019 to 2024",
    }
    assert by_rule.loc["windows.final_ph", "in_words"] == (
        "final pH 3.4 is above the house window, at most 3.3 (our own, 2019 to 2024)"
    )
    assert by_rule.loc["windows.final_ph", ["value", "high"]].tolist() == [3.4, 3.3]
    used = season_review(_four().assign(peak_temp_c=31.0), rules).rules_used()
    counts = used.set_index("rule")[["batches_held", "batches_outside"]]
    assert counts.loc["windows.final_ph"].tolist() == [4, 4]
    assert counts.loc["windows.length_h"].tolist() == [4, 0]


def test_a_fermenting_batch_is_held_only_to_the_windows_of_its_start() -> None:
    batches = _four().assign(pitch_temp_c=25.0, final_ph=4.4, status="fermenting")
    assert set(season_review(batches, RULES).outside["measure"]) == {"pitch_temp_c"}


def test_windows_of_pressed_yeast_are_not_held_against_dried() -> None:
    batches = _four().assign(
        yeast_age_d=40.0, yeast_form=["Dried", "pressed", "Compressed cake", None]
    )
    outside = season_review(batches, RULES).outside
    assert outside["batch_id"].tolist() == ["B25-02", "B25-03", "B25-04"]


def test_share_of_predicted_is_on_dry_malt_and_needs_the_moisture() -> None:
    # 380 L/t of malt with 5 % moisture is 400 L/t of dry malt: the whole of a prediction of 400.
    batches = _four().assign(
        spirit_yield_lpa_t=380.0, malt_moisture_pct=[5.0, 5.0, 5.0, np.nan], predicted_lpa_t=400.0
    )
    shares = season_review(batches, RULES).batches["share_of_predicted_pct"]
    np.testing.assert_allclose(shares[:3], 100.0, rtol=1e-12)
    assert np.isnan(shares[3])


def test_gap_to_the_bench_limit_in_degrees() -> None:
    batches = _four().assign(final_sg=1.0035, limit_sg=0.9990)
    review = season_review(batches, RULES)
    np.testing.assert_allclose(review.batches["limit_gap_degrees"], 4.5, atol=1e-9)
    assert set(review.outside["measure"]) == {"limit_gap_degrees"}


def test_unusual_figures_ask_for_a_look_and_do_not_count_as_outside() -> None:
    batches = _four()
    batches.loc[0, "grain_n_pct_dm"] = 2.4
    review = season_review(batches, RULES)
    assert review.sentence() == KEPT
    assert review.unusual["rule"].tolist() == ["plausible.lots.grain_n_pct_dm"]
    assert "Outside what is usual, please check the figure: grain nitrogen 1." in review.rests_on()


def test_lots_side_by_side_say_where_lot_and_batch_are_one_thing() -> None:
    batches = batch_frame(["G1", "G1", "G2"], lots=["LA", "LA", "LB"])
    mixed = batches.head(1).assign(batch_id="BX", lot_id=None, grower_id=None, origin="mixed")
    lots = season_review(pd.concat([batches, mixed], ignore_index=True), RULES).lots()
    assert lots["lot_id"].tolist() == ["LA", "LB"]
    assert lots["batches"].tolist() == [2, 1]
    assert lots["note"].tolist() == ["", "one batch: lot and batch are one thing"]
    np.testing.assert_allclose(lots["spirit_yield_lpa_t"], [374.05, 374.2])
    np.testing.assert_allclose(lots["yield_low_lpa_t"], [374.0, np.nan])
    np.testing.assert_allclose(lots["yield_high_lpa_t"], [374.1, np.nan])


def test_the_demo_names_the_planted_faults() -> None:
    season = demo.season()
    review = season_review(demo.batches(), season.rules)
    flagged = set(review.outside["batch_id"])
    gap = review.outside[review.outside["measure"] == "limit_gap_degrees"]
    assert {"Q24-12", "Q25-21"} <= flagged  # a stuck batch and one pitched with old yeast
    assert "Q24-12" in set(gap["batch_id"])
    old = review.outside[review.outside["rule"] == "windows.yeast_age_d"]
    assert old["batch_id"].tolist() == ["Q25-21"]
    assert len(review.table()) == len(review.batches)
