"""Every page through the page library's own harness: full store, empty store, bookmarks."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from origin_compare.front import parts
from origin_compare.places import FRONT, pages_folder
from tests.front.reading import TITLES, WITH_ANSWER, downloads, opened, said, told


def test_the_list_of_pages_is_the_folder() -> None:
    assert {file.stem for file in pages_folder().glob("*.py")} == set(TITLES)


@pytest.mark.parametrize("page", TITLES)
def test_a_full_store_opens_without_complaint(page: str, read_only: Path) -> None:
    app = opened(page)
    assert not app.exception
    assert not app.error
    assert app.title[0].value == TITLES[page]


@pytest.mark.parametrize("page", WITH_ANSWER)
def test_an_answer_its_ground_and_a_table_to_take_away(page: str, read_only: Path) -> None:
    app = opened(page)
    text = said(app)
    assert "oc-answer" in text
    assert "What this rests on." in text
    assert len(app.get("plotly_chart")) >= 1
    assert len(app.dataframe) >= 1
    labels = downloads(app)
    assert "Download this table (CSV)" in labels


@pytest.mark.parametrize("page", WITH_ANSWER)
def test_an_empty_store_says_how_to_begin(page: str, empty: None) -> None:
    app = opened(page)
    assert not app.exception
    assert not app.error
    assert "There is nothing in this store yet." in said(app)


def test_the_bare_address_leads_to_the_first_page(read_only: Path) -> None:
    app = AppTest.from_file(str(FRONT / "app.py"), default_timeout=120).run()
    assert not app.exception
    assert app.title[0].value == TITLES["week"]


@pytest.mark.parametrize(
    ("page", "name", "value"),
    [
        ("chain", "batch", "Q25-09"),
        ("panel", "batch", "Q24-07"),
        ("families", "batch", "Q25-03"),
        ("field", "batch", "Q24-12"),
        ("fermentations", "batch", "Q24-12"),
        ("growers", "grower", "G04"),
    ],
)
def test_a_bookmark_reopens_the_same_thing(
    page: str, name: str, value: str, read_only: Path
) -> None:
    app = opened(page, **{name: value})
    assert not app.exception
    chosen = [box for box in app.selectbox if box.key == name]
    assert [box.value for box in chosen] == [value]


def test_a_bookmark_keeps_the_harvest(read_only: Path) -> None:
    text = said(opened("season", season="2024"))
    assert "30 batches" in text or "30 finished batches" in text


def test_a_stale_bookmark_falls_back_without_complaint(read_only: Path) -> None:
    app = opened("chain", batch="no-such-batch")
    assert not app.exception
    assert not app.error


def test_a_fault_is_said_in_words_never_as_a_traceback(
    read_only: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("a slip of ours")

    monkeypatch.setattr(parts, "figure_beside_table", broken)
    app = opened("season")
    assert not app.exception
    assert told(app.error[0]).startswith("This page could not be drawn. Nothing in the store was")
    assert "a slip of ours" not in said(app)
