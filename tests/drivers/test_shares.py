"""The split between origin and process: what is planted comes back, what is noise is taken out."""

from __future__ import annotations

import re

import numpy as np
import pytest

from origin_compare.drivers import partition, split
from origin_compare.errors import NotEnoughData
from tests.answers import owed
from tests.drivers.seasons import Tasted, invent, two_true


def test_without_panel_error_it_is_the_partition() -> None:
    season = invent(3, slopes=two_true(), panel_sd=0.0)
    found = split(season.batches, season.profile, draws=19)
    rows = season.batches
    process = rows[["length_h", "peak_temp_c", "final_ph"]]
    want = partition(
        season.profile.wide().to_numpy(), {"o": rows[["grower_id"]], "p": process}, permutations=0
    )
    assert found.of("origin")[0] == pytest.approx(100 * want.own["o"], abs=1e-9)
    assert found.of("process")[0] == pytest.approx(100 * want.own["p"], abs=1e-9)
    assert found.of("both")[0] == pytest.approx(100 * want.shared["o", "p"], abs=1e-9)
    assert found.of("unexplained")[0] == pytest.approx(100 * want.unexplained, abs=1e-9)


def test_panel_noise_is_taken_out_of_the_rest() -> None:
    """Averaged over seasons, shares of the visible do not depend on how noisy the panel is."""
    means = {}
    for panel_sd in (0.05, 0.6):
        parts = []
        for seed in range(30):
            season = invent(seed, slopes=two_true(), panel_sd=panel_sd)
            found = split(season.batches, season.profile, draws=2)
            parts.append([found.of(part)[0] for part in ("origin", "process", "unexplained")])
        means[panel_sd] = np.mean(parts, axis=0)
    np.testing.assert_allclose(means[0.05], means[0.6], atol=4.5)


def test_the_sentence_has_three_shares_with_intervals() -> None:
    season = invent(3, slopes=two_true())
    found = split(season.batches, season.profile)
    owed(found)
    assert re.fullmatch(
        r"Origin explains \d+ % \(\d+–\d+\) of what the panel can see, process \d+ % \(\d+–\d+\), "
        r"(about 0|\d+) % cannot be told apart\.",
        found.sentence(),
    )
    assert "6 attributes that the panel can tell apart" in found.rests_on()


def test_tied_process_lands_in_both_and_is_named() -> None:
    season = invent(3, tied=0.97, slopes=1.5 * two_true(2), attributes=2, grower_sd=0.2)
    found = split(season.batches, season.profile)
    assert found.of("both")[0] > 50
    assert "this data cannot tell length from grower" in found.sentence()


def test_one_batch_per_grower_is_refused() -> None:
    season = invent(3, growers=20, each=1)
    says = (
        "20 batches of 20 growers leave 0 to judge by; with one batch per grower, grower and "
        "batch are one thing. Mash a lot of several growers at least twice."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(says)}$"):
        split(season.batches, season.profile)


def test_a_panel_that_tells_nothing_apart_is_refused() -> None:
    season = invent(3)
    deaf = Tasted(season.profile.estimates, season.profile.errors, ())
    says = (
        "The panel tells batches apart on no attribute, so there is nothing to split between "
        "origin and process. More assessors or replicates would narrow the panel's error."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(says)}$"):
        split(season.batches, deaf)


def test_pure_noise_is_refused() -> None:
    season = invent(3, panel_sd=5.0, batch_sd=0.01, grower_sd=0.01)
    with pytest.raises(NotEnoughData, match="is the panel's own error, so there is nothing left"):
        split(season.batches, season.profile)


def test_the_same_seed_gives_the_same_interval() -> None:
    season = invent(3)
    first, again, other = (
        split(season.batches, season.profile, seed=seed).of("origin") for seed in (1, 1, 2)
    )
    assert first == again
    assert first != other


def test_permutations_tell_process_and_origin_from_nothing() -> None:
    """Restricted permutations: clear where something is planted, and where nothing is, p spreads
    evenly (more than 6 of 30 below 0.05 come by chance in fewer than one case in a thousand)."""
    season = invent(3, slopes=two_true())
    planted = split(season.batches, season.profile, draws=9)
    assert planted.chances == {"origin": 0.001, "process": 0.001}
    assert (
        "By 999 permutations of the whole profile: origin at like process p = 0.001 (batches trade "
        "places within a season), process within origin p = 0.001 (within a grower)."
    ) in planted.rests_on()
    low = {"origin": 0, "process": 0}
    for seed in range(30):
        season = invent(seed, grower_sd=0.0)
        chances = split(season.batches, season.profile, draws=2, seed=seed).chances
        for name, p in chances.items():
            low[name] += p <= 0.05
    assert max(low.values()) <= 6


def test_the_line_of_a_share_holds_its_dot_and_stays_possible() -> None:
    season = invent(8, slopes=two_true(), growers=6, each=3)
    rows = split(season.batches, season.profile).shares
    rows = rows[rows["part"].isin(["origin", "process", "unexplained"])]
    assert (rows["low"] <= rows["share_pct"]).all()
    assert (rows["share_pct"] <= rows["high"]).all()
    assert (rows["low"] >= np.minimum(rows["share_pct"], 0.0)).all()
    assert (rows["high"] <= np.maximum(rows["share_pct"], 100.0) + 1e-9).all()
