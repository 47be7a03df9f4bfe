from __future__ import annotations

import pandas as pd
import pytest

from origin_compare.errors import UnknownName
from origin_compare.season.join import BATCH_COLUMNS, build_season
from origin_compare.season.one_harvest import one_harvest
from origin_compare.season.season import Season
from origin_compare.season.unmatched import cause_counts
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.frames import all_shaped
from origin_compare.sheets.gravity_unit import gravity_unit
from tests.store import small


@pytest.fixture(scope="module")
def season() -> Season:
    return build_season(small.sheets(), revision=3, site="the small one")


@pytest.fixture(scope="module")
def batches(season: Season) -> pd.DataFrame:
    return season.batches.set_index("batch_id")


def test_one_row_per_batch_in_order_of_yeast_in(season: Season) -> None:
    assert list(season.batches.columns) == BATCH_COLUMNS
    assert season.batches["batch_id"].tolist() == ["B1", "B2", "B3", "B4"]
    assert season.batches.index.equals(pd.RangeIndex(4))
    assert (season.revision, season.site) == (3, "the small one")


@pytest.mark.parametrize("written", ["SG x 1000", "degrees"])
def test_gravity_of_a_frame_made_by_hand_is_settled_to_sg(season: Season, written: str) -> None:
    sheets = small.sheets()
    sg = sheets["readings"]["sg"]
    sheets["readings"]["sg"] = 1000 * sg if written == "SG x 1000" else 1000 * (sg - 1)
    assert gravity_unit(sheets["readings"]["sg"]) == written
    found = build_season(sheets).sheets["readings"]["sg"]
    assert found.tolist() == pytest.approx(sg.tolist(), abs=1e-12)
    kept = season.sheets["readings"]["sg"]
    assert gravity_unit(kept) == "SG" and kept.tolist() == sg.tolist()


def test_a_sheet_without_a_gravity_counts_as_sg() -> None:
    assert gravity_unit([]) == gravity_unit([float("nan")]) == "SG"


def test_origin_follows_from_the_lots_mashed(batches: pd.DataFrame) -> None:
    assert batches["origin"].tolist() == ["one field", "one grower", "mixed", "not known"]
    assert batches["grower_id"].fillna("-").tolist() == ["G1", "G1", "-", "-"]
    assert batches["lot_id"].fillna("-").tolist() == ["L1", "-", "-", "-"]
    assert batches["lots"].fillna("-").tolist() == ["L1", "L1 + L2", "L1 + L3", "-"]
    assert batches["growers"].fillna("-").tolist() == ["G1", "G1", "G1 + G2", "-"]
    assert batches["season"].tolist() == [2024, 2024, 2024, pd.NA]


def test_shares_weigh_by_grist_and_by_grain(season: Season) -> None:
    shares = season.shares.set_index(["batch_id", "lot_id"])["share"]
    # B2 is all M2, steeped from 3 t of L1 and 1 t of L2; B3 is 750 kg of M1, all L1, and 250 kg
    # of M3, all L3.
    expected = {
        ("B1", "L1"): 1.0,
        ("B2", "L1"): 0.75,
        ("B2", "L2"): 0.25,
        ("B3", "L1"): 0.75,
        ("B3", "L3"): 0.25,
    }
    assert shares.to_dict() == pytest.approx(expected, abs=1e-12)
    assert season.shares["weighed"].all()


def test_lot_means_weigh_by_share_and_want_every_lot(batches: pd.DataFrame) -> None:
    assert batches.loc["B2", "grain_n_pct_dm"] == pytest.approx(0.75 * 1.4 + 0.25 * 1.6)
    assert batches.loc["B3", "grain_n_pct_dm"] == pytest.approx(0.75 * 1.4 + 0.25 * 1.5)
    assert pd.isna(batches.loc["B3", "rain_mm"]), "the rain of L3 is not known"
    assert batches.loc["B1", "variety"] == "Ardent"
    assert pd.isna(batches.loc["B3", "variety"])
    assert batches.loc["B1", "soil"] == "clay", "no soil for the field: the grower's main soil"


def test_malt_figures_weigh_by_grist(batches: pd.DataFrame) -> None:
    assert batches.loc["B2", "extract_pct_dm"] == 79.0, "one certificate, written beside one lot"
    assert batches.loc["B3", "extract_pct_dm"] == pytest.approx(0.75 * 80 + 0.25 * 78)
    assert batches["malt_id"].tolist() == ["M1", "M2", "M1+M3", "M8"]


def test_a_mash_of_two_malts_is_one_mash(batches: pd.DataFrame) -> None:
    assert batches["grist_kg"].tolist() == [1000.0] * 4
    assert batches["mash_wort_l"].tolist() == [5100.0, 5000.0, 5100.0, 5000.0]
    sg = (2500 * 1.060 + 2600 * 1.062) / 5100
    assert batches.loc["B1", "mash_wort_sg"] == pytest.approx(sg, abs=1e-12)


