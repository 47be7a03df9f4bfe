"""Prediction: it beats the mean where something is planted, and says so where nothing is."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.linear_model import Ridge

from origin_compare.drivers import foresight
from origin_compare.drivers.foresight import BETTER, NO_BETTER, STRENGTHS, _ridge_path
from origin_compare.errors import NotEnoughData
from tests.answers import owed
from tests.drivers.seasons import invent, two_true

PROCESS = ["length_h", "peak_temp_c", "final_ph"]


def test_planted_slopes_foretell_growers_never_seen() -> None:
    season = invent(1, slopes=2 * two_true(), grower_sd=0.2, seasons=2)
    found = foresight(season.batches, season.profile, PROCESS)
    owed(found)
    rows = found.table().set_index(["left_out", "method", "attribute"])
    for unit in ("grower_id", "season"):
        for method in ("ridge", "partial least squares"):
            assert rows.loc[(unit, method, "attribute 1"), "verdict"] == BETTER
            assert rows.loc[(unit, method, "attribute 4"), "verdict"] == NO_BETTER
    assert "For a grower never seen" in found.sentence()
    assert "For a season never seen" in found.sentence()


def test_nothing_planted_is_no_better_than_the_mean() -> None:
    better = 0
    for seed in range(5):
        season = invent(seed, attributes=3)
        found = foresight(season.batches, season.profile, PROCESS)
        better += int((found.table()["verdict"] == BETTER).any())
        if better == 0:
            assert "no better than the mean of the others" in found.sentence()
    assert better <= 1


def test_growers_own_levels_do_not_leak() -> None:
    """A strong grower effect and a figure that names the grower: leaving rows out would foretell
    it, leaving the grower out cannot."""
    season = invent(4, growers=12, grower_sd=2.0)
    code = season.batches["grower_id"].astype("category").cat.codes
    batches = season.batches.assign(rain_mm=np.random.default_rng(0).normal(size=12)[code])
    table = foresight(batches, season.profile, ["rain_mm"]).table()
    assert (table["verdict"] == NO_BETTER).all()


def test_ridge_is_the_ridge_of_a_library() -> None:
    rng = np.random.default_rng(0)
    X, Y, new = rng.normal(size=(30, 5)), rng.normal(size=(30, 2)), rng.normal(size=(4, 5))
    path = _ridge_path(X, Y, new)
    for k in (0, 7, 15):
        want = Ridge(alpha=STRENGTHS[k]).fit(X, Y).predict(new)
        np.testing.assert_allclose(path[k], want, atol=1e-9)


def test_four_growers_are_too_few() -> None:
    season = invent(4, growers=4)
    with pytest.raises(
        NotEnoughData,
        match=r"^6 attributes told apart and 4 growers: foretelling needs one attribute and 5 "
        r"growers at least\.$",
    ):
        foresight(season.batches, season.profile, PROCESS)
