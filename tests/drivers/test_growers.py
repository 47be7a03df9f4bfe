"""Growers' profiles: drawn to the mean, covering their truth, no order of merit."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from origin_compare.drivers import effects, origins
from origin_compare.errors import NotEnoughData
from tests.answers import owed
from tests.drivers.seasons import Invented, invent, two_true


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


def _with_lots(seed: int, lot_sd: float, grower_sd: float = 0.0) -> Invented:
    """Six growers of three lots each, of eight, two and two batches."""
    season = invent(seed, growers=6, each=12, grower_sd=grower_sd, slopes=two_true())
    lot = np.repeat(np.arange(18), np.tile([8, 2, 2], 6))
    own = lot_sd * np.random.default_rng(seed + 900).normal(size=(18, 6))[lot]
    batches = season.batches.assign(lot_id=[f"L{k}" for k in lot])
    profile = type(season.profile)(
        season.profile.estimates + own, season.profile.errors, season.profile.told
    )
    return replace(season, batches=batches, profile=profile)


def test_growers_alike_whose_lots_differ_are_tested_against_their_lots() -> None:
    shares, flags = [], []
    for seed in range(12):
        season = _with_lots(seed, lot_sd=0.6)
        found = effects(season.batches, season.profile)
        shares += list(found.origins["p"] < 0.05)
        flags.append(origins(season.batches, season.profile).table()["stands_out"].any())
    assert np.mean(shares) < 0.15
    assert sum(flags) <= 2


def test_growers_more_than_a_point_off_are_flagged() -> None:
    flagged, off = 0, 0
    for seed in range(8):
        season = invent(seed, growers=6, each=12, grower_sd=0.8, slopes=two_true())
        found = origins(season.batches, season.profile).table()["stands_out"].to_numpy()
        far = (np.abs(season.growers - season.growers.mean(axis=0)) > 1).ravel()
        flagged, off = flagged + int((found & far).sum()), off + int(far.sum())
    assert flagged > 0.95 * off


def test_where_nobody_stands_out_the_gap_that_would_be_seen_is_said() -> None:
    season = invent(1, growers=6, each=12, grower_sd=0.0)
    said = origins(season.batches, season.profile).sentence()
    assert re.match(
        r"^No grower stands out from the others on any attribute the panel can tell; "
        r"one 0\.\d points off would, four times in five\.$",
        said,
    )
