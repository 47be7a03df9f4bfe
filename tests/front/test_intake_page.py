"""The intake page: files dropped, faults read, headers mapped once, taken in, taken back."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pandas as pd
import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from origin_compare.front.intake_page import aside_as_zip
from origin_compare.store.store import open_store
from origin_compare.trace import trace
from origin_compare.trace.cell_origin import original_of
from tests.front.reading import downloads, opened, said, table_with, told

GROWERS = b"grower_id,farm_name\nG01,High Rigg\nG02,Low Rigg\n"
LOTS = b"lot_id,grower_id,season,variety,grain_n_pct_dm\nL1,G01,2025,Ostrel,1.52\n"


@pytest.fixture(autouse=True)
def store_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    st.cache_resource.clear()
    file = tmp_path / "store.sqlite"
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{file}")
    return file


def dropped(*files: tuple[str, bytes]) -> AppTest:
    app = opened("intake")
    for name, content in files:
        app.file_uploader[0].upload(name, content, "text/csv")
    return app.run()


def take_in(app: AppTest) -> AppTest:
    button = next(one for one in app.button if one.label.startswith("Take in"))
    return button.click().run()


def test_good_rows_go_in_and_the_page_says_so(store_file: Path) -> None:
    app = take_in(dropped(("growers.csv", GROWERS), ("lots.csv", LOTS)))
    assert not app.exception
    assert told(app.success[0]) == "Intake 1 brought 2 rows of growers and 1 row of lots."
    store = open_store(f"sqlite:///{store_file}")
    assert store.sheet("growers")["grower_id"].tolist() == ["G01", "G02"]
    assert store.original(1, "lots.csv") == LOTS


def test_faulty_rows_are_set_aside_and_can_be_taken_away_to_mend(store_file: Path) -> None:
    faulty = LOTS + b"L2,G01,harvest,Ostrel,1.52\n"
    app = dropped(("growers.csv", GROWERS), ("lots.csv", faulty))
    table = next(one.value for one in app.dataframe if "what is wrong" in one.value.columns)
    assert table["column"].tolist() == ["season"]
    labels = downloads(app)
    assert "Rows set aside, to mend and send again (zip of CSV)" in labels
    take_in(app)
    assert open_store(f"sqlite:///{store_file}").sheet("lots")["lot_id"].tolist() == ["L1"]


def test_nothing_is_stored_before_the_button(store_file: Path) -> None:
    dropped(("growers.csv", GROWERS))
    assert open_store(f"sqlite:///{store_file}").sheet("growers").empty


def test_strange_headers_are_asked_for_once_and_remembered(store_file: Path) -> None:
    strange = b"Hof,Schlag,Jahrgang,Charge\nG01,Low Field,2025,L9\n"
    app = dropped(("growers.csv", GROWERS), ("felder.csv", strange))
    assert "What is felder.csv?" in said(app)
    sheet = next(box for box in app.selectbox if box.label == "Sheet")
    app = sheet.select("lots").run()
    for column, header in (
        ("lot_id", "Charge"),
        ("grower_id", "Hof"),
        ("season", "Jahrgang"),
        ("field", "Schlag"),
    ):
        box = next(one for one in app.selectbox if str(one.key).endswith(f"_{column}"))
        box.select(header)
    remember = next(one for one in app.button if one.label == "Remember these headers")
    app = take_in(remember.click().run())
    store = open_store(f"sqlite:///{store_file}")
    assert store.sheet("lots")[["lot_id", "grower_id", "field"]].values.tolist() == [
        ["L9", "G01", "Low Field"]
    ]
    again = dropped(("felder2.csv", strange.replace(b"L9", b"L10")))
    assert "What is felder2.csv?" not in said(again)


def test_the_same_file_twice_changes_nothing(store_file: Path) -> None:
    take_in(dropped(("growers.csv", GROWERS)))
    app = dropped(("growers.csv", GROWERS))
    assert "2 rows already in the store: nothing changes there." in said(app)
    assert next(one for one in app.button if one.label == "Nothing new to take in").disabled


def test_what_would_change_is_shown_before_it_does(store_file: Path) -> None:
    take_in(dropped(("growers.csv", GROWERS), ("lots.csv", LOTS)))
    other = LOTS.replace(b"1.52", b"1.55") + b"L2,G02,2025,Brook,1.49\n"
    app = dropped(("lots.csv", other), ("growers.csv", GROWERS))
    assert table_with(app, "contradicting").values.tolist() == [
        ["growers", 0, 2, 0],
        ["lots", 1, 0, 1],
    ]
    against = table_with(app, "in store")
    assert against.values.tolist() == [
        ["lots", "L1", "grain_n_pct_dm", "1.52", "1.55", "lots.csv", 2]
    ]
    new = next(
        one.value
        for one in app.dataframe
        if "variety" in one.value.columns and "file row" in one.value.columns
    )
    assert new["lot"].tolist() == ["L2"]
    take_in(app)
    lots = open_store(f"sqlite:///{store_file}").sheet("lots")
    assert lots[["lot_id", "grain_n_pct_dm"]].values.tolist() == [["L1", 1.52], ["L2", 1.49]]


def workbook(**tabs: bytes) -> bytes:
    packed = io.BytesIO()
    with pd.ExcelWriter(packed, engine="xlsxwriter") as writer:
        for name, content in tabs.items():
            pd.read_csv(io.BytesIO(content)).to_excel(writer, sheet_name=name, index=False)
    return packed.getvalue()


def test_one_workbook_of_several_tabs(store_file: Path) -> None:
    book = workbook(Growers=GROWERS, Grain=LOTS)
    app = dropped(("season.xlsx", book))
    assert table_with(app, "good")["file"].tolist() == [
        "season.xlsx tab Growers",
        "season.xlsx tab Grain",
    ]
    app = take_in(app)
    assert told(app.success[0]) == "Intake 1 brought 2 rows of growers and 1 row of lots."
    store = open_store(f"sqlite:///{store_file}")
    traced = trace(store, "lots", "L1", "grain_n_pct_dm")
    assert (traced.file, traced.tab, traced.row) == ("season.xlsx", "Grain", 2)
    assert original_of(store, traced) == ("season.xlsx", book)


def test_a_zip_of_sheets_and_a_workbook(store_file: Path) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("harvest/growers.csv", GROWERS)
        archive.writestr("harvest/grain.xlsx", workbook(Grain=LOTS))
        archive.writestr("harvest/photo.jpg", b"\xff\xd8\xff")
    app = dropped(("harvest.zip", packed.getvalue()))
    assert "left alone: harvest.zip/harvest/photo.jpg" in said(app)
    app = take_in(app)
    assert told(app.success[0]) == "Intake 1 brought 2 rows of growers and 1 row of lots."
    store = open_store(f"sqlite:///{store_file}")
    traced = trace(store, "lots", "L1", "variety")
    assert traced.file == "harvest.zip/harvest/grain.xlsx"
    assert original_of(store, traced) == ("harvest.zip", packed.getvalue())


def test_an_intake_is_taken_back(store_file: Path) -> None:
    app = take_in(dropped(("growers.csv", GROWERS)))
    app = next(one for one in app.button if one.label == "Take back intake 1").click().run()
    assert not app.exception
    assert open_store(f"sqlite:///{store_file}").sheet("growers").empty


@pytest.mark.parametrize(
    ("name", "content", "part"),
    [
        ("empty.csv", b"", "empty"),
        ("photo.csv", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4, "picture"),
        ("noise.csv", bytes([0x81, 0x8D, 0x00, 0x90]) * 50, ""),
        ("book.xlsx", b"not a workbook at all", ""),
    ],
)
def test_what_is_no_sheet_is_refused_in_words_and_nothing_is_stored(
    name: str, content: bytes, part: str, store_file: Path
) -> None:
    app = dropped((name, content))
    assert not app.exception
    assert not app.error
    text = said(app) + " ".join(str(frame.value.to_dict()) for frame in app.dataframe)
    assert name in text
    assert part in text
    assert not any(one.label.startswith("Take in") for one in app.button)
    assert open_store(f"sqlite:///{store_file}").intakes().empty


def test_a_column_left_out_is_asked_for_and_remembered(store_file: Path) -> None:
    told = GROWERS.replace(b"farm_name", b"Hofname")
    app = dropped(("growers.csv", told))
    assert "Hofname of growers.csv is left out: no such column is known." in said(app)
    next(box for box in app.selectbox if box.label == "Hofname is").select("farm name")
    button = next(one for one in app.button if one.label == "Remember these columns")
    app = take_in(button.click().run())
    farms = open_store(f"sqlite:///{store_file}").sheet("growers")["farm_name"]
    assert farms.tolist() == ["High Rigg", "Low Rigg"]


def test_rows_set_aside_of_several_tabs_lie_in_files_of_their_own() -> None:
    rows = pd.DataFrame({"lot_id": ["L1"]})
    names = ("book.xlsx tab lots", "book.xlsx tab growers", "in.zip/north/lots.csv", "lots.csv")
    with zipfile.ZipFile(io.BytesIO(aside_as_zip(dict.fromkeys(names, rows)))) as packed:
        assert packed.namelist() == [
            "book.xlsx tab lots_to_mend.csv",
            "book.xlsx tab growers_to_mend.csv",
            "in.zip_north_lots_to_mend.csv",
            "lots_to_mend.csv",
        ]


PANEL = (
    Path(__file__).parents[1]
    / "intake"
    / "strangers"
    / "given"
    / "files"
    / "25_panel_tab_per_sample.xlsx"
)


def pressed(app: AppTest, label: str) -> AppTest:
    return next(one for one in app.button if one.label == label).click().run()


def test_an_answer_is_seen_at_once_remembered_and_forgotten(store_file: Path) -> None:
    app = dropped((PANEL.name, PANEL.read_bytes()))
    assert "The table waits for this" in said(app)
    app = pressed(app, "Read it so")
    assert not app.exception
    assert "The table waits for this" not in said(app)
    app = pressed(app, "For all files like this")
    store = open_store(f"sqlite:///{store_file}")
    assert [plan.answers for plan in store.reading_plans()] == [{"tasting_id from": "the day"}]
    again = dropped((PANEL.name, PANEL.read_bytes()))
    assert "The table waits for this" not in said(again)
    app = pressed(again, "Forget this reading plan")
    assert store.reading_plans() == ()
    assert "The table waits for this" in said(app)
