"""What an intake would do: links, repeats, clashes, and the account of every row."""

from __future__ import annotations

import pandas as pd
import pytest

from origin_compare.answers import Answer
from origin_compare.errors import RefusedFile
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.plan import plan_intake, sheets_in_order
from origin_compare.measures import sg_at_20c
from origin_compare.reports.exports import safe_csv
from origin_compare.sheets.catalogue import SHEETS
from tests.intake.helpers import SEASON, balanced, plan, rules, said


def test_a_sound_season_comes_in_whole() -> None:
    planned = plan(SEASON, known={})
    assert planned.is_clean and said(planned, "warning") == []
    assert {name: len(frame) for name, frame in planned.sheets.items() if len(frame)} == {
        "growers": 2,
        "lots": 2,
        "malts": 2,
        "mashes": 2,
        "fermentations": 2,
        "readings": 3,
    }
    assert planned.sentence() == (
        "Takes in 2 growers, 2 lots, 2 malt rows, 2 mash rows, 2 fermentations and 3 readings."
    )
    assert planned.rests_on() == "6 files, 13 rows read."
    assert isinstance(planned, Answer) and balanced(planned)


def test_every_sheet_has_every_column_with_its_type() -> None:
    for frames in (plan(SEASON).sheets, plan({"growers.csv": "grower_id\nG1\n"}).sheets):
        assert list(frames) == list(SHEETS)
        for name, sheet in SHEETS.items():
            frame = frames[name]
            assert list(frame.columns) == [*sheet.names(), "_file", "_tab", "_row"]
            for column in sheet.columns:
                expected = {
                    "count": "Int64",
                    "date": "datetime64[us]",
                    "moment": "datetime64[us, UTC]",
                    "key": "str",
                    "text": "str",
                }.get(column.kind, "float64")
                assert str(frame[column.name].dtype) == expected, (name, column.name)


def test_sheets_come_after_those_they_point_to() -> None:
    seen: set[str] = set()
    for sheet in sheets_in_order():
        assert {c.links_to for c in sheet.columns if c.links_to} <= seen
        seen.add(sheet.name)
    assert seen == set(SHEETS)


def test_provenance_keeps_file_row_and_raw_text() -> None:
    planned = plan({**SEASON, "readings.csv": "Batch;Time;SG\nB1;01.03.2025 16:00;1,0500\n"})
    row = planned.sheets["readings"].iloc[0]
    assert (row["_file"], row["_row"]) == ("readings.csv", 2)
    written = planned.raw_texts(planned.sheets["readings"]).iloc[0]
    assert written == '{"Batch": "B1", "Time": "01.03.2025 16:00", "SG": "1,0500"}'


def test_a_link_that_leads_nowhere_sets_its_row_aside() -> None:
    lots = "lot_id,grower_id,season\nL1,G1,2025\nL2,G9,2025\n"
    planned = plan({**SEASON, "lots.csv": lots}, known={})
    assert said(planned) == [
        "lots.csv row 3, grower_id: G9 is not in growers. Add it to growers, or correct it here.",
        "malts.csv row 3, lot_id: L2 waits for its row in lots, which was set aside (lots.csv "
        "row 3). Mend that row first, then bring both again.",
        "mashes.csv row 3, malt_id: M2 waits for its row in malts, which was set aside (malts.csv "
        "row 3). Mend that row first, then bring both again.",
    ]
    assert balanced(planned)


@pytest.mark.parametrize(
    ("grower", "meant"), [("g1", "G1"), ("G-1", "G1"), ("G01", "G1"), ("G3", None)]
)
def test_a_name_spelled_another_way_is_pointed_out(grower: str, meant: str | None) -> None:
    planned = plan({**SEASON, "lots.csv": f"lot_id,grower_id,season\nL1,{grower},2025\n"}, known={})
    mend = (
        f"Was {meant} meant? Write it exactly so."
        if meant
        else ("Add it to growers, or correct it here.")
    )
    assert said(planned)[0] == f"lots.csv row 2, grower_id: {grower} is not in growers. {mend}"


def test_a_name_written_in_two_ways_is_a_warning() -> None:
    lots = (
        "lot_id,grower_id,season,variety\nL1,G1,2025,Ostrel\nL2,G2,2025,ostrel\nL3,G2,2025,Ostrel\n"
    )
    planned = plan({**SEASON, "lots.csv": lots})
    assert planned.is_clean and said(planned, "warning") == [
        "lots.csv row 3, variety: ostrel is written Ostrel in 2 other rows. Write it the same way "
        "if it is the same; now it counts as another."
    ]


