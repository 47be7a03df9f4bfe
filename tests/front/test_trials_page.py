"""The page that plans the next batches: answer first, a run sheet, costs, cautions, refusals."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from origin_compare.front.asked import questions
from origin_compare.recent import Recent
from tests.front.reading import downloads, opened, said, told


@pytest.fixture(autouse=True, scope="module")
def kept_answers() -> None:
    st.cache_resource.clear()


@pytest.fixture(scope="module")
def store_file(demo_store_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(shutil.copy(demo_store_file, tmp_path_factory.mktemp("trials") / "store.sqlite"))


@pytest.fixture(autouse=True)
def full(store_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{store_file}")


def _plan(app: AppTest) -> AppTest:
    next(one for one in app.button if one.label == "Plan the batches").click().run()
    assert not app.exception
    assert not app.error
    return app


def _runs(app: AppTest) -> list[object]:
    sheet = next(one.value for one in app.dataframe if "order" in one.value)
    return list(sheet["order"])


def test_the_answer_stands_first_and_the_runs_are_in_a_drawn_order() -> None:
    app = opened("trials")
    text = said(app)
    assert re.search(r"12 batches made in this order would show slopes of \d\.\d\d per 10 h", text)
    assert "D-efficiency" in text
    assert "Order drawn with seed 1; the same seed draws it again." in text
    assert _runs(app) == list(range(1, 13))
    labels = downloads(app)
    assert labels[0] == "Download this table (CSV)"
    assert "Run sheet to fill in (CSV)" in labels
    assert "inside what the site's own procedures" in text


def test_costs_and_sizes_follow_what_is_asked() -> None:
    app = opened("trials")
    app.slider(key="trial_batches").set_value(16)
    app.number_input(key="trial_cost").set_value(900.0)
    _plan(app)
    text = said(app)
    assert "16 batches made in this order" in text
    assert "At 900 a batch that costs 14,400." in text
    assert _runs(app) == list(range(1, 17))
    sizes = next(one.value for one in app.dataframe if {"cost", "batches"} <= set(one.value))
    assert (sizes["cost"] == 900 * sizes["batches"]).all()


def test_lots_on_record_are_split_and_bridge_the_harvests() -> None:
    app = opened("trials")
    offered = app.multiselect(key="trial_lots").options
    assert any(
        re.search(r"\(G\d\d, 2025, \d+\.\d t left, mashed \d times\)", one) for one in offered
    )
    app.multiselect(key="trial_lots").set_value(["L25-01A", "L25-06A", "L25-05A"])
    app.multiselect(key="trial_vessels").set_value(["W1", "W2", "W3"])
    app.number_input(key="trial_per_batch").set_value(2.0)
    app.slider(key="trial_batches").set_value(8)
    app.radio(key="trial_model").set_value("and whether settings depend on each other")
    _plan(app)
    text = said(app)
    assert "3 of 3 lots are split over different settings; 3 were mashed before" in text
    assert "With interactions, all effects weighed alike;" in text
    lots = next(one.value for one in app.dataframe if "earlier" in one.value)
    assert lots["batches"].sum() == 8
    choices = next(one.value for one in app.dataframe if "choice" in one.value)
    assert choices["choice"].tolist()[:2] == ["as planned", "each lot at one setting only"]


def test_more_than_the_barley_bears_is_said_in_words() -> None:
    app = opened("trials")
    app.multiselect(key="trial_lots").set_value(["L25-01A"])
    app.number_input(key="trial_per_batch").set_value(1000.0)
    _plan(app)
    assert re.fullmatch(
        r"Lot L25-01A: \d+\.\d t is less than the 1000\.0 t that one batch takes\. Leave it out, "
        r"or state smaller batches\.",
        told(app.warning[0]),
    )


def test_too_many_repeats_are_said_in_words() -> None:
    app = opened("trials")
    app.slider(key="trial_batches").set_value(8)
    app.number_input(key="trial_repeats").set_value(6)
    _plan(app)
    assert [told(one) for one in app.warning] == ["6 repeats of 8 batches: half at most."]


def test_a_flavour_in_the_address_brings_its_own_spread() -> None:
    text = said(opened("trials", flavour="pungent"))
    assert re.search(r"still differ by 0\.\d\d points on pungent", text)


def test_a_batch_left_out_on_the_drivers_page_is_no_witness_here() -> None:
    app = opened("trials")
    assert "59 earlier batches counted in" in said(app)
    app.session_state["leave_out"] = ["Q24-23"]
    app.run()
    assert "58 earlier batches counted in" in said(app)
    assert "Left out by hand on the drivers page: Q24-23." in said(app)


def test_without_tastings_a_plan_is_still_drawn_on_a_supposed_spread(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = questions(())
    monkeypatch.setitem(asked.season.sheets, "scores", asked.season.sheets["scores"].iloc[:0])
    monkeypatch.delitem(asked.__dict__, "profile", raising=False)
    monkeypatch.setattr(asked, "_drivers", Recent())
    app = opened("trials")
    assert not app.exception
    assert not app.error
    assert "Until then a spread of 0.5 points is supposed." in said(app)
    assert _runs(app) == list(range(1, 13))
