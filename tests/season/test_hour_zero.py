"""From which moment hours count: the house's choice, and what is said where it is not recorded."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from alembic import command
from sqlalchemy import create_engine

from origin_compare import open_store
from origin_compare.fermentation import derived, review
from origin_compare.house import default_rules
from origin_compare.intake.plan import plan_intake
from origin_compare.season.join import build_season
from origin_compare.season.season import Season
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.fingerprint import _prints, content_prints
from origin_compare.sheets.frames import shaped
from origin_compare.sheets.hour_zero import hour_zero_said
from origin_compare.store.connect import _settings
from tests.store.small import sheets

BATCHES = (
    "batch,yeast in,first fill,last fill,ended\n"
    "B1,2025-11-03 08:00,2025-11-03 02:00,2025-11-03 10:00,2025-11-08 12:00\n"
    "B2,2025-11-04 08:00,,,2025-11-09 10:00\n"
)
READINGS = (
    "batch,read at,hours,sg\n"
    "B1,2025-11-03 12:00,,1.060\nB1,2025-11-04 04:00,,1.030\nB1,,30,1.020\n"
    "B2,2025-11-04 16:00,,1.055\n"
)


def counted_from(zero: str) -> Season:
    rules = replace(default_rules(), hour_zero=zero)
    files = [("fermentations.csv", BATCHES.encode()), ("readings.csv", READINGS.encode())]
    return build_season(plan_intake(files, rules).sheets, rules)


@pytest.mark.parametrize(
    ("zero", "hours", "length", "pitch", "said"),
    [
        ("yeast in", [4, 20, 30, 8], 124, 0, "Hour 0 is yeast in."),
        (
            "first fill",
            [10, 26, 30, 8],
            130,
            6,
            "Hour 0 is first fill; 1 batch has no first fill on record and counts from yeast in "
            "(B2).",
        ),
        (
            "last fill",
            [2, 18, 30, 8],
            122,
            -2,
            "Hour 0 is last fill; 1 batch has no last fill on record and counts from yeast in "
            "(B2).",
        ),
    ],
)
def test_hours_length_and_pitch_follow_the_house(
    zero: str, hours: list[float], length: float, pitch: float, said: str
) -> None:
    season = counted_from(zero)
    assert season.sheets["readings"]["hours"].tolist() == hours
    table = derived(season).table().set_index("batch_id")
    assert table.loc["B1", "length_h"] == length
    assert table.loc["B2", "length_h"] == 122
    opened = review(season, "B1")
    assert opened.hour_zero == zero
    events = opened.events.set_index("kind")
    assert events.loc["pitch", "hours"] == pitch
    assert hour_zero_said(season.batches, zero) == said


def test_hours_written_beside_the_clock_are_held_against_the_house_s_hour_zero() -> None:
    readings = b"batch,read at,hours,sg\nB1,2025-11-03 12:00,4,1.060\n"
    files = [("fermentations.csv", BATCHES.encode()), ("readings.csv", readings)]
    assert plan_intake(files, default_rules()).is_clean
    plan = plan_intake(files, replace(default_rules(), hour_zero="first fill"))
    assert [str(fault) for fault in plan.faults] == [
        "readings.csv row 2, hours: 4 differs from the 10.0 h that read_at and first fill give. "
        "Correct the one that is wrong, or leave the hours out."
    ]


def test_a_last_fill_before_the_first_is_a_fault() -> None:
    upside = BATCHES.replace("2025-11-03 02:00", "2025-11-03 11:00")
    plan = plan_intake([("fermentations.csv", upside.encode())], default_rules())
    assert [str(fault) for fault in plan.faults if fault.weight == "fault"] == [
        "fermentations.csv row 2, last_fill_at: 2025-11-03 10:00 UTC is before first_fill_at "
        "(2025-11-03 11:00 UTC). One of the two is wrong: check both."
    ]


def test_the_print_of_a_row_kept_before_there_were_fill_moments_is_still_its_print() -> None:
    frame = shaped("fermentations", sheets()["fermentations"])
    then = tuple(one.name for one in SHEETS["fermentations"].columns if one.since == 1)
    assert content_prints("fermentations", frame).tolist() == _prints(frame, then).tolist()
    filled = frame.assign(first_fill_at=frame["pitched_at"])
    assert (content_prints("fermentations", filled) != _prints(frame, then)).all()


def test_a_store_of_the_first_form_is_brought_up_to_date_and_keeps_its_rows(
    tmp_path: Path,
) -> None:
    url = f"sqlite:///{tmp_path / 'store.sqlite'}"
    engine = create_engine(url)
    with engine.begin() as link:
        command.upgrade(_settings(link), "0001")
    with engine.begin() as link:
        link.exec_driver_sql("INSERT INTO intakes VALUES (1, 0, 'AB', 'one batch')")
        link.exec_driver_sql(
            "INSERT INTO fermentations (intake_id, from_file, from_tab, from_row, raw_text, "
            "key_print, content_print, batch_id, pitched_at) "
            "VALUES (1, 'f.csv', '', 2, '{}', 11, 12, 'B1', 1762156800000000)"
        )
    engine.dispose()
    with open_store(url) as store:
        kept = store.sheet("fermentations")
        assert kept["batch_id"].tolist() == ["B1"]
        assert kept["first_fill_at"].isna().all()
        assert store.season().batches["hour_zero"].tolist() == ["yeast in"]
