"""The flavour world's truth is what its sheets were made of."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import origin_compare as oc
from tests.faults.worlds import flavour, making, tasting
from tests.faults.worlds.field import EXTRACT_SLOPES


@pytest.fixture(scope="module")
def season() -> flavour.Flavours:
    return flavour.season(4, batches=40, growers=8, lots_each=2, tie="pair", r=0.9)


def test_the_same_seed_gives_the_same_season(season: flavour.Flavours) -> None:
    again = flavour.season(4, batches=40, growers=8, lots_each=2, tie="pair", r=0.9)
    pd.testing.assert_frame_equal(again.truth.profile, season.truth.profile)
    for name, sheet in season.sheets.items():
        pd.testing.assert_frame_equal(again.sheets[name], sheet)


def test_process_parts_follow_the_slopes(season: flavour.Flavours) -> None:
    truth = season.truth
    batches = truth.batches.set_index("batch_id")
    steps = [(batches[p] - making.MIDDLE[p]).to_numpy() / making.STEP[p] for p in making.MIDDLE]
    assert np.allclose(np.column_stack(steps) @ truth.slopes.to_numpy(), truth.process_part)


@pytest.mark.parametrize(
    ("tie", "r", "least", "most"), [("pair", 0.95, -0.99, -0.9), ("none", 0.0, -0.3, 0.3)]
)
def test_the_tie_is_as_strong_as_asked(
    tie: making.Tie, r: float, least: float, most: float
) -> None:
    dealt = pd.DataFrame({"grower": np.arange(300) % 12, "lot": 0})
    made = making.process(np.random.default_rng(2), dealt, tie, r)
    assert least < np.corrcoef(made["length_h"], made["final_ph"])[0, 1] < most


def test_trial_batches_loosen_a_tie() -> None:
    dealt = pd.DataFrame({"grower": np.arange(60) % 12, "lot": 0})

    def r(tie: making.Tie) -> float:
        made = making.process(np.random.default_rng(5), dealt, tie, 0.95)
        return float(np.corrcoef(made["length_h"], made["final_ph"])[0, 1])

    assert r("broken") > r("pair") + 0.1


@pytest.mark.parametrize(
    ("tie", "name", "by"),
    [("by grower", "length_h", ["grower"]), ("by lot", "peak_temp_c", ["grower", "lot"])],
)
def test_a_figure_set_by_its_origin_hardly_varies_within(
    tie: making.Tie, name: str, by: list[str]
) -> None:
    dealt = pd.DataFrame({"grower": np.arange(80) % 8, "lot": np.arange(80) // 8 % 2})
    made = making.process(np.random.default_rng(3), dealt, tie, 0.97)
    within = made[name].groupby([dealt[k] for k in by]).std().mean()
    assert within < 0.4 * made[name].std()


def test_the_sheets_tell_the_true_process(season: flavour.Flavours) -> None:
    batches = season.truth.batches.set_index("batch_id")
    cards = season.sheets["fermentations"].set_index("batch_id")
    length = (cards["ended_at"] - cards["pitched_at"]).dt.total_seconds() / 3600
    assert np.allclose(length, batches["length_h"], atol=0.02)
    read = season.sheets["readings"].groupby("batch_id")
    assert (read["ph"].last() - batches["final_ph"]).abs().max() < 0.1
    assert (read["temp_c"].max() - batches["peak_temp_c"]).abs().max() < 1.2


def test_sparse_readings_miss_the_peak() -> None:
    def shortfall(every_h: float) -> float:
        made = flavour.season(6, batches=20, cards=making.Cards(every_h, temp_sd_c=0.0))
        seen = made.sheets["readings"].groupby("batch_id")["temp_c"].max()
        return float((made.truth.batches.set_index("batch_id")["peak_temp_c"] - seen).mean())

    assert shortfall(12.0) > shortfall(2.0) + 0.1


def test_a_steady_panel_says_the_true_profile() -> None:
    steady = tasting.Panel(noise_sd=0.02, session_sd=0.0, level_sd=0.3, scale_sd=0.1, missed=0.0)
    made = flavour.season(8, batches=10, growers=5, batch_sd=0.2, grower_sd=0.2, panel=steady)
    scores = made.sheets["scores"].query("sample_kind == 'batch'")
    said = scores.pivot_table(index="batch_id", columns="attribute", values="score")
    apart = said[made.truth.profile.columns] - made.truth.profile
    assert apart.abs().max().max() < 0.08


def test_scores_are_clipped_and_rounded(season: flavour.Flavours) -> None:
    coarse = flavour.season(9, batches=12, growers=4, panel=tasting.Panel(step=0.5, level_sd=3.0))
    score = coarse.sheets["scores"]["score"]
    assert score.between(0, 10).all()
    assert {0.0, 10.0} <= set(score)
    assert np.allclose(2 * score, (2 * score).round())


def test_families_stand_as_far_apart_as_asked() -> None:
    made = flavour.season(
        3,
        batches=90,
        grower_sd=0.0,
        lot_sd=0.0,
        slope_share=0.0,
        families=3,
        apart_sd=6.0,
        outliers=2,
    )
    whose = made.truth.batches["family"].to_numpy()
    assert sorted(set(whose)) == [-1, 0, 1, 2]
    assert (whose == -1).sum() == 2
    centres = [made.truth.profile[whose == k].mean() for k in range(3)]
    for one, other in ((0, 1), (0, 2), (1, 2)):
        far = np.linalg.norm(centres[one] - centres[other]) / made.world.batch_sd
        assert far == pytest.approx(6.0, rel=0.25)


def test_growers_alike_have_no_part() -> None:
    made = flavour.season(2, batches=20, grower_sd=0.0, lot_sd=0.0)
    assert made.truth.shares()["origin"].max() == 0.0


def test_extract_follows_the_field() -> None:
    made = flavour.season(12, batches=200, growers=20, lots_each=4)
    malts = made.sheets["malts"].merge(made.sheets["lots"], on="lot_id")
    traits = list(EXTRACT_SLOPES)
    columns = np.column_stack([np.ones(len(malts)), malts[traits]])
    fitted, *_ = np.linalg.lstsq(columns, malts["extract_pct_dm"], rcond=None)
    assert fitted[1:] == pytest.approx(list(EXTRACT_SLOPES.values()), abs=0.5)


def test_a_season_reads_in_without_a_fault(season: flavour.Flavours, tmp_path: Path) -> None:
    flavour.write(season, tmp_path)
    read = oc.load_folder(tmp_path)
    assert [fault for fault in read.faults if fault.weight == "fault"] == []
    assert len(read.sheets["scores"]) == len(season.sheets["scores"])
    grown = read.batches.set_index("batch_id")["grower_id"].astype(str)
    assert (grown == season.truth.batches.set_index("batch_id")["grower_id"]).all()


def test_cuts_count_neither_as_origin_nor_as_process() -> None:
    made = flavour.season(2, batches=20)
    made.truth.slopes.loc[["length_h", "peak_temp_c", "final_ph"]] = 0.0
    cut = made.truth.batches["cut_off_abv_pct"] - making.MIDDLE["cut_off_abv_pct"]
    made.truth.process_part[:] = np.outer(cut, made.truth.slopes.loc["cut_off_abv_pct"])
    assert made.truth.shares()["process"].abs().max() < 1e-9
