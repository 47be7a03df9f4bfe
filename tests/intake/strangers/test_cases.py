"""The cases themselves: complete, in the program's words, and as the script writes them."""

from __future__ import annotations

import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import pytest

from origin_compare.sheets.catalogue import SHEETS

from .make_own import OWN, cases, truth_text

Entry = dict[str, Any]
HERE = Path(__file__).parent
EXPECTED = {"as is", "after one answer", "refused"}


def _told(folder: str) -> list[tuple[Path, Entry]]:
    path = HERE / folder / "truth.json"
    return [(path.parent, entry) for entry in json.loads(path.read_text(encoding="utf-8"))]


OWN_CASES = _told("own")
ALL = [pytest.param(*case, id=case[1]["id"]) for case in _told("given") + OWN_CASES]
ONLY_OWN = [pytest.param(entry, id=entry["id"]) for _, entry in OWN_CASES]


@pytest.mark.parametrize(("folder", "entry"), ALL)
def test_every_file_is_there(folder: Path, entry: Entry) -> None:
    assert entry["files"]
    for name in entry["files"]:
        assert (folder / "files" / name).stat().st_size > 0, name


@pytest.mark.parametrize(("folder", "entry"), ALL)
def test_truth_speaks_the_programs_columns(folder: Path, entry: Entry) -> None:
    for part in ("parents", "truth"):
        for sheet, rows in entry[part].items():
            for row in rows:
                assert set(row) <= set(SHEETS[sheet].names()), (part, sheet, row)


@pytest.mark.parametrize("entry", ONLY_OWN)
def test_figures_are_possible_and_choices_known(entry: Entry) -> None:
    for sheet, rows in entry["truth"].items():
        for row in rows:
            for name, value in row.items():
                column = SHEETS[sheet].column(name)
                if column.possible and value is not None:
                    low, high = column.possible
                    assert low <= value <= high, (sheet, name, value)
                if column.choices:
                    assert value in column.choices, (sheet, name, value)


@pytest.mark.parametrize(("folder", "entry"), ALL)
def test_a_row_is_told_once(folder: Path, entry: Entry) -> None:
    for part in ("parents", "truth"):
        for sheet, rows in entry[part].items():
            keys = [tuple(row.get(name) for name in SHEETS[sheet].key) for row in rows]
            assert len(set(keys)) == len(keys), (part, sheet)


@pytest.mark.parametrize("entry", ONLY_OWN)
def test_a_row_has_what_its_sheet_needs(entry: Entry) -> None:
    for sheet, rows in entry["truth"].items():
        form = SHEETS[sheet]
        before = {
            tuple(row.get(name) for name in form.key): row
            for row in entry["parents"].get(sheet, [])
        }
        needed = {column.name for column in form.columns if column.needed and not column.default}
        for row in rows:
            known = {**before.get(tuple(row.get(name) for name in form.key), {}), **row}
            assert needed <= set(known), (sheet, needed - set(known))
            assert all(set(group) & set(known) for group in form.one_of), (sheet, row)


@pytest.mark.parametrize("entry", ONLY_OWN)
def test_every_link_finds_its_row(entry: Entry) -> None:
    held = {
        sheet: entry["parents"].get(sheet, []) + entry["truth"].get(sheet, []) for sheet in SHEETS
    }
    for sheet, rows in held.items():
        for column in SHEETS[sheet].columns:
            if column.links_to is None:
                continue
            known = {row[column.name] for row in held[column.links_to]}
            wanted = {row[column.name] for row in rows if column.name in row}
            assert wanted <= known, (sheet, column.name, wanted - known)


@pytest.mark.parametrize("entry", ONLY_OWN)
def test_an_expectation_has_its_grounds(entry: Entry) -> None:
    assert entry["expect"] in EXPECTED
    assert entry["says"]
    assert entry["kind"]
    if entry["expect"] == "refused":
        assert entry["why"]
        assert not entry["truth"]
    else:
        assert entry["truth"]
        assert all(entry["truth"].values())
    if entry["expect"] == "after one answer":
        assert entry["answers"]


def test_every_word_of_an_answer_is_explained() -> None:
    used = {word for _, entry in OWN_CASES for word in entry["answers"]}
    explained = (HERE / "README.md").read_text(encoding="utf-8").split("## Words in `answers`")[1]
    assert used - set(re.findall(r"`(\w+)`", explained)) == set()


def test_the_script_writes_what_lies_here() -> None:
    made = cases()
    assert truth_text(made) == (OWN / "truth.json").read_text(encoding="utf-8")
    written = {name: content for case in made for name, content in case.files.items()}
    assert {path.name for path in (OWN / "files").iterdir()} == set(written)
    for name, content in written.items():
        assert _inside(content) == _inside((OWN / "files" / name).read_bytes()), name


def _inside(content: bytes) -> object:
    """A workbook's parts but its writer's stamp: other versions of the libraries pack otherwise."""
    if not zipfile.is_zipfile(io.BytesIO(content)):
        return content
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        names = [name for name in archive.namelist() if not name.startswith("docProps/")]
        return {name: archive.read(name) for name in names}
