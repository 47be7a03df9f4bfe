"""A short look at coverage; the long one is `python -m tests.faults.panel_coverage`."""

import numpy as np
import pytest

from tests.faults.panel_coverage import LAYOUTS, one


@pytest.mark.parametrize("name", ["three tastings, control", "hardly any disagreement"])
def test_intervals_hold_the_truth_about_as_often_as_they_say(name: str) -> None:
    level, distance = np.mean([one(seed, LAYOUTS[name]) for seed in range(25)], axis=0)
    # the batches of one panel share its assessors, so a level interval counts as one in 25
    assert 0.8 < level <= 1
    assert 0.9 < distance < 0.99