def test_spirit_runs_add_up(batches: pd.DataFrame) -> None:
    first = batches.loc["B1"]
    assert (first["runs"], first["wash_l"], first["new_make_l"]) == (2, 5000.0, 400.0)
    assert first["new_make_abv_pct"] == pytest.approx((300 * 68 + 100 * 64) / 400)
    assert first["wash_abv_pct"] == pytest.approx(8.1)
    assert first["distilled_on"] == pd.Timestamp("2024-11-15")
    assert first["still"] == "East + West"
    assert first["limit_sg"] == 0.998, "the later of two limit tests"


def test_state_and_counts(batches: pd.DataFrame) -> None:
    assert batches["status"].tolist() == ["distilled", "ended", "fermenting", "fermenting"]
    assert batches["n_readings"].tolist() == [2, 1, 0, 0]
    assert batches["n_tastings"].tolist() == [1, 0, 0, 0], "a declined score is not a tasting"
    assert batches["n_assessors"].tolist() == [2, 0, 0, 0]


def test_missing_links_in_words(batches: pd.DataFrame) -> None:
    assert batches["missing_links"].tolist() == [
        "",
        "not distilled; not tasted",
        "no yeast delivery; no readings; still fermenting",
        "no malt; no yeast delivery; no readings; still fermenting",
    ]


def test_hours_since_yeast_in(season: Season) -> None:
    hours = season.sheets["readings"]["hours"]
    assert hours.iloc[:3].tolist() == [8.0, 16.0, 8.0]
    assert pd.isna(hours.iloc[3]), "a reading of a batch nobody pitched"


def test_yeast_age_counts_days_on_the_site_clock() -> None:
    from dataclasses import replace

    from origin_compare.house import default_rules

    rules = replace(default_rules(), time_zone="Europe/Helsinki")
    ages = build_season(small.sheets(), rules).batches["yeast_age_d"]
    # B1 was pitched on 7 November 22:30 UTC, which is 8 November at the site.
    assert ages.iloc[:2].tolist() == [7.0, 7.0]
    assert build_season(small.sheets()).batches["yeast_age_d"].iloc[0] == 6.0


def test_every_unmatched_row_has_its_cause(season: Season) -> None:
    found = season.unmatched.drop(columns="missing_sheet").to_numpy().tolist()
    assert found == [
        ["mashes", "B4 / 1 / M8", "M8", "malt not in the malts sheet"],
        ["fermentations", "B3", "Y7", "yeast delivery not in the yeasts sheet"],
        ["fermentations", "B4", "", "no yeast delivery given"],
        [
            "readings",
            "B9 / 2024-11-08 14:00:00+00:00 / hand",
            "B9",
            "batch not in the fermentations sheet",
        ],
        ["scores", "T1 / A1 / B9 / 1 / cereal", "B9", "batch not in the fermentations sheet"],
        ["growers", "G9", "", "no lot of this grower"],
        ["lots", "L4", "", "lot not malted"],
        ["yeasts", "Y2", "", "yeast delivery not pitched"],
    ]
    assert cause_counts(season.unmatched)["rows"].sum() == 8


def test_weights_missing_are_taken_as_equal_and_said(batches: pd.DataFrame) -> None:
    sheets = small.sheets()
    sheets["malts"].loc[sheets["malts"]["lot_id"] == "L2", "grain_t"] = None
    season = build_season(sheets)
    shares = season.shares.set_index(["batch_id", "lot_id"])
    assert shares.loc[("B2", "L1"), "share"] == 0.5
    assert not shares.loc[("B2", "L1"), "weighed"]
    assert shares.loc[("B1", "L1"), "weighed"]
    told = season.batches.set_index("batch_id").loc["B2", "missing_links"]
    assert told.startswith("weights missing, shares taken as equal")


def test_two_harvests_in_one_batch_have_no_season() -> None:
    sheets = small.sheets()
    sheets["lots"].loc[sheets["lots"]["lot_id"] == "L3", "season"] = 2023
    batch = build_season(sheets).batches.set_index("batch_id").loc["B3"]
    assert pd.isna(batch["season"])
    assert "lots of two harvests" in batch["missing_links"]


def test_no_sheets_give_an_empty_season_of_the_same_shape(season: Season) -> None:
    empty = build_season({})
    assert empty.batches.empty
    assert empty.unmatched.empty
    assert empty.batches.dtypes.equals(season.batches.dtypes)
    assert list(empty.sheets) == list(SHEETS)


def test_one_harvest_keeps_what_hangs_on_it(season: Season) -> None:
    one = one_harvest(season, 2024)
    assert one.batches["batch_id"].tolist() == ["B1", "B2", "B3"]
    assert one.sheets["lots"]["lot_id"].tolist() == ["L1", "L2", "L3"]
    assert one.sheets["scores"]["batch_id"].tolist() == ["B1", "B1", "B2", "CONTROL"]
    assert one.sheets["yeasts"]["delivery_id"].tolist() == ["Y1"]
    assert one.revision == 3


def test_a_harvest_nobody_brought_in_is_refused_by_name(season: Season) -> None:
    with pytest.raises(UnknownName) as told:
        one_harvest(season, 2019)
    assert str(told.value) == (
        "There is no lot of harvest 2019. Harvests on record: 2023 and 2024."
    )


def test_shaping_twice_changes_nothing() -> None:
    once = all_shaped(small.sheets())
    again = all_shaped(once)
    for name, frame in once.items():
        pd.testing.assert_frame_equal(frame, again[name])
