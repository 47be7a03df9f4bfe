"""The drivers page: what can be told apart first, batches left out by hand, the judge heard."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from origin_compare.front.asked import questions
from origin_compare.recent import Recent
from tests.front.reading import opened, said, told

DRIFTED = "Q24-23"


@pytest.fixture(autouse=True, scope="module")
def kept_answers() -> None:
    """One season for the whole module: what is asked of it is kept, as in the app."""
    st.cache_resource.clear()


@pytest.fixture(scope="module")
def store_file(demo_store_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(shutil.copy(demo_store_file, tmp_path_factory.mktemp("drivers") / "store.sqlite"))


@pytest.fixture(autouse=True)
def full(store_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{store_file}")


def _headers(app: AppTest) -> list[str]:
    return [str(header.value) for header in app.header]


def test_what_can_be_told_apart_stands_before_any_coefficient() -> None:
    app = opened("drivers")
    assert not app.exception
    assert not app.error
    assert _headers(app) == [
        "What these batches can tell apart",
        "Origin or process, attribute by attribute",
        "Length, peak temperature and final pH",
        "One attribute, batch by batch",
        "At the same hour of every batch",
        "Season or grower",
        "Growers side by side",
        "Field and malt",
        "Does it foretell?",
    ]
    text = said(app)
    assert "Length and final pH move together here" in text
    assert "cut-on strength" in text
    assert f"it leans on batch {DRIFTED}" in text or f"without batch {DRIFTED}" in text


def test_every_figure_has_words_for_a_reader_who_cannot_see_it() -> None:
    app = opened("drivers", path="true")
    figures = app.get("plotly_chart")
    assert len(figures) == 10
    assert all(len(figure.proto.alt) > 40 for figure in figures)


def test_an_address_opens_one_attribute() -> None:
    text = said(opened("drivers", attribute="pungent"))
    assert "Pungent goes with peak temperature: +0." in text
    assert re.search(r"Pungent and length: wide, .* to .* per 10 h: cannot tell yet", text)
    assert re.search(r"Pungent and final pH: wide, .* per 0\.1 pH: cannot tell yet", text)
    assert "Pungent: " in text
    assert "goes with peak temperature (+0." in text


def test_a_batch_left_out_in_the_address_is_left_out_of_every_answer() -> None:
    text = said(opened("drivers", leave_out=DRIFTED, attribute="pungent"))
    assert text.count("1 left out by hand") >= 5
    assert f"without batch {DRIFTED}" not in text


def test_readings_in_doubt_are_named_and_left_out_with_one_click() -> None:
    app = opened("drivers")
    app.button(key="check_readings").click().run()
    assert [told(one) for one in app.warning] == [
        f"{DRIFTED}: temperature probe drift; its peak temperature is not to be trusted."
    ]
    next(one for one in app.button if one.label == "Leave it out").click().run()
    assert not app.exception
    assert app.multiselect(key="leave_out").value == [DRIFTED]
    assert "Left out by hand: every batch whose readings are in doubt." in said(app)
    assert "1 left out by hand" in said(app)


def test_the_judge_is_heard_and_its_no_is_shown_as_plainly() -> None:
    app = opened("drivers")
    assert "For a grower never seen" in said(app)
    judged = next(one.value for one in app.dataframe if "error of mean" in one.value)
    assert set(judged["verdict"]) == {"better than the mean", "no better than the mean"}
    assert set(judged["left out"]) == {"grower", "season"}


def test_a_path_is_an_assumption_the_user_switches_on() -> None:
    assert "This takes something for granted" not in said(opened("drivers"))
    text = said(opened("drivers", path="true", trait="grain_n_pct_dm", by_way_of="length_h"))
    assert "This takes something for granted" in text
    assert "by way of length" in text


def test_one_grower_on_every_attribute() -> None:
    app = opened("drivers", of_grower="G04")
    assert not app.exception
    assert not app.error
    labels = [button.proto.url for button in app.get("download_button")]
    assert labels


def test_without_tastings_what_moved_together_is_still_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = questions(())
    season = asked.season
    scores = season.sheets["scores"]
    monkeypatch.setitem(season.sheets, "scores", scores.iloc[:0])
    monkeypatch.delitem(asked.__dict__, "profile", raising=False)
    monkeypatch.setattr(asked, "_drivers", Recent())
    app = opened("drivers")
    assert [told(one) for one in app.warning] == [
        "Nothing was tasted in these harvests yet. Take in a tasting sheet first."
    ]
    assert _headers(app) == ["What these batches can tell apart"]
    assert not app.error


def test_lots_stand_side_by_side_too_and_what_each_carries_is_told() -> None:
    app = opened("drivers", side_by_side="lots", carried="true")
    text = said(app)
    assert re.search(r"Together they go with \d+ % of the variation in fruity estery: ", text)
    assert any("lot_id" in one.value or "lot" in one.value for one in app.dataframe)
    assert "Two seasons are two draws of the weather" in text
