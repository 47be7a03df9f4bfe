"""One attribute opened, field figures, harvests side by side, readings in doubt, like batches."""

from __future__ import annotations

import re
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest

from origin_compare import drivers
from origin_compare.drivers.grower_places import KEPT, UNSURE
from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.fermentation import Departures
from tests.answers import owed
from tests.drivers.seasons import Invented, Tasted, invent, two_true


@dataclass(frozen=True)
class Long(Tasted):
    """An invented profile that also gives its long table, as the panel's does."""

    def table(self) -> pd.DataFrame:
        wide = self.estimates.rename_axis(index="batch_id", columns="attribute")
        long = wide.stack().rename("estimate").reset_index()
        return long.assign(low=long["estimate"] - 0.6, high=long["estimate"] + 0.6)


def _long(season: Invented) -> Long:
    return Long(season.profile.estimates, season.profile.errors, season.profile.told)


def _opened(season: Invented, name: str) -> drivers.Opened:
    profile = _long(season)
    return drivers.opened(drivers.effects(season.batches, profile), profile, name)


def test_an_opened_attribute_shows_every_batch_and_its_slopes() -> None:
    season = invent(1, growers=15, slopes=two_true())
    found = _opened(season, "attribute 1")
    owed(found)
    assert len(found.table()) == 90
    assert {"batch_id", "grower_id", "length_h", "estimate", "low", "high"} <= set(found.table())
    assert found.sentence().startswith("Attribute 1: goes with length (+0.")
    line = found.lines[found.lines["process"] == "length_h"]
    rise = (line["fit"].iloc[-1] - line["fit"].iloc[0]) / (line["at"].iloc[-1] - line["at"].iloc[0])
    slope = found.slopes.set_index("process").loc["length_h", "slope"]
    assert rise * 10 == pytest.approx(slope)
    assert (line["low"] <= line["fit"]).all()
    assert (line["fit"] <= line["high"]).all()
    assert set(line["kind"]) == {"together"}


def test_a_tied_slope_is_drawn_alone_and_said_to_be_tied() -> None:
    found = _opened(invent(2, growers=15, slopes=two_true(), together=0.999), "attribute 1")
    kinds = found.lines.groupby("process")["kind"].first()
    assert kinds["length_h"] == kinds["final_ph"] == "alone"
    assert kinds["peak_temp_c"] == "together"
    assert "goes with final pH or length, which cannot be told apart here" in found.sentence()


def test_only_a_batch_a_finding_leans_on_is_named() -> None:
    season = invent(5, growers=12, each=5)
    batches = season.batches.copy()
    scores = season.profile.estimates.copy()
    batches.loc[7, "peak_temp_c"] = 37.0
    scores.loc["B007", "attribute 3"] += 6.0
    moved = Long(scores, season.profile.errors, season.profile.told)
    found = drivers.opened(drivers.effects(batches, moved), moved, "attribute 3")
    assert found.named["peak_temp_c"] == ("B007",)
    assert drivers.pointed_at(found.slopes) == (
        "Look first at B007: without it findings would change."
    )
    assert found.named["final_ph"] == ()


def test_an_attribute_the_panel_cannot_tell_gets_no_slope_in_words() -> None:
    season = invent(1)
    dull = Long(season.profile.estimates, season.profile.errors, ("attribute 1",))
    found = drivers.opened(drivers.effects(season.batches, dull), dull, "attribute 2")
    assert found.sentence() == (
        "Attribute 2: the panel cannot tell batches apart on it, so nothing can go with it."
    )


def test_an_unknown_attribute_is_refused() -> None:
    says = "No attribute woody among those asked about. Choose another."
    with pytest.raises(UnknownName, match=f"^{re.escape(says)}$"):
        _opened(invent(1), "woody")


def test_a_planted_trait_is_found_and_its_interval_holds() -> None:
    held, seen, others = [], [], 0
    for seed in range(10):
        season = invent(seed, growers=24, each=3, grower_sd=0.3)
        rng = np.random.default_rng(seed)
        per_grower = rng.normal(1.6, 0.1, 24)
        nitrogen = np.repeat(per_grower, 3)
        batches = season.batches.assign(
            grain_n_pct_dm=nitrogen, screenings_pct=np.repeat(rng.normal(3, 1, 24), 3)
        )
        scores = season.profile.estimates.copy()
        scores["attribute 1"] += 0.5 * (nitrogen - 1.6) / 0.1
        profile = Tasted(scores, season.profile.errors, season.profile.told)
        found = drivers.traits(batches, profile)
        owed(found)
        table = found.table().set_index(["trait", "attribute"])
        row = table.loc[("grain_n_pct_dm", "attribute 1")]
        held.append(row["low"] <= 0.5 <= row["high"])
        seen.append(row["verdict"] == "clear")
        others += table.drop(index=("grain_n_pct_dm", "attribute 1"))["verdict"].eq("clear").sum()
    assert found.sentence().startswith("Attribute 1 goes with grain nitrogen (+0.")
    assert np.mean(held) >= 0.8
    assert np.mean(seen) >= 0.8
    assert others <= 3
    assert found.tested == 12
    assert "rain" in found.rests_on()


