"""From a figure to its cell and back: traced, downloaded, corrected with who and why."""

from __future__ import annotations

from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from origin_compare import words
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.store.store import open_store
from origin_compare.trace import correct as correct_in_store
from origin_compare.trace import trace
from origin_compare.trace.cell_origin import original_of
from tests.front.reading import downloads, opened, said, table_with, told

CELL = {
    "what": "a recorded cell",
    "sheet": "fermentations",
    "key": "Q25-09",
    "column": "original gravity",
}


@pytest.fixture(autouse=True)
def no_cached_answers() -> None:
    st.cache_resource.clear()


def test_no_two_columns_of_a_sheet_are_called_the_same() -> None:
    for sheet in SHEETS.values():
        assert len({words.label(name) for name in sheet.names()}) == len(sheet.names())


def correct(app: AppTest, new: str, who: str, why: str) -> AppTest:
    boxes = {box.label: box for box in app.text_input}
    next(box for label, box in boxes.items() if "as it would stand" in label).set_value(new)
    boxes["Who"].set_value(who)
    boxes["Why"].set_value(why)
    return next(one for one in app.button if one.label == "Correct this cell").click().run()


def test_an_address_opens_the_cell_with_the_text_as_written(full: Path) -> None:
    app = opened("trace", **CELL)
    assert not app.exception
    assert (
        "original gravity of Q25-09 is 1.0654; it came from fermentations_2025.csv row 11, written "
        "'1.0654' there, taken in by tests on" in said(app)
    )
    row = table_with(app, "as written").set_index("cell")
    assert row.loc["pitched at", "as written"] == "2025-12-16 11:43"
    assert row.loc["vessel", "value"] == "W3"
    labels = downloads(app)
    assert "The original file, fermentations_2025.csv" in labels
    assert "Nothing in the store was corrected yet." in said(app)


def test_a_reading_and_a_score_are_found_by_their_whole_key(full: Path) -> None:
    app = opened("trace", what="a recorded cell", sheet="readings", key="Q24-01", column="pH")
    rows = next(box for box in app.selectbox if box.key == "trace_row")
    app = rows.select(rows.options[1]).run()
    with open_store(f"sqlite:///{full}") as store:
        second = store.sheet("readings").query("batch_id == 'Q24-01'").iloc[1]
    assert f"is {second['ph']:g}; it came from readings_2024.csv row {second['from_row']}" in said(
        app
    )


def test_a_correction_shows_before_and_after_and_is_listed(full: Path) -> None:
    app = correct(opened("trace", **CELL), "1.0664", "AB", "read off the card again")
    assert not app.exception
    assert told(app.success[0]) == "original gravity of Q25-09 was 1.0654 and is 1.0664 now."
    listed = table_with(app, "corrected at")
    assert listed[["column", "old", "new", "who", "why"]].values.tolist()[0] == [
        "og_sg",
        "1.0654",
        "1.0664",
        "AB",
        "read off the card again",
    ]
    with open_store(f"sqlite:///{full}") as store:
        kept = store.sheet("fermentations").set_index("batch_id")
        assert kept.loc["Q25-09", "og_sg"] == pytest.approx(1.0664)
        assert store.original(1, "fermentations_2025.csv")


def test_a_second_press_with_nothing_typed_changes_nothing(full: Path) -> None:
    app = correct(opened("trace", **CELL), "1.0664", "AB", "read off the card again")
    app = correct(app, "", "AB", "read off the card again")
    assert told(app.error[0]).startswith("original gravity: nothing was typed, so nothing was")
    with open_store(f"sqlite:///{full}") as store:
        assert trace(store, "fermentations", "Q25-09", "og_sg").value == "1.0664"
        assert len(store.corrections()) == 1