def test_an_assessor_written_otherwise_than_in_the_store_is_a_warning() -> None:
    head = "tasting_id,assessor_id,batch_id,attribute,score\n"
    first = {**SEASON, "scores.csv": head + "T1,A01,B1,oily,3\n"}
    known = plan(first).sheets
    second = {"scores.csv": head + "T2,A01,B1,oily,3\nT2,a1,B2,oily,3\n"}
    assert said(plan(second, known=known), "warning") == [
        "scores.csv row 3, assessor_id: a1 is written A01 in 2 other rows. Write it the same way "
        "if it is the same; now it counts as another."
    ]


def test_a_link_to_the_store_is_enough() -> None:
    known = {name: plan(SEASON).sheets[name] for name in ("growers", "lots", "malts")}
    files = {name: SEASON[name] for name in ("mashes.csv", "fermentations.csv", "readings.csv")}
    assert plan(files, known=known).is_clean
    assert said(plan(files, known={}))[0] == (
        "mashes.csv row 2, malt_id: M1 is not in malts. Bring the malts sheet as well; there is "
        "none yet."
    )


def test_without_a_store_an_absent_sheet_is_said_once() -> None:
    planned = plan({"readings.csv": SEASON["readings.csv"]})
    assert planned.is_clean and len(planned.sheets["readings"]) == 3
    assert said(planned, "warning") == [
        "readings.csv: points to fermentations, of which there is no sheet, so these links are "
        "not checked. Bring the fermentations sheet as well."
    ]


def test_a_row_written_twice_is_kept_once() -> None:
    rows = SEASON["readings.csv"] + "B1,2025-03-01 16:00,1.0500,5.10,24\n"
    planned = plan({**SEASON, "readings.csv": rows})
    assert planned.is_clean and len(planned.sheets["readings"]) == 3
    assert said(planned, "warning") == [
        "readings.csv row 5: says the same as readings.csv row 2. It is kept once; nothing to mend."
    ]
    assert balanced(planned)


def test_a_figure_that_differs_in_its_last_binary_digit_alone_is_the_same() -> None:
    first = "batch_id,read_at,temp_c\nB1,2025-03-01 16:00,21.0\n"
    again = "batch_id,read_at,temp (°F)\nB1,2025-03-01 16:00,69.8\n"
    alone = plan({**SEASON, "readings.csv": again}).sheets["readings"]["temp_c"]
    assert alone.tolist() != [21.0] and alone.round(9).tolist() == [21.0]
    planned = plan({**SEASON, "readings.csv": first, "readings more.csv": again})
    assert planned.is_clean and planned.sheets["readings"]["temp_c"].tolist() == [21.0]
    assert planned.account.set_index("file")["repeated"]["readings more.csv"] == 1


def test_the_same_key_with_other_content_names_both_places() -> None:
    more = "batch_id,read_at,sg\nB1,2025-03-01 16:00,1.0480\n"
    planned = plan({**SEASON, "readings more.csv": more})
    assert said(planned) == [
        "readings more.csv row 2, sg: 1.0480 differs from 1.0500 in readings.csv row 2, which is "
        "the same batch_id B1, read_at 2025-03-01 16:00 UTC, instrument hand. Keep the right one "
        "of the two rows."
    ]
    assert list(planned.set_aside) == ["readings more.csv"] and balanced(planned)


def test_what_the_store_has_already_changes_nothing() -> None:
    planned = plan(SEASON, known=plan(SEASON).sheets)
    assert planned.is_clean and all(frame.empty for frame in planned.sheets.values())
    assert planned.already_there == {
        "growers": 2,
        "lots": 2,
        "malts": 2,
        "mashes": 2,
        "fermentations": 2,
        "readings": 3,
    }
    assert planned.sentence() == (
        "Takes in nothing new. 13 rows already in the store: nothing changes there."
    )
    assert balanced(planned)


def test_a_clash_with_the_store_names_old_and_new() -> None:
    known = plan(SEASON).sheets
    changed = SEASON["fermentations.csv"].replace("1.0660", "1.0760")
    planned = plan({**SEASON, "fermentations.csv": changed}, known=known)
    assert said(planned) == [
        "fermentations.csv row 3, og_sg: 1.0760 clashes with the store, which has 1.0660 for "
        "batch_id B2. If the file is right, correct the row in the store; if not, mend the file."
    ]
    assert len(planned.set_aside["fermentations.csv"]) == 1 and balanced(planned)


