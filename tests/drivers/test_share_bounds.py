"""The intervals of shares: held as often as they say, exactly where the theory is exact."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from origin_compare.drivers.shares.bounds import (
    Errors,
    _exceeded,
    _noncentrality,
    drawn_errors,
    drawn_signal,
)


@pytest.mark.parametrize("df", [3, 9, 19, 60])
@pytest.mark.parametrize("noncentrality", [0.5, 10.0, 200.0])
def test_chances_of_a_noncentral_chi_square(df: float, noncentrality: float) -> None:
    chances = np.array([0.025, 0.5, 0.975])
    x = stats.ncx2.isf(chances, df, noncentrality)
    got = _exceeded(x, np.full(3, df), np.full(3, noncentrality))
    np.testing.assert_allclose(got, chances, atol=0.007)
    back = _noncentrality(x, np.full(3, df), got)
    np.testing.assert_allclose(back, noncentrality, rtol=1e-3, atol=1e-3)


@pytest.mark.parametrize(("size", "least", "most"), [(0.0, 0.955, 0.99), (12.0, 0.925, 0.97)])
def test_a_sum_of_squares_is_held(size: float, least: float, most: float) -> None:
    """600 seasons; where nothing is behind it 97.5 % is meant, since nothing lies below nothing."""
    rng = np.random.default_rng(5)
    rank, left, held = 6, 40, 0
    for _ in range(600):
        part = rng.normal(size=rank)
        part[0] += np.sqrt(size)
        error = rng.chisquare(left) / rng.chisquare(left, size=(200, 1))
        drawn = drawn_signal(
            np.array([(part**2).sum()]), rank, Errors(error, np.ones(1)), np.zeros(1), rng
        )
        low, high = np.percentile(drawn, [2.5, 97.5], method="hazen")
        held += low <= size <= high
    assert least < held / 600 < most


def test_attributes_that_move_together_count_as_fewer() -> None:
    rng = np.random.default_rng(1)
    apart = rng.normal(size=(400, 5))
    one = rng.normal(size=(400, 1))
    many = {
        name: drawn_errors(table - table.mean(axis=0), 399, 9, rng).many
        for name, table in {"apart": apart, "one": one @ np.ones((1, 5))}.items()
    }
    assert many["apart"][0] == pytest.approx(5.0, abs=0.2)
    assert many["one"][0] == pytest.approx(1.0, abs=0.05)
    assert (many["apart"][1:] == 1.0).all()
