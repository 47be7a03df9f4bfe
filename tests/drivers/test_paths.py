"""Total, direct and by way of: a planted path comes back, none is seen where none is."""

from __future__ import annotations

import numpy as np
import pytest

from origin_compare.drivers import path
from origin_compare.errors import NotEnoughData
from tests.answers import owed
from tests.drivers.seasons import Invented, Tasted, invent


def _field_to_length(
    seed: int, first: float, second: float, direct: float
) -> tuple[Invented, Tasted, np.ndarray]:
    """Grain nitrogen moves length by `first` steps, length attribute 1 by `second`, and nitrogen
    attribute 1 by `direct` besides."""
    season = invent(seed, growers=20, each=3, attributes=2, grower_sd=0.2)
    rng = np.random.default_rng(seed + 500)
    nitrogen = rng.normal(size=20)[np.repeat(np.arange(20), 3)]
    batches = season.batches.copy()
    batches["grain_n_pct_dm"] = 1.5 + 0.1 * nitrogen
    batches["length_h"] += 10 * first * nitrogen
    scores = season.profile.estimates.copy()
    length = (batches["length_h"].to_numpy() - 130) / 10
    scores["attribute 1"] += second * length + direct * nitrogen
    moved = Invented(
        batches, season.profile, season.slopes, season.growers, season.x, season.signal, 0.5
    )
    return moved, Tasted(scores, season.profile.errors, season.profile.told), nitrogen


def test_a_planted_path_is_held_and_named() -> None:
    held, seen, false = [], [], []
    for seed in range(15):
        season, profile, _ = _field_to_length(seed, 0.8, 0.5, 0.3)
        found = path(season.batches, profile, "grain_n_pct_dm", "length_h")
        one, two = found.table().to_dict("records")
        held.append(one["by_way_of_low"] <= 0.8 * 0.5 <= one["by_way_of_high"])
        held.append(one["direct_low"] <= 0.3 <= one["direct_high"])
        held.append(one["total_low"] <= 0.7 <= one["total_high"])
        seen.append(one["seen"])
        false.append(two["seen"])
    owed(found)
    assert np.mean(held) > 0.85
    assert np.mean(seen) > 0.9
    assert sum(false) <= 3
    assert found.sentence().startswith("Grain nitrogen goes with attribute 1 (+0.")
    assert "a third thing that moves both length and the flavour" in found.rests_on()


def test_no_path_is_seen_where_none_is() -> None:
    seen = 0
    for seed in range(15):
        season, profile, _ = _field_to_length(seed, 0.0, 0.5, 0.3)
        found = path(season.batches, profile, "grain_n_pct_dm", "length_h")
        seen += int(found.table()["seen"].iloc[0])
    assert seen <= 2


def test_trait_and_variable_that_move_together_are_refused() -> None:
    season, profile, nitrogen = _field_to_length(1, 0.8, 0.5, 0.3)
    batches = season.batches.assign(
        length_h=130 + 10 * nitrogen + np.random.default_rng(0).normal(size=60)
    )
    with pytest.raises(
        NotEnoughData,
        match=r"^Grain nitrogen and length move together here \(r = \d\.\d\d\), so no path between "
        r"them can be followed\.$",
    ):
        path(batches, profile, "grain_n_pct_dm", "length_h")
