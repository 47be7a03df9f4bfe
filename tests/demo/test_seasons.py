"""Each planted fault stands in the clean frames as the truth says, and sound batches look sound."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from demo_harvests.make import SEED, Made, main, make, simulate
from demo_harvests.world import ATTRIBUTES, DRIVER_CENTRES, DRIVER_UNITS, EFFECTS, FAULTS

DEMO = Path(__file__).resolve().parents[2] / "demo_harvests"


@pytest.fixture(scope="module")
def made() -> Made:
    return make()


def _of(made: Made, kind: str) -> dict[str, Any]:
    (fault,) = (fault for fault in made.truth["faults"] if fault["kind"] == kind)
    return dict(fault)


def _hand(made: Made, batch_id: str) -> pd.DataFrame:
    readings = made.sheets["readings"]
    return readings[(readings["batch_id"] == batch_id) & (readings["instrument"] == "hand")]


def _usual(made: Made, hours: np.ndarray, channel: str) -> np.ndarray:
    """Median course of the sound batches, at the given hours."""
    sound = [batch["batch_id"] for batch in made.truth["batches"] if batch["fault"] == ""]
    curves = [
        np.interp(hours, own["hours"], own[channel])
        for own in (_hand(made, name) for name in sound)
    ]
    return np.median(curves, axis=0)


def test_the_stuck_batch_stands_eight_degrees_above_a_bench_limit_that_went_low(made: Made) -> None:
    fault = _of(made, "stuck")
    own = _hand(made, fault["batch_id"])
    limit = made.sheets["attenuations"].set_index("batch_id")["limit_sg"][fault["batch_id"]]
    late = own[own["hours"] > 60]["sg"]
    assert late.mean() - limit == pytest.approx(0.008, abs=0.0008)
    assert limit < 1.0005
    before = own[own["hours"] < fault["from_h"]]
    usual = _usual(made, before["hours"].to_numpy(), "sg")
    assert np.abs(before["sg"] - usual).max() < 0.012
    assert 30 < fault["from_h"] < fault["shows_from_h"]["sg"] < 48


def test_the_hot_batch_runs_to_34_or_35_degrees_once_the_jacket_fails(made: Made) -> None:
    fault = _of(made, "hot")
    log = made.sheets["readings"].query("instrument == 'probe'")
    assert log["batch_id"].unique().tolist() == [fault["batch_id"]]
    assert 33.5 < log["temp_c"].max() < 35.5
    assert (log[log["hours"] > fault["from_h"] + 0.1]["cooling_pct"] == 0).all()
    assert (log[log["hours"].between(19.0, 20.5)]["cooling_pct"] > 0).all()


def test_the_drifting_probe_climbs_while_gravity_stands_as_usual(made: Made) -> None:
    fault = _of(made, "probe_drift")
    own = _hand(made, fault["batch_id"])
    hours = own["hours"].to_numpy()
    assert np.abs(own["sg"] - _usual(made, hours, "sg"))[hours > 60].max() < 0.003
    late = own[own["hours"] > 90]
    assert np.polyfit(late["hours"], late["temp_c"], 1)[0] > 0.03
    truth = next(b for b in made.truth["batches"] if b["batch_id"] == fault["batch_id"])
    assert own["temp_c"].max() > truth["peak_temp_c"] + 1.0


def test_the_early_lactic_batch_sours_before_the_yeast_is_done(made: Made) -> None:
    fault = _of(made, "early_lactic")
    own = _hand(made, fault["batch_id"])
    usual = _usual(made, own["hours"].to_numpy(), "ph")
    below = (own["ph"] - usual).to_numpy()
    hours = own["hours"].to_numpy()
    assert np.abs(below[hours < fault["from_h"]]).max() < 0.15
    assert below[(hours > 28) & (hours < 50)].max() < -0.3
    assert fault["shows_from_h"]["ph"] < fault["shows_from_h"]["sg"]


def test_the_old_yeast_is_old_warm_weak_and_little(made: Made) -> None:
    fault = _of(made, "old_yeast")
    card = made.sheets["fermentations"].set_index("batch_id").loc[fault["batch_id"]]
    yeast = made.sheets["yeasts"].set_index("delivery_id").loc[card["delivery_id"]]
    age = card["pitched_at"].tz_convert("Europe/Dublin").tz_localize(None) - yeast["made_on"]
    assert age > pd.Timedelta(days=20)
    assert yeast["storage_temp_c"] > 7
    assert card["yeast_kg"] / card["wort_l"] * 1000 < 2.2
    own = _hand(made, fault["batch_id"])
    middle = own[own["hours"].between(20, 50)]
    ahead = middle["sg"] - _usual(made, middle["hours"].to_numpy(), "sg")
    assert ahead.min() > 0.005


def test_the_wrong_reading_is_two_figures_changed_round(made: Made) -> None:
    fault = _of(made, "wrong_reading")
    wrong = fault["wrong_reading"]
    own = _hand(made, fault["batch_id"])
    at = np.isclose(own["hours"], wrong["hours"], atol=1e-3)
    assert own[at]["sg"].tolist() == [wrong["written_sg"]]
    assert sorted(f"{wrong['written_sg']:.4f}") == sorted(f"{wrong['true_sg']:.4f}")
    near = own[~at & own["hours"].between(15, 50)]
    assert np.abs(near["sg"] - _usual(made, near["hours"].to_numpy(), "sg")).max() < 0.012


def test_the_batch_still_fermenting_has_no_end_no_spirit_and_no_scores(made: Made) -> None:
    name = _of(made, "still_fermenting")["batch_id"]
    card = made.sheets["fermentations"].set_index("batch_id")
    assert card["ended_at"].isna().sum() == 1
    assert pd.isna(card.loc[name, "ended_at"])
    assert card["pitched_at"].idxmax() == name
    assert 50 < _hand(made, name)["hours"].max() < 61
    for sheet in ("spirits", "scores", "congeners"):
        assert name not in set(made.sheets[sheet]["batch_id"])


def test_sound_batches_keep_to_common_practice(made: Made) -> None:
    """Ranges: common practice, no source."""
    names = {batch["batch_id"] for batch in made.truth["batches"] if batch["fault"] == ""}
    assert len(names) == 60 - len(FAULTS)
    for batch in made.truth["batches"]:
        if batch["batch_id"] not in names:
            continue
        own = _hand(made, batch["batch_id"])
        assert 1.063 <= batch["og_sg"] <= 1.067
        assert 0.9975 <= batch["fg_sg"] <= 1.0025
        assert 27.9 <= batch["peak_temp_c"] <= 30.8
        assert 12.0 <= batch["mid_h"] - 2 / batch["rate_per_h"] <= 20.0  # tangent lag
        done = batch["mid_h"] + np.log(0.97 / 0.03) / batch["rate_per_h"]
        assert 40.0 <= done <= 60.0
        assert own["ph"].iloc[0] == pytest.approx(5.3, abs=0.15)
        assert np.interp(48.0, own["hours"], own["ph"]) == pytest.approx(4.17, abs=0.15)
        assert 3.2 <= batch["final_ph"] <= 3.85
        assert own["hours"].diff().max() <= (9.5 if batch["batch_id"] == "Q25-03" else 8.51)


def test_one_assessor_stayed_away_once_and_one_sitting_was_served_once(made: Made) -> None:
    served = made.sheets["scores"].groupby("tasting_id")
    came = served["assessor_id"].nunique()
    assert came[came < 10].to_dict() == {"T24-3": 9}
    times = served["replicate"].max()
    assert times[times < 2].to_dict() == {"T25-4": 1}
    kinds = made.sheets["scores"].groupby("tasting_id")["sample_kind"].unique()
    assert all(set(kind) == {"batch", "control"} for kind in kinds)
    batches = served["batch_id"].nunique() - 1
    assert batches.between(5, 6).all()


def test_every_serving_has_a_place_of_its_own(made: Made) -> None:
    glasses = made.sheets["scores"].drop_duplicates(
        ["tasting_id", "assessor_id", "batch_id", "replicate"]
    )
    for _, own in glasses.groupby(["tasting_id", "assessor_id"]):
        assert sorted(own["position"]) == list(range(1, len(own) + 1))


def test_length_and_final_ph_are_tied_and_peak_stands_apart(made: Made) -> None:
    batches = pd.DataFrame(made.truth["batches"])
    sound = batches[batches["fault"] == ""]
    together = sound[["length_h", "final_ph", "peak_temp_c"]].corr().to_numpy()
    assert together[0, 1] < -0.85
    assert abs(together[0, 2]) < 0.35
    assert made.truth["tied"][0]["pair"] == ["length_h", "final_ph"]
    grown = made.sheets["lots"].groupby("variety")["grower_id"].unique()
    assert grown["Tarrowhite"].tolist() == ["G11"]


PLANTED = [(a, name, slope) for a, by in EFFECTS.slopes.items() for name, slope in by.items()]


def test_plain_regression_on_panel_means_finds_the_planted_slopes_on_average() -> None:
    """Six pairs of harvests: the mean estimate lies within three of its errors of the truth."""
    found = np.array([_estimates(simulate(100 + number))[0] for number in range(6)])
    error = found.std(axis=0, ddof=1) / np.sqrt(len(found))
    wanted = np.array([slope for _, _, slope in PLANTED])
    assert (np.abs(found.mean(axis=0) - wanted) < 3 * error).all()
    assert (error < 0.10).all()


def test_at_the_kept_seed_every_planted_slope_lies_within_one_error(made: Made) -> None:
    found, error = _estimates(made)
    wanted = np.array([slope for _, _, slope in PLANTED])
    assert (np.abs(found - wanted) < error).all()


def _estimates(made: Made) -> tuple[np.ndarray, np.ndarray]:
    """Each planted slope and its error, by least squares on the panel's mean scores."""
    batches = pd.DataFrame(made.truth["batches"]).set_index("batch_id")
    batches = batches[batches["profile"].notna()]
    columns = [np.ones(len(batches)), batches["season"] == 2025]
    columns += [batches["variety"] == "Tarrowhite"]
    columns += [batches["fault"] == kind for kind in ("stuck", "early_lactic", "old_yeast")]
    columns += [
        (batches[name].astype(float) - DRIVER_CENTRES[name]) / DRIVER_UNITS[name]
        for name in DRIVER_UNITS
    ]
    design = np.column_stack([np.asarray(column, dtype=float) for column in columns])
    scores = made.sheets["scores"].query("sample_kind == 'batch'")
    people = scores.groupby(["assessor_id", "attribute"])["score"].transform("mean")
    means = scores.assign(score=scores["score"] - people).pivot_table(
        index="batch_id", columns="attribute", values="score"
    )
    slopes, squares, *_ = np.linalg.lstsq(design, means.loc[batches.index].to_numpy(), rcond=None)
    spread = np.diag(np.linalg.inv(design.T @ design))[:, None]
    errors = np.sqrt(spread * squares / (len(design) - design.shape[1]))
    place = {name: len(columns) - len(DRIVER_UNITS) + at for at, name in enumerate(DRIVER_UNITS)}
    cells = [(place[name], list(means.columns).index(a)) for a, name, _ in PLANTED]
    return np.array([slopes[at] for at in cells]), np.array([errors[at] for at in cells])


