"""A row whose file is kept is not kept twice: its cells are read from the file again."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import Workbook
from sqlalchemy import text

from origin_compare import open_store
from origin_compare.store.rows import WRITTEN_AT_ONCE
from origin_compare.store.store import Store
from origin_compare.trace import correct
from origin_compare.trace.cell_origin import places, trace

CSV = 'Grower;Remark\n\nG1;"hill, \'north\'"\nG2;"said ""wet"""\n'


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(f"sqlite:///{tmp_path / 'store.sqlite'}")


def kept(store: Store) -> list[str]:
    with store.reading() as link:
        return list(link.execute(text("SELECT raw_text FROM growers ORDER BY row_id")).scalars())


def zipped(**members: str) -> bytes:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as archive:
        for name, said in members.items():
            archive.writestr(f"in/{name}.csv", said)
    return whole.getvalue()


def workbook() -> bytes:
    book = Workbook()
    book.active.title = "about"
    tab = book.create_sheet("growers")
    for row in (["Grower", "Remark"], ["G1", "hill, 'north'"], ["G2", 'said "wet"']):
        tab.append(row)
    whole = io.BytesIO()
    book.save(whole)
    return whole.getvalue()


@pytest.mark.parametrize(
    ("name", "content", "place"),
    [
        ("growers.csv", CSV.encode(), ("growers.csv", "", 4)),
        ("all.zip", zipped(growers=CSV), ("all.zip/in/growers.csv", "", 4)),
        ("book.xlsx", workbook(), ("book.xlsx", "growers", 3)),
    ],
)
@pytest.mark.parametrize("handed_over", [True, False])
def test_the_cells_are_the_same_whether_the_file_is_kept_or_not(
    store: Store, name: str, content: bytes, place: tuple[str, str, int], handed_over: bool
) -> None:
    files = [(name, content)]
    store.take_in(store.plan(files), "the mill", files if handed_over else ())
    assert [bool(said) for said in kept(store)] == [not handed_over] * 2
    found = trace(store, "growers", "G2", "grower_id")
    assert (found.file, found.tab, found.row) == place
    assert found.raw == {"Grower": "G2", "Remark": 'said "wet"'}
    assert found.cell == "G2"
    told = places(store, "growers", [{"grower_id": "G1"}, {"grower_id": "G9"}])
    assert told["raw"].tolist() == ["""{"Grower": "G1", "Remark": "hill, 'north'"}""", ""]


def test_a_corrected_cell_is_still_shown_as_it_was_written(store: Store) -> None:
    files = [("growers.csv", b"grower_id,soil\nG1,wet\nG2,dry\n")]
    store.take_in(store.plan(files), "the mill", files)
    found = correct(
        store, "growers", "G1", "soil", "very wet", "the mill", "asked again", instead_of="wet"
    )
    assert (found.value, found.cell) == ("very wet", "wet")


def test_each_intake_is_read_from_its_own_file(store: Store) -> None:
    first = [("growers.csv", b"grower_id,soil\nG1,wet\n")]
    second = [("growers.csv", b"grower_id,soil\nG2,dry\n")]
    for files in (first, second):
        store.take_in(store.plan(files), "the mill", files)
    assert trace(store, "growers", "G2", "soil").cell == "dry"
    store.take_back(1)
    assert trace(store, "growers", "G2", "soil").cell == "dry"
    store.take_in(store.plan(first), "the mill", first)
    assert trace(store, "growers", "G1", "soil").cell == "wet"


def test_rows_written_in_pieces_are_all_there_in_order(store: Store) -> None:
    rows = WRITTEN_AT_ONCE + 7
    log = pd.DataFrame({"batch_id": "B'1", "hours": range(rows), "ph": 4.5, "note": ""})
    log["hours"] = log["hours"] / 1000
    log.loc[WRITTEN_AT_ONCE + 3, "note"] = "it's late"
    batch = b"batch_id,pitched_at\nB'1,2025-01-01 08:00\n"
    files = [("fermentations.csv", batch), ("readings.csv", log.to_csv(index=False).encode())]
    said: list[float] = []
    plan = store.plan(files)
    store.take_in(plan, "", files, progress=lambda share, _: said.append(share))
    stored = store.sheet("readings")
    wanted = plan.sheets["readings"]
    names = list(wanted.columns.drop(["_file", "_tab", "_row"]))
    pd.testing.assert_frame_equal(stored[names], wanted[names])
    assert stored["from_row"].tolist() == wanted["_row"].tolist()
    assert set(stored["from_file"]) == {"readings.csv"}
    assert said == sorted(said) and len(said) == 3