def test_a_malt_goes_aside_whole_when_one_part_does() -> None:
    malts = "malt_id,lot_id,grain_t\nM1,L1,10\nM1,L9,4\nM2,L2,9\n"
    planned = plan({**SEASON, "malts.csv": malts})
    assert said(planned)[:2] == [
        "malts.csv row 3, lot_id: L9 is not in lots. Add it to lots, or correct it here.",
        "malts.csv row 2, malt_id: M1 has another part that was set aside (malts.csv row 3). Mend "
        "that row, then bring all parts again: its origin must be known in full.",
    ]
    assert planned.sheets["malts"]["malt_id"].tolist() == ["M2"] and balanced(planned)


def test_two_figures_for_one_part_keep_the_first() -> None:
    malts = "malt_id,lot_id,grain_t\nM1,L1,10\nM1,L1,11\nM2,L2,9\n"
    planned = plan({**SEASON, "malts.csv": malts})
    assert said(planned) == [
        "malts.csv row 3, grain_t: 11 differs from 10 in malts.csv row 2, which is the same "
        "malt_id M1, lot_id L1. Keep the right one of the two rows."
    ]


def test_a_reading_of_another_year_is_a_fault() -> None:
    rows = SEASON["readings.csv"] + "B1,2024-03-01 16:00,1.05,,\nB2,2025-06-01 16:00,1.0,,\n"
    planned = plan({**SEASON, "readings.csv": rows})
    assert said(planned) == [
        "readings.csv row 5, read_at: 2024-03-01 16:00 UTC is 8,752 h before yeast in (2025-03-01 "
        "08:00 UTC). Check the year and the batch number.",
        "readings.csv row 6, read_at: 2025-06-01 16:00 UTC is 2,192 h after yeast in (2025-03-02 "
        "08:00 UTC). Check the year and the batch number.",
    ]
    assert balanced(planned)


def test_hours_that_contradict_the_clock_are_a_fault() -> None:
    rows = "batch_id,read_at,hours,sg\nB1,2025-03-01 16:00,8,1.05\nB1,2025-03-02 00:00,6,1.04\n"
    assert said(plan({**SEASON, "readings.csv": rows})) == [
        "readings.csv row 3, hours: 6 differs from the 16.0 h that read_at and yeast in give. "
        "Correct the one that is wrong, or leave the hours out."
    ]


def test_a_batch_is_not_distilled_before_it_is_pitched() -> None:
    runs = "batch_id,distilled_on,new_make_l\nB1,2024-03-07,900\nB2,2025-03-07,910\n"
    assert said(plan({**SEASON, "spirits.csv": runs})) == [
        "spirits.csv row 2, distilled_on: 2024-03-07 is before yeast in (2025-03-01 08:00 UTC). "
        "Check the year and the batch number."
    ]


def test_rows_set_aside_can_be_mended_and_read_back() -> None:
    bad = SEASON["readings.csv"].replace("2025-03-02 00:00", "2025-03-32 00:00")
    planned = plan({**SEASON, "readings.csv": bad})
    aside = planned.set_aside["readings.csv"]
    assert list(aside.columns) == ["batch_id", "read_at", "sg", "ph", "temp_c", "what to mend"]
    assert aside["what to mend"].tolist() == [
        "read_at: 2025-03-32 00:00 is no moment that can be read. Write it like 14/03/2025 08:00."
    ]
    assert aside.index.tolist() == [3]
    mended = safe_csv(aside).replace(b"2025-03-32", b"2025-03-02")
    again = plan({**SEASON, "readings.csv": mended})
    assert again.is_clean and said(again, "warning") == []
    assert again.sheets["readings"]["ph"].tolist() == [4.6]


def test_a_bad_cell_is_set_aside_and_its_row_goes_in() -> None:
    planned = plan({**SEASON, "readings.csv": SEASON["readings.csv"].replace("4.6", "46")})
    assert said(planned) == [
        "readings.csv row 3, ph: 46 is outside 2.5 to 7.0. A decimal point lost? Write 4.6."
    ]
    readings = planned.sheets["readings"]
    assert readings["ph"].isna().tolist() == [False, True, False]
    assert readings["sg"].tolist() == [1.05, 1.031, 1.052]
    assert "1 cell is set aside; its row goes in without." in planned.sentence()
    assert not planned.is_clean and balanced(planned)