def test_a_cell_is_emptied_where_that_is_ticked(full: Path) -> None:
    app = opened("trace", **CELL)
    app.checkbox[0].check()
    app = correct(app, "1.06", "AB", "of another batch")
    assert told(app.error[0]).startswith("A value was typed and the cell is to be left without")
    app = correct(app, "", "AB", "of another batch")
    assert told(app.success[0]) == "original gravity of Q25-09 was 1.0654 and is empty now."
    with open_store(f"sqlite:///{full}") as store:
        assert trace(store, "fermentations", "Q25-09", "og_sg").value == ""


def test_a_correction_made_elsewhere_meanwhile_is_not_written_over(full: Path) -> None:
    app = opened("trace", **CELL)
    with open_store(f"sqlite:///{full}") as store:
        key, why = "Q25-09", "seen first"
        made_elsewhere = (store, "fermentations", key, "og_sg", "1.0700", "CD", why)
        correct_in_store(*made_elsewhere, instead_of="1.0654")
        app = correct(app, "1.0664", "AB", "read off the card again")
        assert told(app.error[0]).startswith(
            "original gravity of Q25-09 is 1.07 by now, no longer 1.0654: somebody corrected it"
        )
        assert trace(store, "fermentations", key, "og_sg").value == "1.07"
        app = correct(app, "1.0664", "AB", "read off the card again")
        assert told(app.success[0]) == "original gravity of Q25-09 was 1.07 and is 1.0664 now."


@pytest.mark.parametrize(
    ("new", "who", "why", "wanted"),
    [
        ("1.0664", "", "", "A correction is kept with who made it and why. Give both."),
        (
            "high",
            "AB",
            "typo",
            "og_sg: high is not a figure. Write a figure, or leave the cell empty.",
        ),
    ],
)
def test_a_correction_that_cannot_be_is_refused_in_words(
    new: str, who: str, why: str, wanted: str, full: Path
) -> None:
    app = correct(opened("trace", **CELL), new, who, why)
    assert not app.exception
    assert told(app.error[0]) == wanted
    assert open_store(f"sqlite:///{full}").corrections().empty


def test_a_worked_out_figure_names_file_and_row_of_its_cells(full: Path) -> None:
    app = opened("trace", what="a worked-out figure", of="Q24-12", figure="final pH")
    assert not app.exception
    assert "Of Q24-12, final pH: 3." in said(app)
    assert "It is the last pH recorded." in said(app)
    cells = table_with(app, "file row")
    assert cells["sheet"].tolist() == ["readings"]
    assert cells["file"].tolist() == ["readings_2024.csv"]
    with open_store(f"sqlite:///{full}") as store:
        readings = store.sheet("readings")
        mine = readings[readings["from_row"] == cells["file row"].iloc[0]]
        mine = mine[mine["from_file"] == "readings_2024.csv"]
        assert mine["batch_id"].tolist() == ["Q24-12"]
        assert float(cells["value"].iloc[0]) == mine["ph"].iloc[0]


def test_every_worked_out_figure_can_be_opened(full: Path) -> None:
    app = opened("trace", what="a worked-out figure", of="Q24-12")
    box = next(one for one in app.selectbox if one.key == "trace_figure")
    assert len(box.options) > 40
    app = opened("trace", what="a worked-out figure", of="Q24-12", figure="score floral")
    assert "Of Q24-12, score floral: " in said(app)
    assert set(table_with(app, "file row")["sheet"]) == {"scores"}


def test_a_stale_address_falls_back_without_complaint(full: Path) -> None:
    app = opened("trace", sheet="lots", key="nowhere", column="nothing")
    assert not app.exception
    assert not app.error


def test_an_original_inside_an_archive_is_the_archive(tmp_path: Path) -> None:
    import io
    import zipfile

    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("sheets/growers.csv", "grower_id\nG1\n")
    with open_store(f"sqlite:///{tmp_path / 'store.sqlite'}") as store:
        files = [("harvest.zip", packed.getvalue())]
        store.take_in(store.plan(files), "AB", files)
        traced = trace(store, "growers", "G1", "grower_id")
        assert original_of(store, traced) == ("harvest.zip", packed.getvalue())