def test_no_trait_recorded_is_said() -> None:
    season = invent(1)
    says = (
        "No figure of field or malt is recorded for nine batches in ten, so none can be looked at "
        "beside flavour. Take in the lots and malts first."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(says)}$"):
        drivers.traits(season.batches, season.profile)


def test_growers_that_differ_much_keep_their_place_and_others_are_not_claimed() -> None:
    strong = invent(4, growers=20, each=6, grower_sd=2.0, seasons=2)
    found = drivers.agreement(strong.batches, strong.profile)
    owed(found)
    assert set(found.table()["says"]) == {KEPT}
    assert found.of("attribute 1").startswith(f"2024 and 2025: {KEPT} (r = 0.9")
    assert found.of("attribute 1").endswith("Two seasons are two draws of the weather.")
    none = [
        drivers.agreement(made.batches, made.profile).table()["says"].eq(UNSURE).mean()
        for seed in range(8)
        for made in [invent(seed, growers=20, each=6, grower_sd=0.0, seasons=2)]
    ]
    assert 0.85 < np.mean(none) <= 1.0


def test_the_interval_of_two_harvests_is_fishers() -> None:
    season = invent(4, growers=20, each=6, seasons=2)
    found = drivers.agreement(season.batches, season.profile)
    row = found.table().iloc[0]
    wide = found.means[found.means["attribute"] == row["attribute"]].pivot(
        index="grower_id", columns="season", values="score"
    )
    r = float(np.corrcoef(wide.dropna().to_numpy().T)[0, 1])
    assert row["r"] == pytest.approx(r)
    assert row["high"] == pytest.approx(np.tanh(np.arctanh(r) + 1.959964 / np.sqrt(row["n"] - 3)))


def test_one_harvest_is_one_draw() -> None:
    season = invent(1)
    assert drivers.agreement(season.batches, season.profile).of("attribute 1") == (
        "One season is one draw of the weather: whether a grower would be the same another year "
        "cannot be told."
    )


def test_like_batches_differ_as_planted() -> None:
    found = [
        drivers.spread(made.batches, made.profile)
        for seed in range(8)
        for made in [invent(seed, growers=12, each=6, batch_sd=0.5, panel_sd=0.3)]
    ]
    table = pd.concat(found)
    assert table["batch_sd"].mean() == pytest.approx(0.5, rel=0.08)
    assert table["panel_sd"].mean() == pytest.approx(0.3, rel=0.02)
    assert np.allclose(table["sd"] ** 2, table["batch_sd"] ** 2 + table["panel_sd"] ** 2)


def _departures(*found: tuple[str, str, str]) -> Departures:
    rows = [SimpleNamespace(batch_id=b, status=s, named=n) for b, s, n in found]
    return cast(Any, type("Held", (tuple,), {"found": rows})(rows))


def test_a_drifting_probe_makes_its_peak_untrustworthy() -> None:
    found = drivers.doubted(
        _departures(
            ("Q1", "left", "temperature probe drift"),
            ("Q2", "left", "stuck fermentation"),
            ("Q3", "in style", "temperature probe drift"),
        )
    )
    owed(found)
    assert found.ids() == ["Q1"]
    assert found.sentence() == (
        "Q1: temperature probe drift; its peak temperature is not to be trusted."
    )
    assert found.still_in(["Q1"]).sentence() == (
        "No batch left the house band by a fault of reading."
    )


def test_leaving_out_is_kept_apart_from_the_whole() -> None:
    season = invent(1, growers=12)
    profile = _long(season)
    whole = drivers.DriverAnswers(season.batches, profile)
    less = drivers.DriverAnswers(season.batches, profile, ("B000", "B001"))
    assert whole.effects is whole.effects
    assert len(less.effects.kept.rows) == len(whole.effects.kept.rows) - 2
    assert "2 left out by hand" in less.split.rests_on()
    assert not less.opened("attribute 1").points["batch_id"].isin(["B000", "B001"]).any()
