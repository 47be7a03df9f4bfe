"""What a field gave and what handling did: parts that add up, hold the truth, and say so."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from origin_compare.answers import Answer
from origin_compare.drivers import FieldAndHandling, field_and_handling
from origin_compare.drivers.field_and_handling import BATCH, EITHER, HANDLING, OF_BATCH, ORIGIN
from origin_compare.errors import UnknownName
from tests.drivers.seasons import Invented, invent, two_true


def _asked(season: Invented) -> FieldAndHandling:
    return field_and_handling(season.batches, season.profile)


def test_the_parts_add_up_to_the_difference_from_the_seasons_middle() -> None:
    season = invent(3, seasons=2, slopes=two_true())
    found = _asked(season)
    summed = found.parts.groupby(["batch_id", "attribute"])["estimate"].sum()
    table = found.table().set_index(["batch_id", "attribute"])
    np.testing.assert_allclose(summed.loc[table.index], table["difference"], atol=1e-7)
    scores = season.profile.wide()
    middle = scores.groupby(season.batches["season"].to_numpy()).transform("mean")
    at = table["difference"].unstack().loc[scores.index, scores.columns]
    np.testing.assert_allclose(at, scores - middle, atol=1e-9)


def test_intervals_hold_the_planted_parts() -> None:
    held: dict[str, list[bool]] = {HANDLING: [], ORIGIN: []}
    for seed in range(10):
        season = invent(seed, growers=12, each=4, slopes=two_true())
        code = season.batches["grower_id"].str[1:].astype(int)
        truth = {HANDLING: season.x @ season.slopes, ORIGIN: season.growers[code]}
        parts = _asked(season).parts
        for part, planted in truth.items():
            rows = parts[parts["part"] == part]
            right = (planted - planted.mean(axis=0)).ravel()
            held[part] += list((rows["low"] <= right) & (right <= rows["high"]))
    assert 0.92 < np.mean(held[HANDLING]) < 0.99
    assert 0.92 < np.mean(held[ORIGIN]) < 0.99


def _hot(seed: int = 5) -> Invented:
    """Batch B007 was made 4 °C too hot, which costs a point each."""
    slopes = two_true()
    slopes[1, 0] = -1.0
    season = invent(seed, slopes=slopes, batch_sd=0.2, panel_sd=0.2)
    batches, scores = season.batches.copy(), season.profile.estimates.copy()
    scores.loc["B007", "attribute 1"] -= 33.0 - batches.loc[7, "peak_temp_c"]
    batches.loc[7, "peak_temp_c"] = 33.0
    profile = type(season.profile)(scores, season.profile.errors, season.profile.told)
    return Invented(batches, profile, slopes, season.growers, season.x, season.signal, 0.2)


def test_a_hot_batch_hid_what_its_barley_would_have_given() -> None:
    found = _asked(_hot()).of("B007")
    assert isinstance(found, Answer)
    assert re.match(
        r"^At the house's usual process this barley would have scored attribute 1 −?\d\.\d "
        r"\(−?\d\.\d to −?\d\.\d\); it was made at 33\.0 °C \(usual 29\.\d °C\) and scored "
        r"−\d\.\d\.",
        found.sentence(),
    )
    row = found.scores[found.scores["attribute"] == "attribute 1"].iloc[0]
    assert row["verdict"] == "clear"
    assert row["most"] == "peak_temp_c"
    assert row["handling"] == pytest.approx(-4.0, abs=1.2)
    assert row["usual"] > row["score"] + 2


def test_where_the_grower_sets_the_process_the_two_stand_as_one() -> None:
    found = _asked(invent(3, tied=0.999))
    assert set(found.parts["part"]) == {EITHER, BATCH, "panel"}
    said = found.of("B000").sentence()
    assert said.startswith("Cannot be parted here. ")
    assert "this data cannot tell length from grower." in said
    summed = found.parts.groupby(["batch_id", "attribute"])["estimate"].sum()
    table = found.table().set_index(["batch_id", "attribute"])
    np.testing.assert_allclose(summed.loc[table.index], table["difference"], atol=1e-6)


def test_every_flavour_of_a_batch_has_its_sentence() -> None:
    found = _asked(_hot()).of("B007")
    assert found.on("attribute 1").endswith(".")
    for attribute, verdict in zip(found.scores["attribute"], found.scores["verdict"], strict=True):
        start = {
            "clear": "At the house's usual process this barley would have scored ",
            "a hint": f"A hint that handling moved {attribute} of B007: ",
            "not shown": f"Handling is not seen to have moved {attribute} of B007: ",
        }[verdict]
        assert found.on(attribute).startswith(start)
    tied = _asked(invent(3, tied=0.999)).of("B000")
    assert tied.on("attribute 1").startswith("Cannot be parted here. ")
    with pytest.raises(UnknownName, match=r"^No smoky was asked about"):
        found.on("smoky")


def test_with_one_batch_each_origin_and_batch_are_one_part() -> None:
    found = _asked(invent(3, growers=30, each=1, slopes=two_true()))
    assert set(found.parts["part"]) == {HANDLING, OF_BATCH, "panel"}
    assert "grower and batch are one thing" in found.sentence()


def test_nothing_is_surely_hidden_where_nothing_is_planted() -> None:
    clear = [
        _asked(season).table()["verdict"].eq("clear").any()
        for season in (invent(seed) for seed in range(8))
    ]
    assert sum(clear) <= 2


def test_a_grower_over_all_batches() -> None:
    season = invent(3, grower_sd=0.2, slopes=two_true())
    scores = season.profile.estimates.copy()
    scores.loc[season.batches["grower_id"].eq("G04").to_numpy(), "attribute 3"] += 3.0
    profile = type(season.profile)(scores, season.profile.errors, season.profile.told)
    found = field_and_handling(season.batches, profile).of_grower("G04")
    assert isinstance(found, Answer)
    assert found.sentence().startswith("G04: stays with the barley: attribute 3 +2.")
    assert found.rests_on().startswith("6 batches of G04. ")
    assert isinstance(found.table(), pd.DataFrame)


def test_a_batch_not_used_is_refused_by_name() -> None:
    says = (
        "Batch X9 is not among the 60 batches that ended, were tasted and have all process "
        "figures and one known origin."
    )
    with pytest.raises(UnknownName, match=f"^{re.escape(says)}$"):
        _asked(invent(3)).of("X9")
