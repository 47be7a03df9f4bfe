"""A worked-out figure is what its cells come to, and each cell is found in the store."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from origin_compare import measures, open_store
from origin_compare.errors import UnknownName
from origin_compare.fermentation import Derived, derived
from origin_compare.season.season import Season
from origin_compare.trace import trace
from origin_compare.trace.sources import figure_sources, traceable


@pytest.fixture(scope="module")
def worked_out(demo_season: Season) -> Derived:
    return derived(demo_season)


def cells(season: Season, worked_out: Derived, batch: str, figure: str) -> dict[str, list[str]]:
    table = figure_sources(season, worked_out, batch, figure).table()
    return {str(name): rows["value"].tolist() for name, rows in table.groupby("column")}


def test_last_readings_and_the_hottest_are_the_cells_named(
    demo_season: Season, worked_out: Derived
) -> None:
    held = 0
    for row in worked_out.table().itertuples():
        for figure, column in (("final_ph", "ph"), ("final_sg", "sg"), ("peak_temp_c", "temp_c")):
            if pd.notna(value := getattr(row, figure)):
                found = cells(demo_season, worked_out, str(row.batch_id), figure)
                assert [float(one) for one in found[column]] == [pytest.approx(value, rel=1e-9)]
                held += 1
    assert held > 150


def test_alcohol_attenuation_and_yeast_follow_from_their_cells(
    demo_season: Season, worked_out: Derived
) -> None:
    table = worked_out.table().set_index("batch_id")
    held = 0
    for batch, row in table.dropna(
        subset=["spirit_yield_lpa_t", "real_attenuation_pct"]
    ).iterrows():
        name = str(batch)
        found = cells(demo_season, worked_out, name, "spirit_yield_lpa_t")
        lpa = sum(
            float(litres) * float(strength) / 100
            for litres, strength in zip(found["new_make_l"], found["new_make_abv_pct"], strict=True)
        )
        malt = sum(map(float, found["grist_kg"]))
        assert measures.spirit_yield(lpa, malt) == pytest.approx(row["spirit_yield_lpa_t"])
        found = cells(demo_season, worked_out, name, "real_attenuation_pct")
        og, last = float(found["og_sg"][0]), float(found["sg"][0])
        fall = 100 * measures.real_attenuation(og, last)
        assert fall == pytest.approx(row["real_attenuation_pct"])
        held += 1
    assert held > 40


def test_a_mean_over_lots_names_every_lot_and_its_weights(
    demo_season: Season, worked_out: Derived
) -> None:
    found = figure_sources(demo_season, worked_out, "Q25-09", "grain_n_pct_dm")
    mine = demo_season.shares.loc[demo_season.shares["batch_id"] == "Q25-09", "lot_id"]
    assert len(mine) > 1
    table = found.table()
    assert set(table.loc[table["column"] == "grain_n_pct_dm", "row"]) == set(mine)
    assert {"grain_t", "grist_kg"} <= set(table["column"])
    assert "the mean over the lots in this batch, by the share of each" in found.sentence()


def test_every_cell_named_stands_in_the_store_with_that_value(
    demo_season: Season, worked_out: Derived, demo_store_file: Path
) -> None:
    with open_store(f"sqlite:///{demo_store_file}") as store:
        for figure in traceable(demo_season.batches.merge(worked_out.table(), on="batch_id")):
            found = figure_sources(demo_season, worked_out, "Q24-12", figure)
            firsts = found.table().drop_duplicates("column").index
            for place in firsts:
                line = found.table().loc[place]
                traced = trace(store, line["sheet"], found.keys[place], line["column"])
                assert traced.key == line["row"]
                assert traced.value == line["value"]


def test_scores_behind_an_attribute(demo_season: Season, worked_out: Derived) -> None:
    found = figure_sources(demo_season, worked_out, "Q24-12", "score_floral")
    scores = demo_season.sheets["scores"]
    mine = scores[(scores["batch_id"] == "Q24-12") & (scores["attribute"] == "floral")]
    assert len(found.table()) == mine["score"].notna().sum() > 0
    assert set(found.table()["sheet"]) == {"scores"}


def test_what_is_not_there_is_said(demo_season: Season, worked_out: Derived) -> None:
    with pytest.raises(UnknownName) as told:
        figure_sources(demo_season, worked_out, "B0", "final_ph")
    assert str(told.value) == "There is no batch B0. Choose one of the season's batches."
    with pytest.raises(UnknownName, match=r"^There is no worked-out figure brix\. Figures: "):
        figure_sources(demo_season, worked_out, "Q24-12", "brix")
