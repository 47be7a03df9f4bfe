"""The demo's planted truth, seen through its own messy files."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

import origin_compare as oc
from origin_compare import drivers, fermentation, house, panel, places
from origin_compare.panel import Profile

Season = tuple[pd.DataFrame, Profile, dict[str, Any]]


@pytest.fixture(scope="module")
def demo() -> Season:
    season = oc.load_folder(places.demo_folder())
    figures = fermentation.derived(replace(season, rules=house.default_rules())).table()
    batches = season.batches.merge(figures, on="batch_id", suffixes=("", "_again"))
    truth = json.loads((places.demo_folder().parent / "truth.json").read_text("utf-8"))
    return batches, panel.adjusted(season.sheets["scores"]), truth


def _plain(name: str) -> str:
    return name.replace("_", " ")


def _drifting(truth: dict[str, Any]) -> list[str]:
    """Batches whose recorded peak is not the wash's: a probe that drifted is left out by hand."""
    return [fault["batch_id"] for fault in truth["faults"] if fault["kind"] == "probe_drift"]


def test_what_is_tied_is_said(demo: Season) -> None:
    batches, _, truth = demo
    assert truth["tied"][0]["pair"] == ["length_h", "final_ph"]
    said = drivers.separable(batches).sentence()
    assert said.startswith("Length and final pH move together here")
    assert "times less surely than if they moved apart" in said


def test_tied_slopes_are_wide_and_peak_slopes_recovered(demo: Season) -> None:
    batches, profile, truth = demo
    found = drivers.effects(batches, profile, leave_out=_drifting(truth))
    table = found.table()
    told = table[table["told_apart"]]
    assert set(told["verdict"]) <= {"clear", "a hint", "not shown"}
    assert set(told.loc[told["why"] != "", "process"]) == {"length_h", "final_ph"}
    peak = table[table["process"] == "peak_temp_c"].set_index("attribute")
    planted = {
        _plain(name): slopes["peak_temp_c"]
        for name, slopes in truth["effects"]["slopes"].items()
        if "peak_temp_c" in slopes
    }
    assert planted
    for name, slope in planted.items():
        row = peak.loc[peak.index.map(_plain) == name].iloc[0]
        assert row["verdict"] in ("clear", "a hint"), name
        assert row["slope"] * slope > 0, name
        assert row["low"] <= slope <= row["high"], name
    clear = {_plain(name) for name in peak.index[peak["verdict"] == "clear"]}
    assert clear <= set(planted)


def test_length_and_ph_together_are_recovered(demo: Season) -> None:
    """Along the line on which the two move here, and by one of them standing for both."""
    batches, profile, truth = demo
    table = drivers.effects(batches, profile, leave_out=_drifting(truth)).table()
    alone = table[table["process"] == "length_h"].set_index("attribute")
    fruity = alone.loc[alone.index.map(_plain) == "fruity estery"].iloc[0]
    assert fruity["alone_low"] > 0
    assert fruity["together_q"] < 0.05
    assert 0 < fruity["along_low"] < fruity["along_high"]
    assert fruity["along_says"].startswith("10 h longer, as it goes here with 0.")
    cereal = alone.loc[alone.index.map(_plain) == "cereal"].iloc[0]
    assert cereal["together_q"] > 0.05


def test_growers_behind_their_attributes(demo: Season) -> None:
    batches, profile, truth = demo
    origins = drivers.effects(batches, profile).origins.set_index("attribute")
    planted = {_plain(name) for name in truth["grower_effects"]}
    variety = {_plain(a) for own in truth["effects"]["variety"].values() for a in own}
    clear = {_plain(str(a)) for a in origins.index[origins["verdict"] == "clear"]}
    assert planted <= clear <= planted | variety
    for name in planted:
        sd, batch_sd = (truth["effects"][k][name] for k in ("grower_sd", "batch_sd"))
        row = origins.loc[origins.index.map(_plain) == name].iloc[0]
        assert row["low"] <= sd**2 / (sd**2 + batch_sd**2) <= row["high"], name


def test_what_the_panel_cannot_tell_gets_no_verdict(demo: Season) -> None:
    batches, profile, truth = demo
    table = drivers.effects(batches, profile).table()
    flat = table[table["attribute"].map(_plain).isin(map(_plain, truth["no_batch_differences"]))]
    assert set(flat["verdict"]) == {"panel cannot tell"}


def test_the_drifting_probe_is_pointed_at(demo: Season) -> None:
    batches, profile, truth = demo
    table = drivers.effects(batches, profile).table()
    told = " ".join(table.loc[table["process"] == "peak_temp_c", "warning"])
    for batch in _drifting(truth):
        assert batch in told


def test_the_split_is_told(demo: Season) -> None:
    batches, profile, _ = demo
    found = drivers.split(batches, profile)
    assert found.of("origin")[1] > 5
    assert found.of("process")[1] > 5
    # Length and pH are both process, so their tie blurs no share; nothing ties process to origin.
    assert found.tied == ()
