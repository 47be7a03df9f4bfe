"""Growers' profiles: drawn to the mean, covering their truth, no order of merit."""

from __future__ import annotations

import re

import numpy as np
import pytest

from origin_compare.drivers import origins
from origin_compare.errors import NotEnoughData
from tests.answers import owed
from tests.drivers.seasons import invent, two_true


def test_intervals_cover_the_planted_growers_and_are_closer_than_plain_means() -> None:
    held, ours, plain = [], 0.0, 0.0
    for seed in range(12):
        season = invent(seed, growers=12, each=3, slopes=two_true())
        found = origins(season.batches, season.profile)
        table = found.table()
        truth = (season.growers - season.growers.mean(axis=0)).ravel()
        held += list((table["direct_low"] <= truth) & (truth <= table["direct_high"]))
        ours += float(((table["direct"] - truth) ** 2).sum())
        means = season.profile.wide().groupby(season.batches["grower_id"].to_numpy()).mean()
        plain += float((((means - means.mean()).to_numpy().ravel() - truth) ** 2).sum())
    assert 0.91 < np.mean(held) < 0.99
    assert ours < 0.85 * plain


def test_one_grower_far_off_stands_out_by_name_and_code_order() -> None:
    season = invent(3, grower_sd=0.2)
    scores = season.profile.estimates.copy()
    scores.loc[season.batches["grower_id"].eq("G04").to_numpy(), "attribute 1"] += 3.0
    profile = type(season.profile)(scores, season.profile.errors, season.profile.told)
    found = origins(season.batches, profile)
    owed(found)
    assert found.sentence() == "Growers stand out on attribute 1 (G04)."
    assert found.table()["grower_id"].is_monotonic_increasing


def test_nobody_stands_out_when_growers_are_alike() -> None:
    found = [
        origins(season.batches, season.profile).table()["stands_out"].any()
        for season in (invent(seed, grower_sd=0.0) for seed in range(8))
    ]
    assert sum(found) <= 1


def test_one_batch_each_is_refused() -> None:
    season = invent(3, growers=20, each=1)
    says = (
        "20 growers in 20 batches: profiles side by side need three growers or more, some of "
        "them with several batches."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(says)}$"):
        origins(season.batches, season.profile)