def test_a_row_left_without_any_figure_is_set_aside() -> None:
    text = "batch_id,read_at,ph\nB1,2025-03-01 16:00,46\nB1,2025-03-02 00:00,4.6\n"
    planned = plan({**SEASON, "readings.csv": text})
    assert planned.sheets["readings"]["ph"].tolist() == [4.6]
    assert planned.set_aside["readings.csv"].index.tolist() == [2]


def test_marks_and_limits_are_kept_as_remarks() -> None:
    text = (
        "batch_id,read_at,sg,ph,note\n"
        "B1,2025-03-01 16:00,1050.5*,5.1,\nB1,2025-03-02 00:00,~1031,<4.5,cold\n"
    )
    readings = plan({**SEASON, "readings.csv": text}).sheets["readings"]
    assert readings["sg"].tolist() == [1.0505, 1.031]
    assert readings["note"].tolist() == ["sg: 1050.5*", "cold; sg: ~1031; ph: <4.5"]
    assert readings["ph"].isna().tolist() == [False, True]


def test_a_control_sample_need_not_be_a_batch() -> None:
    scores = (
        "tasting_id,assessor_id,batch_id,sample_kind,attribute,score\n"
        "T1,A1,B1,batch,fruity,4\nT1,A1,HOUSE,control,fruity,5\nT1,A1,B7,,fruity,5\n"
    )
    planned = plan({**SEASON, "scores.csv": scores})
    assert said(planned) == [
        "scores.csv row 4, batch_id: B7 is not in fermentations. Add it to fermentations, or "
        "correct it here."
    ]


def test_nothing_brought_in_is_refused() -> None:
    with pytest.raises(RefusedFile) as refusal:
        plan_intake([], rules())
    assert str(refusal.value) == (
        "No files were brought in. Choose the sheets of a season: CSV or XLSX."
    )


def test_files_that_are_no_tables_are_left_alone() -> None:
    planned = plan({**SEASON, "README.md": "hello", "truth.json": "{}"})
    assert planned.is_clean
    assert planned.left_alone == (
        ("README.md", ".md is not a table"),
        ("truth.json", ".json is not a table"),
    )
    assert planned.rests_on() == "8 files, 13 rows read; left alone: README.md and truth.json."


def test_the_account_is_one_row_per_table() -> None:
    planned = plan({**SEASON, "odd.csv": "foo,bar\n1,2\n\n3,4\n"})
    odd = planned.table().iloc[-1]
    assert odd.to_dict() == {
        "file": "odd.csv",
        "sheet": "",
        "read": 3,
        "good": 0,
        "set_aside": 2,
        "already_there": 0,
        "repeated": 0,
        "blank": 1,
        "warnings": 0,
    }
    assert planned.offers[0].headers == ("foo", "bar")
    assert isinstance(planned.fault_table(), pd.DataFrame)


def test_a_hydrometer_read_warm_is_corrected_when_told_so_and_both_are_kept() -> None:
    text = (
        "batch_id,Hours,Gravity uncorrected,Temp,Sample temp (°F)\n"
        "B1,8,1.0500,24,86\nB1,16,1.0310,25,\n"
    )
    columns = {"batch_id": "batch_id", "Hours": "hours", "Temp": "temp_c"}
    columns |= {"Gravity uncorrected": "sg", "Sample temp (°F)": "ignore"}
    files = {**SEASON, "r.csv": text, "readings.csv": ""}
    held = plan(files, plans=[ReadingPlan("readings", columns)])
    assert held.sheets["readings"].empty
    assert any("be corrected to 20 °C" in one for one in said(held))
    answers = {"hydrometer": "correct it, the hydrometer is calibrated at 20 °C"}
    told = ReadingPlan("readings", columns, answers=answers)
    planned = plan(files, plans=[told])
    readings = planned.sheets["readings"]
    assert readings["sg"].iloc[0] == pytest.approx(float(sg_at_20c(1.05, 30.0)))
    assert readings["note"].iloc[0] == "Gravity uncorrected: as read 1.0500 at 30 °C"
    assert readings["sg"].isna().tolist() == [False, True]
    assert any("cannot be corrected to 20 °C" in one for one in said(planned))
