"""Discrimination tests against the exact binomial and against simulated tastings."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from origin_compare.panel import (
    compare,
    d_prime,
    intraclass,
    maximum_correct,
    minimum_correct,
    p_value,
    power,
    power_alike,
    sample_size,
    sample_size_alike,
)
from origin_compare.panel.discrimination.sensory_distance import METHODS, distance, share_correct

ONE_SIDED = ["triangle", "duo-trio", "paired", "tetrad"]


@pytest.mark.parametrize("test", METHODS)
@pytest.mark.parametrize("alpha", [0.1, 0.05, 0.01])
def test_minimum_is_the_first_that_reaches_alpha(test: str, alpha: float) -> None:
    for n in range(8, 90, 7):
        least = minimum_correct(n, test, alpha)
        sides, guess = METHODS[test].sides, METHODS[test].guess
        assert sides * stats.binom.sf(least - 1, n, guess) <= alpha
        assert sides * stats.binom.sf(least - 2, n, guess) > alpha
        assert p_value(least, n, test) <= alpha < p_value(least - 1, n, test)


def test_the_kind_given_is_the_kind_returned() -> None:
    n = pd.Series([10, 20, 30], index=list("abc"))
    assert isinstance(minimum_correct(10), int)
    assert isinstance(minimum_correct(n.to_numpy()), np.ndarray)
    pd.testing.assert_series_equal(minimum_correct(n), pd.Series([7, 11, 15], index=list("abc")))
    estimate, se = d_prime(pd.Series([7, 11, 15], index=list("abc")), n)
    assert list(estimate.index) == list("abc")
    assert se["b"] == pytest.approx(d_prime(11, 20).se)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (
            lambda: minimum_correct(2),
            "n: 2 answers are too few for the triangle test at 0.05: even all correct would prove "
            "nothing. Take more answers.",
        ),
        (lambda: minimum_correct(0), "n: 0 is below 1. Give the number of answers."),
        (lambda: minimum_correct(9, alpha=5), "alpha: 5 is outside 0-1. Usual is 0.05."),
        (
            lambda: minimum_correct(9, "square"),
            "test: 'square' is not known. Choose one of triangle, duo-trio, paired, "
            "paired-two-sided, tetrad.",
        ),
        (lambda: d_prime(11, 10), "correct: 11 is not a whole number from 0 to 10."),
        (
            lambda: sample_size(0.05),
            "d_prime: 0.05 needs about 26,048,826 answers, more than 5,000. "
            "Ask for a larger difference or another test.",
        ),
        (
            lambda: intraclass([[1.0, 2.0], [3.0, float("nan")]]),
            "scores: no score in row 2, column 2. Leave out the targets or judges with gaps.",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_words(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=f"^{re.escape(words)}$"):
        call()


def answers(test: str, d: float, n: int, rng: np.random.Generator) -> np.ndarray:
    """Simulated Thurstonian assessors: unit normal perceptions, nearest pair or larger wins."""
    if test == "triangle":
        a, b, odd = rng.normal(size=n), rng.normal(size=n), rng.normal(d, size=n)
        return np.abs(a - b) < np.minimum(np.abs(a - odd), np.abs(b - odd))
    if test == "duo-trio":
        reference, same, odd = rng.normal(size=n), rng.normal(size=n), rng.normal(d, size=n)
        return np.abs(reference - same) < np.abs(reference - odd)
    if test == "tetrad":
        a, b = rng.normal(size=(2, n)), rng.normal(d, size=(2, n))
        return (a.max(axis=0) < b.min(axis=0)) | (b.max(axis=0) < a.min(axis=0))
    return rng.normal(d, size=n) > rng.normal(size=n)


@pytest.mark.parametrize("test", ONE_SIDED)
@pytest.mark.parametrize("d", [0.0, 0.8, 2.0])
def test_share_correct_agrees_with_simulated_assessors(test: str, d: float) -> None:
    n = 200_000
    found = answers(test, d, n, np.random.default_rng(7)).mean()
    share = share_correct(d, test)
    assert found == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / n))


@pytest.mark.parametrize("test", ONE_SIDED)
def test_distance_and_share_are_inverse(test: str) -> None:
    for d in (0.1, 0.5, 1.0, 2.5, 4.0):
        assert distance(share_correct(d, test), test) == pytest.approx(d, abs=1e-7)


def test_interval_of_d_prime_covers_and_its_se_is_right() -> None:
    rng = np.random.default_rng(5)
    true, n = 1.5, 60
    counts = rng.binomial(n, share_correct(true, "tetrad"), 400)
    found = d_prime(counts, n, "tetrad")
    assert np.mean((found.low <= true) & (true <= found.high)) >= 0.94
    assert np.mean(found.se) == pytest.approx(np.std(found.estimate), rel=0.15)


def test_at_the_ends_the_interval_still_speaks() -> None:
    none, every = d_prime(5, 30), d_prime(30, 30)
    assert (none.estimate, none.low) == (0.0, 0.0)
    assert np.isnan(none.se)
    assert 0 < none.high < 2
    assert np.isinf(every.estimate) and np.isnan(every.se) and 3 < every.low < 5
    assert d_prime(5, 30, "paired-two-sided").estimate == -d_prime(25, 30, "paired").estimate


@pytest.mark.parametrize("test", METHODS)
def test_maximum_is_the_last_that_shows_likeness(test: str) -> None:
    share, sides = share_correct(1.2, test), METHODS[test].sides
    for n in (12, 40, 77, 200):
        most = maximum_correct(n, 1.2, test)
        shown = [k for k in range(n + 1) if stats.binom.cdf(k, n, share) <= 0.05]
        wanted = max(shown, default=-1)
        assert most == (wanted if sides == 1 or 2 * wanted >= n else -1)


@pytest.mark.parametrize("test", METHODS)
def test_sample_size_for_likeness_reaches_its_power_and_keeps_it(test: str) -> None:
    n = sample_size_alike(1.5, test)
    assert power_alike(n - 1, 1.5, test) < 0.8
    assert all(power_alike(n + more, 1.5, test) >= 0.8 for more in range(20))
    # identical spirits, so many guesses: how often the test itself says "alike"
    counts = np.random.default_rng(4).binomial(n, METHODS[test].guess, 2000)
    said = {k: compare(int(k), n, test, margin=1.5).verdict == "alike" for k in set(counts)}
    found = np.mean([said[k] for k in counts])
    assert found == pytest.approx(power_alike(n, 1.5, test), abs=0.04)


@pytest.mark.parametrize("test", METHODS)
def test_sample_size_reaches_the_power_and_keeps_it(test: str) -> None:
    n = sample_size(1.5, test)
    assert power(n - 1, 1.5, test) < 0.8
    assert all(power(m, 1.5, test) >= 0.8 for m in range(n, n + 60))


def test_power_is_the_share_of_simulated_tests_that_find_it() -> None:
    rng = np.random.default_rng(1)
    least = minimum_correct(40, "triangle")
    found = np.mean([answers("triangle", 1.5, 40, rng).sum() >= least for _ in range(4000)])
    assert found == pytest.approx(power(40, 1.5, "triangle"), abs=0.025)


def test_likeness_is_a_test_of_its_own() -> None:
    most = maximum_correct(60, 1.5)
    assert compare(most, 60, margin=1.5).verdict == "alike"
    assert compare(most + 1, 60, margin=1.5).verdict == "not shown"
    assert compare(30, 60, margin=0.5).verdict == "different"
    # a small test that finds nothing has not shown likeness
    few = compare(4, 12, margin=1.0)
    assert few.verdict == "not shown"
    assert few.sentence() == (
        "4 of 12 correct in the triangle test: neither a difference nor likeness is shown "
        "(p = 0.607; d-prime 0.00, 95 % interval 0.00 to 2.24); a difference of d-prime 1 would "
        "have been found 7 times in 100."
    )
    assert few.rests_on() == "12 answers, each given on its own; exact binomial at 5 %."
    assert few.table().loc[0, "verdict"] == "not shown"


def test_a_difference_says_itself() -> None:
    assert compare(18, 30).sentence() == (
        "18 of 30 correct in the triangle test: the two are told apart (p = 0.002; d-prime 1.98, "
        "95 % interval 0.92 to 2.95)."
    )
