"""The messy files, read by the program, give back the clean frames and just the planted faults."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import origin_compare
from demo_harvests.make import Made, make
from origin_compare.season.season import Season
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.faults import Fault

DEMO = Path(__file__).resolve().parents[2] / "demo_harvests"

WRITTEN_TO = {
    ("mashes", "wort_sg"): 2.5e-5,  # typed as °P with two decimals, 0.01 °P is 4e-5
    ("mashes", "strike_temp_c"): 0.003,  # typed as °F with two decimals
    ("fermentations", "og_sg"): 1e-9,
    ("readings", "hours"): 1e-9,
}
"""How far a value may be from the clean one, where it was typed in another unit."""


@pytest.fixture(scope="module")
def made() -> Made:
    return make()


@pytest.fixture(scope="module")
def season() -> Season:
    return origin_compare.load_folder(DEMO / "sheets")


@pytest.fixture(scope="module")
def planted() -> list[dict[str, Any]]:
    truth = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))
    faults: list[dict[str, Any]] = truth["file_faults"]
    return faults


def _without_lost(
    clean: pd.DataFrame, sheet: str, planted: list[dict[str, Any]], cells: set[tuple[object, ...]]
) -> pd.DataFrame:
    """The clean rows without what planted faults cost: the row, or only the faulty cells."""
    for fault in planted:
        if fault["sheet"] != sheet or not fault["lost"]:
            continue
        same = pd.Series(True, index=clean.index)
        for name, value in fault["lost"].items():
            same &= clean[name].astype(str) == value
        assert same.sum() in (1, 14), fault  # a row of a wide score sheet holds 14 scores
        of_row = [one[2] for one in cells if one[:2] == (fault["file"], fault["row"])]
        if fault["wrong"] == "gravity in the pH column":
            of_row.append("sg")  # whose own cell is empty
        for column in of_row:
            if column in clean:
                clean = clean.assign(**{str(column): clean[column].mask(same)})
            else:
                clean = clean[~(same & (clean["attribute"] == column))]
        clean = clean if of_row else clean[~same]
    return clean


def _added(sheet: str, planted: list[dict[str, Any]], cells: set[tuple[object, ...]]) -> int:
    """Rows of which no clean one is known, planted for one faulty cell of theirs: they go in."""
    return sum(
        fault["sheet"] == sheet
        and not fault["lost"]
        and (fault["file"], fault["row"], fault["column"]) in cells
        for fault in planted
    )


def _in_order(frame: pd.DataFrame, sheet: str) -> pd.DataFrame:
    key = [name for name in SHEETS[sheet].key if name in frame]
    return frame.sort_values(key, ignore_index=True)


@pytest.mark.parametrize("sheet", list(SHEETS))
def test_the_files_read_back_to_the_clean_frames(
    sheet: str, made: Made, season: Season, planted: list[dict[str, Any]]
) -> None:
    cells = {_place(fault) for fault in season.faults if fault.weight == "cell"}
    clean = _without_lost(made.sheets[sheet], sheet, planted, cells)
    wanted, found = _in_order(clean, sheet), _in_order(season.sheets[sheet], sheet)
    assert len(found) == len(wanted) + _added(sheet, planted, cells)
    key = list(SHEETS[sheet].key)
    if len(found) > len(wanted):
        found = found[found[key[0]].isin(wanted[key[0]])].reset_index(drop=True)
    for name in map(str, wanted.columns):
        if pd.api.types.is_numeric_dtype(wanted[name]):
            assert (found[name].isna() == wanted[name].isna()).all(), name
            apart = (found[name].astype(float) - wanted[name].astype(float)).abs().max()
            assert apart <= WRITTEN_TO.get((sheet, name), 1e-9), name
        elif pd.api.types.is_datetime64_any_dtype(wanted[name]):
            assert (found[name].isna() == wanted[name].isna()).all(), name
            assert (found[name] - wanted[name]).abs().max() <= pd.Timedelta(0), name
        else:
            assert found[name].fillna("").tolist() == wanted[name].fillna("").tolist(), name


def _place(fault: Fault) -> tuple[str, int | None, str]:
    return fault.file.split(" tab ")[0], fault.row, fault.column


def test_the_faults_found_are_those_planted(season: Season, planted: list[dict[str, Any]]) -> None:
    found = sorted(_place(fault) for fault in season.faults if fault.is_to_mend)
    wanted = [(f["file"], f["row"], f["column"]) for f in planted if f["column"]]
    assert found == sorted(wanted)


def test_what_is_only_warned_of_is_the_repeated_row_and_the_old_yeast(
    made: Made, season: Season, planted: list[dict[str, Any]]
) -> None:
    repeated = [(f["file"], f["row"], f["column"]) for f in planted if not f["column"]]
    weak = made.sheets["yeasts"]["viability_pct"].argmin()
    # one header line above, and the planted delivery comes between the two harvests
    weak_yeast = ("yeasts.csv", int(weak) + 3, "viability_pct")
    found = [_place(fault) for fault in season.faults if fault.weight == "warning"]
    assert sorted(found) == sorted([*repeated, weak_yeast])


def test_every_distilled_batch_is_joined_from_field_to_panel(made: Made, season: Season) -> None:
    batches = season.batches.set_index("batch_id")
    assert batches["missing_links"].value_counts().to_dict() == {"": 59, "still fermenting": 1}
    assert batches["origin"].value_counts().to_dict() == {
        "one field": 58,
        "one grower": 1,
        "mixed": 1,
    }
    assert batches.loc["Q25-09", "growers"] == "G09 + G12"
    shares = season.shares.set_index(["batch_id", "grower_id"])["share"]
    for batch in made.truth["batches"]:
        for grower, share in batch["grower_shares"].items():
            there = shares.loc[(batch["batch_id"], grower)]
            assert float(there.sum()) == pytest.approx(share, abs=2e-3), batch["batch_id"]


def test_the_hour_that_comes_twice_is_told_apart(season: Season) -> None:
    readings = season.sheets["readings"].query("batch_id == 'Q24-03'")
    night = readings[readings["read_at"].dt.strftime("%Y-%m-%d %H") == "2024-10-27 00"]
    after = readings[readings["read_at"].dt.strftime("%Y-%m-%d %H") == "2024-10-27 01"]
    assert night["read_at"].dt.strftime("%H:%M").tolist() == ["00:20"]
    assert after["read_at"].dt.strftime("%H:%M").tolist() == ["01:05"]
