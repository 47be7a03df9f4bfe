from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from origin_compare import RefusedFile
from origin_compare.season.folder import load_folder
from origin_compare.season.join import build_season
from origin_compare.season.package import canonical_text, export_package, read_package
from origin_compare.season.season import Season
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.frames import all_shaped
from tests.store import small


@pytest.fixture(scope="module")
def season() -> Season:
    sheets = small.sheets()
    sheets["fermentations"]["note"] = ["=1+1", "'-as written", None, '\' =2 said "so",\n; then']
    sheets["fermentations"].loc[0, "og_sg"] = 0.1 + 0.2 + 0.8
    sheets["readings"].loc[2, "hours"] = 7.75  # given, and not what the clock says
    fine = pd.Timestamp("2024-11-08 06:30:00.000001", tz="UTC")
    sheets["readings"].loc[0, "read_at"] = fine
    return build_season(sheets, site="the small one")


def test_an_exported_season_reads_back_identical(season: Season, tmp_path: Path) -> None:
    told = export_package(season, tmp_path / "out")
    assert told.sentence() == f"36 rows of 11 sheets written to {tmp_path / 'out'}."
    back = read_package(tmp_path / "out")
    pd.testing.assert_frame_equal(back.batches, season.batches, check_exact=True)
    for name, frame in season.sheets.items():
        pd.testing.assert_frame_equal(back.sheets[name], frame, check_exact=True)
    assert back.rules == season.rules
    assert back.site == season.site


def test_an_exported_season_can_be_taken_in_like_any_folder(tmp_path: Path) -> None:
    season = build_season(small.sheets())
    export_package(season, tmp_path / "out")
    back = load_folder(tmp_path / "out")
    told = [fault for fault in back.faults if fault.weight == "fault"]
    # The four rows without a partner are refused by the intake; everything else is the same.
    assert sorted({fault.sheet for fault in told}) == [
        *("fermentations", "mashes", "readings", "scores")
    ]
    whole = season.sheets["lots"]
    pd.testing.assert_frame_equal(back.sheets["lots"], whole)
    pd.testing.assert_frame_equal(back.sheets["spirits"], season.sheets["spirits"])


def test_the_description_says_type_unit_and_limits(season: Season, tmp_path: Path) -> None:
    export_package(season, tmp_path / "out")
    said = json.loads((tmp_path / "out" / "datapackage.json").read_text())
    assert said["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert [one["name"] for one in said["resources"]] == list(SHEETS)
    resources = {one["name"]: one for one in said["resources"]}
    for name, one in resources.items():
        header = (tmp_path / "out" / one["path"]).read_text().splitlines()[0]
        assert header.split(",") == [field["name"] for field in one["schema"]["fields"]]
        assert one["type"] == "table", name
    fields = {field["name"]: field for field in resources["lots"]["schema"]["fields"]}
    assert fields["season"] == {
        "name": "season",
        "type": "integer",
        "title": "harvest year",
        "constraints": {"required": True, "minimum": 1950, "maximum": 2100},
    }
    assert fields["sown_on"]["type"] == "date"
    assert resources["lots"]["schema"]["primaryKey"] == ["lot_id"]


def test_only_links_and_keys_that_hold_are_promised(season: Season, tmp_path: Path) -> None:
    export_package(season, tmp_path / "out")
    said = json.loads((tmp_path / "out" / "datapackage.json").read_text())
    schemas = {one["name"]: one["schema"] for one in said["resources"]}
    assert schemas["malts"]["foreignKeys"] == [
        {"fields": ["lot_id"], "reference": {"resource": "lots", "fields": ["lot_id"]}}
    ]
    assert "primaryKey" not in schemas["readings"], "a reading may lack its clock time"
    links = [link["fields"] for link in schemas["mashes"]["foreignKeys"]]
    assert links == [["batch_id"]], "malt M8 is in no malts sheet"
    assert "foreignKeys" not in schemas["scores"], "a control is no batch"


def test_a_folder_with_anything_in_it_is_left_alone(season: Season, tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("Dear grower")
    with pytest.raises(RefusedFile) as told:
        export_package(season, tmp_path)
    assert str(told.value) == f"{tmp_path}: this folder is not empty. Name a new one."
    assert [one.name for one in tmp_path.iterdir()] == ["letter.txt"]


def test_a_folder_that_is_no_package(tmp_path: Path) -> None:
    with pytest.raises(RefusedFile) as told:
        read_package(tmp_path)
    assert str(told.value) == (
        f"{tmp_path}: there is no datapackage.json in this folder. Check the path."
    )


def test_whole_seconds_are_written_without_a_fraction_where_a_moment_is_missing() -> None:
    batches = all_shaped(small.sheets())["fermentations"]
    assert batches["ended_at"].isna().any() and batches["ended_at"].notna().any()
    written = canonical_text("fermentations", batches)["ended_at"]
    assert written.dropna().tolist() == ["2024-11-13T14:00:00Z", "2024-11-13T04:30:00Z"]
