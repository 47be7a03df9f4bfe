"""The fermentations page: the shift's list, one batch opened, batches side by side."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from origin_compare import fermentation
from origin_compare.places import FRONT, pages_folder
from tests.front.reading import downloads, told

LABEL = "Download this table (CSV)"


@pytest.fixture(scope="module")
def full(demo_store_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """One store for all these tests, so that its season is judged once."""
    file = tmp_path_factory.mktemp("fermentations") / "store.sqlite"
    shutil.copy(demo_store_file, file)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{file}")
        st.cache_resource.clear()
        yield file
    st.cache_resource.clear()


def opened(**query: str | list[str]) -> AppTest:
    app = AppTest.from_file(str(FRONT / "app.py"), default_timeout=120)
    app.switch_page(str(pages_folder() / "fermentations.py"))
    for name, value in query.items():
        app.query_params[name] = value
    return app.run()


def said(app: AppTest) -> str:
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.caption, *app.warning]
    parts += [*app.info, *app.error]
    return "\n".join(
        [*(str(part.value) for part in parts), *(one.proto.body for one in app.get("html"))]
    )


def box(app: AppTest, key: str):
    return next(one for one in app.selectbox if one.key == key)


def test_the_shift_reads_the_running_batches_first(full: Path) -> None:
    app = opened()
    heads = [one.value for one in app.subheader]
    assert heads[:3] == ["Fermenting now", "What to watch next", "Every batch against the clock"]
    text = said(app)
    assert "Q25-30 in W3, 54 h" in text
    assert "such batches end in style" in text
    assert "kg of CO2 given off so far" in text
    assert "next reading due by" in text
    assert "not from the clock on the wall" in text
    assert told(app.warning[0]).startswith("A fermenting vessel gives off carbon dioxide")


def test_another_batch_opens_without_judging_the_season_again(
    full: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    judged: list[object] = []
    from origin_compare.fermentation import departures, forecast
    from origin_compare.fermentation.house import season_house

    once = season_house.judge_season

    def counted(*given: object, **more: object) -> object:
        judged.append(given)
        return once(*given, **more)  # type: ignore[arg-type]

    for place in (fermentation, season_house):
        monkeypatch.setattr(place, "judge_season", counted)
    for function in (departures, forecast):
        monkeypatch.setitem(function.__globals__, "judge_season", counted)
    st.cache_resource.clear()
    app = opened()
    for batch in ("Q25-06", "Q24-03", "Q25-30"):
        box(app, "batch").select(batch).run()
        assert not app.exception
        assert not app.error
    assert len(judged) == 1


def test_a_departure_is_explained_in_order(full: Path) -> None:
    app = opened(batch="Q25-06")
    text = said(app)
    asks = [
        "Is the reading true?",
        "Could the wort ferment?",
        "Was the yeast live and enough?",
        "Was it temperature?",
        "Was it bacteria or wild yeast?",
    ]
    places = [text.index(one) for one in asks]
    assert places == sorted(places)
    assert "**The one next check:** valve and coolant log of the hours before." in text
    assert "100 %" not in text
    labels = [one.label for one in app.expander]
    assert "hot fermentation (cooling failed): over 99 % of the weight of evidence" in labels


def test_the_table_beside_the_figure_has_a_row_per_hour_read(full: Path) -> None:
    app = opened(batch="Q25-14")
    table = next(one.value for one in app.dataframe if "set aside" in one.value)
    assert list(table.columns)[:5] == ["hours", "gravity", "pH", "temp, °C", "cooling, %"]
    assert len(table) == 18


def test_a_running_batch_shows_where_it_is_heading(full: Path) -> None:
    app = opened(batch="Q25-30")
    assert "Where it is heading" in [one.value for one in app.subheader]
    ahead = next(one.value for one in app.dataframe if "90 % from" in one.value)
    assert ahead["what"].iloc[0] == "final gravity"
    assert len(ahead["likely"].iloc[0].split(".")[1]) == 4
    assert len(app.get("plotly_chart")) == 3


def test_a_bookmark_reopens_a_comparison(full: Path) -> None:
    app = opened(compare=["Q25-06", "Q25-14"], by_attenuation="true")
    assert not app.exception
    assert app.multiselect(key="compare").value == ["Q25-06", "Q25-14"]
    assert "was half fermented first" in said(app)
    assert len(app.get("plotly_chart")) == 3


def test_the_batches_of_the_band_are_shown_and_can_be_chosen(full: Path) -> None:
    app = opened(accepted=["Q24-01", "Q24-02", "Q24-03"])
    assert not app.exception
    assert app.multiselect(key="accepted").value == ["Q24-01", "Q24-02", "Q24-03"]
    assert any("a house band needs 8" in told(one) for one in app.info)
    assert "3 batches in style" in said(app)
    app.multiselect(key="accepted").set_value([]).run()
    assert any("54 batches in style" in told(one) for one in app.markdown)


def test_a_harvest_with_nothing_running_has_no_such_list(full: Path) -> None:
    app = opened(season="2024", batch="Q24-03")
    assert not app.exception
    assert not app.error
    assert "Fermenting now" not in [one.value for one in app.subheader]


def test_every_figure_has_its_words_and_every_table_its_download(full: Path) -> None:
    app = opened(batch="Q25-30", compare=["Q25-06", "Q25-30"])
    charts = app.get("plotly_chart")
    assert len(charts) == 4
    assert all(len(chart.proto.alt) > 60 for chart in charts)
    labels = downloads(app)
    assert labels[0] == LABEL
    assert labels.count(LABEL) == 6


def test_too_few_batches_for_a_band_is_said_not_broken(
    full: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("origin_compare.fermentation.house.season_house.FEWEST_BATCHES", 999)
    st.cache_resource.clear()
    app = opened(batch="Q25-30", compare=["Q25-06", "Q25-30"])
    st.cache_resource.clear()
    assert not app.exception
    assert not app.error
    text = said(app)
    assert "Whether batches left the house style cannot be told: " in text
    assert "no forecast. There are too few batches in style for a house band." in text
    assert "was half fermented first" in text
