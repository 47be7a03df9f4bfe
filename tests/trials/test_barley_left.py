"""Barley for the next batches, and the plan as a sheet that the intake reads back."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from origin_compare import load_folder
from origin_compare.drivers.slopes.randomised import drawn_by_lot
from origin_compare.reports.exports import safe_csv
from origin_compare.trials import Choices, next_trials
from origin_compare.trials.barley_left import barley_left, grain_per_batch_t, lots_to_come
from origin_compare.trials.plan_sheet import run_sheet

SHEETS = {
    "lots": pd.DataFrame(
        {
            "lot_id": ["L1", "L2", "L3"],
            "grower_id": ["G1", "G1", "G2"],
            "season": [2024, 2025, 2025],
            "delivered_t": [20.0, 15.0, np.nan],
        }
    ),
    "malts": pd.DataFrame(
        {"malt_id": ["M1", "M2"], "lot_id": ["L1", "L1"], "grain_t": [6.0, 6.0], "tonnes": 5.0}
    ),
    "mashes": pd.DataFrame({"batch_id": ["B1", "B2", "B2"], "grist_kg": [5000.0, 2000.0, 3000.0]}),
}


def test_what_is_left_of_a_lot_and_how_many_batches_it_makes() -> None:
    assert grain_per_batch_t(SHEETS) == pytest.approx(6.0)
    made = pd.DataFrame({"lot_id": ["L1", "L1", None]})
    left = barley_left(SHEETS, made).set_index("lot_id")
    assert list(left.index) == ["L2", "L3", "L1"]
    assert left.loc["L1", "left_t"] == 8.0
    assert np.isnan(left.loc["L3", "left_t"])
    assert left["earlier"].to_dict() == {"L2": 0, "L3": 0, "L1": 2}
    rows = left.reset_index().rename(columns={"left_t": "tonnes"})
    coming = lots_to_come(rows[rows["lot_id"] != "L3"], 6.0)
    assert coming["most"].tolist() == [2.0, 1.0]


@pytest.mark.parametrize(
    ("tonnes", "per_batch", "says"),
    [
        (
            4.0,
            6.0,
            "Lot L1: 4.0 t is less than the 6.0 t that one batch takes. Leave it out, or state "
            "smaller batches.",
        ),
        (
            4.0,
            np.nan,
            "How much grain one batch takes is not known, so tonnes cannot be turned into batches. "
            "State the tonnes a batch takes.",
        ),
    ],
)
def test_too_little_grain_is_told(tonnes: float, per_batch: float, says: str) -> None:
    rows = pd.DataFrame({"lot_id": ["L1"], "grower_id": ["G1"], "tonnes": [tonnes]})
    with pytest.raises(ValueError, match=f"^{re.escape(says)}$"):
        lots_to_come(rows, per_batch)


def test_blank_lines_and_lots_of_unknown_weight() -> None:
    rows = pd.DataFrame({"lot_id": [" ", None, "L9"], "grower_id": "", "tonnes": np.nan})
    coming = lots_to_come(rows, np.nan)
    assert coming["lot_id"].tolist() == ["L9"]
    assert coming["most"].isna().all()


def test_the_run_sheet_says_what_to_aim_at_and_what_was_drawn() -> None:
    settings = {"length_h": [96.0, 132.0], "peak_temp_c": [28.0, 31.0]}
    lots = pd.DataFrame({"lot_id": ["L1"], "grower_id": ["G1"]})
    plan = next_trials(Choices(settings, lots, ["W1", "W2"]), 4, 0.5)
    sheet = run_sheet(plan)
    assert (sheet["planned_h"] == plan.runs["length_h"]).all()
    assert (sheet["vessel"] == plan.runs["vessel"]).all()
    assert {drawn_by_lot(note) for note in sheet["note"]} == {frozenset(settings)}
    assert re.fullmatch(
        r"Randomised trial of length and peak temperature: run 1 of 4; lot L1; aim at "
        r"length (96|132) and peak temperature (28|31)",
        sheet["note"].iloc[0],
    )


def test_the_filled_run_sheet_is_read_back_by_the_intake(tmp_path: Path) -> None:
    settings = {"length_h": [96.0, 132.0], "pitch_temp_c": [19.0, 22.0]}
    sheet = run_sheet(next_trials(Choices(settings, vessels=["W1", "W2"]), 4, 0.5))
    sheet["batch_id"] = [f"T{k}" for k in range(4)]
    sheet["pitched_at"] = [f"2026-01-{5 + 7 * k:02d} 08:00" for k in range(4)]
    (tmp_path / "run_sheet.csv").write_bytes(safe_csv(sheet))
    made = load_folder(tmp_path).batches.set_index("batch_id")
    assert made["planned_h"].tolist() == sheet["planned_h"].tolist()
    assert made["pitch_temp_c"].tolist() == sheet["pitch_temp_c"].tolist()
    assert made["vessel"].tolist() == sheet["vessel"].tolist()
    assert {drawn_by_lot(note) for note in made["note"]} == {frozenset(settings)}