def test_attributes_without_batch_differences_have_none(made: Made) -> None:
    assert made.truth["no_batch_differences"] == ["soapy", "buttery"]
    profile = pd.DataFrame([b["profile"] for b in made.truth["batches"] if b["profile"]])
    assert (profile[["soapy", "buttery"]].std() == 0).all()
    others = [name for name in ATTRIBUTES if name not in ("soapy", "buttery")]
    assert (profile[others].std() > 0.2).all()


def test_other_seasons_can_be_made(made: Made) -> None:
    still = simulate(SEED, faults=())
    assert still.truth["faults"] == []
    longer = simulate(3, seasons=range(2022, 2026))
    assert len(longer.sheets["fermentations"]) == 120
    assert not longer.sheets["fermentations"]["batch_id"].duplicated().any()
    flat = simulate(SEED, replace(EFFECTS, slopes={}, grower_sd={}, batch_sd={}, variety={}))
    assert set(flat.truth["no_batch_differences"]) > {"cereal", "pungent", "soapy"}
    assert flat.sheets["readings"].equals(made.sheets["readings"])


def test_the_command_writes_where_it_is_told(tmp_path: Path) -> None:
    assert main(["--seed", "7", "--out", str(tmp_path)]) == 0
    assert (tmp_path / "truth.json").stat().st_size > 10_000
    names = sorted(path.name for path in (tmp_path / "sheets").iterdir())
    assert names == sorted(path.name for path in (DEMO / "sheets").iterdir())


def test_it_runs_as_a_script_from_anywhere(tmp_path: Path) -> None:
    told = subprocess.run(
        [sys.executable, str(DEMO / "make.py"), "--out", str(tmp_path)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "60 fermentations" in told.stdout
    assert (tmp_path / "truth.json").read_bytes() == (DEMO / "truth.json").read_bytes()
