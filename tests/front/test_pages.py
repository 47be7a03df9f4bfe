"""Every page through the page library's own harness: full store, empty store, bookmarks."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from origin_compare.front import parts
from origin_compare.places import FRONT, pages_folder

TITLES = {
    "season": "How did the season's lots compare?",
    "fermentations": "Which batches left the house style, when and why?",
    "panel": "What can the panel tell apart, and what not?",
    "tasting": "What do we taste next, and in which order?",
    "drivers": "What goes with flavour here: process or origin?",
    "trials": "What should the next batches test?",
    "families": "Which batches are alike, and what do they make together?",
    "growers": "What can we tell this grower?",
    "chain": "Which grain is in this batch?",
    "trace": "Where does this figure come from?",
    "intake": "What is in these files?",
    "rules": "What does the house hold to?",
}
WITH_ANSWER = [name for name in TITLES if name not in ("trace", "intake", "rules")]


@pytest.fixture
def full(demo_store_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "store.sqlite"
    shutil.copy(demo_store_file, file)
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{file}")
    return file


@pytest.fixture(scope="session")
def looked_at(demo_store_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One store for all tests that only look, so that its answers are worked out once."""
    return Path(shutil.copy(demo_store_file, tmp_path_factory.mktemp("looked_at") / "demo.sqlite"))


@pytest.fixture
def read_only(looked_at: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{looked_at}")
    return looked_at


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{tmp_path / 'empty.sqlite'}")


def opened(page: str, **query: str) -> AppTest:
    app = AppTest.from_file(str(FRONT / "app.py"), default_timeout=120)
    app.switch_page(str(pages_folder() / f"{page}.py"))
    for name, value in query.items():
        app.query_params[name] = value
    return app.run()


def said(app: AppTest) -> str:
    """All the text a reader sees, in one string."""
    parts = [*app.title, *app.header, *app.markdown, *app.caption, *app.warning, *app.error]
    html = [element.proto.body for element in app.main if element.type == "html"]
    every = [str(part.value) for part in parts] + html
    return "\n".join([*every, *(str(block) for block in app.get("html"))])


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
    labels = [button.proto.label for button in app.get("download_button")]
    assert "Download this table (CSV)" in labels


@pytest.mark.parametrize("page", WITH_ANSWER)
def test_an_empty_store_says_how_to_begin(page: str, empty: None) -> None:
    app = opened(page)
    assert not app.exception
    assert not app.error
    assert "There is nothing in this store yet." in said(app)


def test_the_bare_address_leads_to_the_season(read_only: Path) -> None:
    app = AppTest.from_file(str(FRONT / "app.py"), default_timeout=120).run()
    assert not app.exception
    assert app.title[0].value == TITLES["season"]


@pytest.mark.parametrize(
    ("page", "name", "value"),
    [
        ("chain", "batch", "Q25-09"),
        ("panel", "batch", "Q24-07"),
        ("families", "batch", "Q25-03"),
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
    assert app.error[0].value.startswith("This page could not be drawn. Nothing in the store was")
    assert "a slip of ours" not in said(app)
