"""A quick look at what `tests/faults/drivers_truth.py` measures at length.

Bounds are the binomial 99.9 % ranges about the nominal figures at these numbers of seasons.
"""

from __future__ import annotations

import numpy as np

from tests.drivers.truth import growers_held, tally


def test_balanced_seasons_hold_their_truth() -> None:
    told = tally(range(1000, 1016))
    assert np.mean(told.held) > 0.90
    assert np.mean(told.false_share) <= 0.16
    assert np.mean(told.found) > 0.9
    for part, held in told.split_held.items():
        assert np.mean(held) >= 0.74, part
        assert abs(np.mean(told.split_off[part])) < 6, part


def test_tiny_seasons_hold_their_truth() -> None:
    told = tally(range(1000, 1016), with_split=False, growers=4, each=3)
    assert np.mean(told.held) > 0.90
    assert np.mean(told.false_share) <= 0.16


def test_fully_confounded_seasons_are_refused() -> None:
    told = tally(range(1000, 1010), with_split=False, tied=1.0)
    assert np.mean(told.refused) >= 0.95


def test_the_growers_share_holds_its_truth() -> None:
    assert np.mean(growers_held(range(1000, 1012), 0.5)) > 0.87
