"""Files of one name are told apart: a figure leads to the cell of its own file."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest

from origin_compare import open_store
from origin_compare.intake.files.readers import read_sources, told_apart
from origin_compare.store.bringing import bring_in, gathered
from origin_compare.store.store import Store
from origin_compare.trace.cell_origin import original_of, trace

NORTH = b"lot,grower,harvest,nitrogen %\nL1,G1,2024,1.46\n"
SOUTH = b"lot,grower,harvest,nitrogen %\n\nL2,G1,2024,1.64\n"
GROWERS = ("growers.csv", b"grower_id\nG1\n")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(f"sqlite:///{tmp_path / 'store.sqlite'}")


def cells(store: Store) -> list[tuple[str, int | None, str, bytes]]:
    """Of both lots the file, the row, the text as written and the original it stands in."""
    traced = [trace(store, "lots", lot, "grain_n_pct_dm") for lot in ("L1", "L2")]
    return [(one.file, one.row, one.cell, original_of(store, one)[1]) for one in traced]


def test_two_uploads_of_one_name(store: Store) -> None:
    files = [GROWERS, ("lots.csv", NORTH), ("lots.csv", SOUTH)]
    store.take_in(store.plan(files), "AB", files)
    assert store.files(1)["file"].tolist() == ["growers.csv", "lots (2).csv", "lots.csv"]
    assert cells(store) == [
        ("lots.csv", 2, "1.46", NORTH),
        ("lots (2).csv", 3, "1.64", SOUTH),
    ]


def test_files_of_one_name_in_two_folders(store: Store, tmp_path: Path) -> None:
    for name, content in (("north", NORTH), ("south", SOUTH)):
        (tmp_path / "in" / name).mkdir(parents=True)
        (tmp_path / "in" / name / "lots.csv").write_bytes(content)
    (tmp_path / "in" / "growers.csv").write_bytes(GROWERS[1])
    paths = [tmp_path / "in" / name for name in ("growers.csv", "north", "south")]
    bring_in(store, paths)
    assert cells(store) == [
        ("north/lots.csv", 2, "1.46", NORTH),
        ("south/lots.csv", 3, "1.64", SOUTH),
    ]
    twice = [tmp_path / "in", tmp_path / "in" / "north" / "lots.csv"]
    assert [name for name, _ in gathered(twice)] == [
        "growers.csv",
        "north/lots.csv",
        "south/lots.csv",
    ]


@pytest.mark.parametrize(
    ("members", "names"),
    [
        (("north/lots.csv", "south/lots.csv"), ("in.zip/north/lots.csv", "in.zip/south/lots.csv")),
        (("lots.csv", "lots.csv"), ("in.zip/lots.csv", "in.zip/lots (2).csv")),
    ],
)
@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_members_of_one_name_in_an_archive(
    members: tuple[str, str], names: tuple[str, str], store: Store
) -> None:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as archive:
        for member, content in zip(members, (NORTH, SOUTH), strict=True):
            archive.writestr(member, content)
    files = [GROWERS, ("in.zip", whole.getvalue())]
    store.take_in(store.plan(files), "AB", files)
    assert cells(store) == [
        (names[0], 2, "1.46", whole.getvalue()),
        (names[1], 3, "1.64", whole.getvalue()),
    ]


def test_the_same_file_twice_in_one_intake_is_read_once(store: Store) -> None:
    files = [GROWERS, ("lots.csv", NORTH), ("lots.csv", NORTH), ("copy of lots.csv", NORTH)]
    plan = store.plan(files)
    assert [file.name for file in plan.files] == ["growers.csv", "lots.csv", "copy of lots.csv"]
    assert plan.left_alone == (("copy of lots.csv", "holds the same as lots.csv"),)
    assert plan.is_clean and len(plan.sheets["lots"]) == 1


def test_telling_apart_again_changes_nothing() -> None:
    files = [("a.csv", b"1"), ("a (2).csv", b"2"), ("a.csv", b"3"), ("b", b"4"), ("b", b"5")]
    once = told_apart(files)
    assert [name for name, _ in once] == ["a.csv", "a (2).csv", "a (3).csv", "b", "b (2)"]
    assert told_apart(once) == once
    assert [file.name for file in read_sources(files).files] == [name for name, _ in once]
