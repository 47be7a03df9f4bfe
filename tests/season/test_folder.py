from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import origin_compare
from origin_compare import RefusedFile
from origin_compare.house import default_rules
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.season.folder import folder_plans

LOG = "RUN,AT,D.PV\nB1,07.11.2024 16:00,1.0500\nB1,08.11.2024 00:00,1.0410\n"
BATCHES = "batch_id,pitched_at\nB1,2024-11-07 08:00\n"
HEADERS = '[[map]]\nsheet = "readings"\n[map.headers]\nRUN = "batch_id"\nAT = "read_at"\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "fermentations.csv").write_text(BATCHES)
    return tmp_path


def test_a_folder_is_joined_in_memory(folder: Path) -> None:
    (folder / "readings.csv").write_text("batch_id,hours,sg\nB1,8,1.05\nB1,16,9\nB1,24,1.02\n")
    season = origin_compare.load_folder(folder)
    assert season.batches["n_readings"].tolist() == [2]
    assert season.site == folder.name
    told = [str(fault) for fault in season.faults if fault.weight == "fault"]
    assert len(told) == 1
    assert told[0].startswith("readings.csv row 3, sg: 9 ")
    assert not list(folder.glob("*.sqlite*")), "nothing is stored"


def test_header_maps_in_the_folder_and_in_the_call(folder: Path) -> None:
    (folder / "log.csv").write_text(LOG)
    (folder / "headers.toml").write_text(HEADERS + '"D.PV" = "sg"\n')
    assert folder_plans(folder) == (
        ReadingPlan("readings", {"RUN": "batch_id", "AT": "read_at", "D.PV": "sg"}),
    )
    by_file = origin_compare.load_folder(folder)
    (folder / "headers.toml").unlink()
    mapped = ReadingPlan("readings", {"RUN": "batch_id", "AT": "read_at", "D.PV": "sg"})
    by_call = origin_compare.load_folder(folder, plans=[mapped])
    assert by_file.sheets["readings"]["hours"].tolist() == [8.0, 16.0]
    pd.testing.assert_frame_equal(by_file.sheets["readings"], by_call.sheets["readings"])


def test_house_rules_in_the_folder_give_way_to_those_in_the_call(folder: Path) -> None:
    (folder / "house_rules.toml").write_text('time_zone = "Asia/Tokyo"\n')
    assert origin_compare.load_folder(folder).rules.time_zone == "Asia/Tokyo"
    given = replace(default_rules(), time_zone="Europe/Dublin")
    season = origin_compare.load_folder(folder, given)
    assert season.batches["pitched_at"].tolist() == [pd.Timestamp("2024-11-07 08:00", tz="UTC")]


@pytest.mark.parametrize(
    ("text", "cause"),
    [
        ("[[map]\n", "Expected ']]' at the end of an array declaration (at line 1, column 6)"),
        ('[[map]]\nsheet = "readings"\n', "it names neither its kind nor any columns"),
        ('[[map]]\nsheet = "casks"\nheaders = { A = "ph" }\n', "'casks' is no sheet."),
        (HEADERS + 'OLD = "colour"\n', "'colour' is no column of readings."),
    ],
)
def test_a_header_map_that_is_none_is_refused(folder: Path, text: str, cause: str) -> None:
    (folder / "headers.toml").write_text(text)
    with pytest.raises(RefusedFile) as told:
        origin_compare.load_folder(folder)
    said = str(told.value)
    assert said.startswith(f"{folder / 'headers.toml'}: this is no reading plan: {cause}")
    assert said.endswith("Write a [[plan]] with a sheet and its columns.")


def test_no_folder_and_no_table() -> None:
    with pytest.raises(RefusedFile) as told:
        origin_compare.load_folder("nowhere")
    assert str(told.value) == "nowhere: there is no such folder. Check the path."
