"""Intervals, p-values and adjustments against SciPy's and hand-worked ones."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.estimates import Estimates, false_discovery, holm
from origin_compare.recent import Recent


def test_interval_and_p_are_students() -> None:
    value, se, df = (
        np.array([1.0, -2.0, 0.3]),
        np.array([0.5, 0.7, 0.2]),
        np.array([3.0, 7.5, 40.0]),
    )
    found = Estimates(value, se, df)
    low, high = stats.t.interval(0.95, df, value, se)
    np.testing.assert_allclose(found.interval(), (low, high))
    np.testing.assert_allclose(found.p, 2 * stats.t.sf(np.abs(value) / se, df))
    normal = Estimates(1.0, 0.5)
    np.testing.assert_allclose(normal.interval(0.9), stats.norm.interval(0.9, 1.0, 0.5))


def test_no_error_is_certainty_and_a_missing_one_is_missing() -> None:
    found = Estimates(np.array([0.0, 2.0, 1.0]), np.array([0.0, 0.0, np.nan]), 5.0)
    np.testing.assert_array_equal(found.p, [1.0, 0.0, np.nan])
    np.testing.assert_array_equal(found.interval()[0], [0.0, 2.0, np.nan])


def test_columns_are_named_for_a_table() -> None:
    found = Estimates(1.0, 0.5, 10.0)
    assert list(found.columns("slope")) == ["slope", "low", "high"]
    assert list(found.columns("within", "within")) == ["within", "within_low", "within_high"]


def test_a_missing_p_stays_missing_and_counts_for_nothing() -> None:
    p = pd.Series([0.01, np.nan, 0.04, 0.03], index=list("abcd"))
    # By hand: 0.01 x 3, then 0.03 x 3 / 2 and 0.04, made rising: 0.03, 0.04, 0.04.
    np.testing.assert_allclose(false_discovery(p), [0.03, np.nan, 0.04, 0.04])
    assert list(false_discovery(p).index) == list("abcd")
    asked = np.array([True, True, False, True])
    np.testing.assert_allclose(false_discovery(p, asked), [0.02, np.nan, np.nan, 0.03])
    assert false_discovery(np.array([])).size == 0
    assert np.isnan(false_discovery(np.array([np.nan]))).all()


def test_holm_by_hand() -> None:
    np.testing.assert_allclose(holm([0.01, 0.04, 0.03]), [0.03, 0.06, 0.06])


def test_recent_lets_the_longest_unasked_go() -> None:
    made: list[str] = []
    kept: Recent[str] = Recent(2)

    def ask(key: str) -> str:
        return kept.get(key, lambda: made.append(key) or key)  # type: ignore[func-returns-value]

    for key in ("a", "b", "a", "c", "a", "b"):
        assert ask(key) == key
    assert made == ["a", "b", "c", "b"]
