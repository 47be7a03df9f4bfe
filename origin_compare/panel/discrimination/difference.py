"""Discrimination tests: is there a difference, is it small enough, how many answers are needed.

Exact binomial throughout (ISO 4120 and ISO 10399 use the same distribution); similarity is a test
of its own against a margin set beforehand, never "not different" (Meyners, Food Quality and
Preference 26, 2012, 231, from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.answers import count
from origin_compare.panel.discrimination.sensory_distance import (
    distance,
    method,
    share_correct,
    slope,
)


@dataclass(frozen=True, slots=True)
class Distance:
    """A d-prime with its standard error and 95 % interval; unpacks as `estimate, se`.

    `se` is NaN where answers are no better than guessing or all correct; the interval, from the
    exact interval of Clopper and Pearson (Biometrika 26, 1934), still holds there.
    """

    estimate: Any
    se: Any
    low: Any
    high: Any

    def __iter__(self) -> Iterator[Any]:
        return iter((self.estimate, self.se))


@dataclass(frozen=True, slots=True)
class Difference:
    """The outcome of one discrimination test.

    `verdict`: "different", "alike" (closer than `margin` in d-prime) or "not shown" either way.
    `p`: chance of so many correct answers by guessing; `p_alike`: chance of so few if the true
    difference were at the margin (None without one). `power`: chance that this test would have
    found a difference of the size of the margin (of d-prime 1 without one).
    """

    test: str
    correct: int
    n: int
    alpha: float
    minimum: int
    p: float
    distance: Distance
    margin: float | None
    p_alike: float | None
    power: float
    verdict: str

    def sentence(self) -> str:
        head = f"{self.correct} of {self.n} correct in the {self.test} test"
        d = self.distance
        size = f"d-prime {d.estimate:.2f}, 95 % interval {d.low:.2f} to {d.high:.2f}"
        if self.verdict == "different":
            return f"{head}: the two are told apart (p = {_p(self.p)}; {size})."
        if self.verdict == "alike":
            return (
                f"{head}: the two are alike within d-prime {self.margin:g} "
                f"(p = {_p(self.p_alike or 0)}; {size})."
            )
        asked = self.margin if self.margin is not None else 1.0
        return (
            f"{head}: neither a difference nor likeness is shown (p = {_p(self.p)}; {size}); "
            f"a difference of d-prime {asked:g} would have been found "
            f"{100 * self.power:.0f} times in 100."
        )

    def table(self) -> pd.DataFrame:
        return pd.DataFrame(
            [
                {
                    "test": self.test,
                    "correct": self.correct,
                    "n": self.n,
                    "minimum_correct": self.minimum,
                    "p": self.p,
                    "d_prime": self.distance.estimate,
                    "d_prime_se": self.distance.se,
                    "d_prime_low": self.distance.low,
                    "d_prime_high": self.distance.high,
                    "margin": self.margin,
                    "p_alike": self.p_alike,
                    "power": self.power,
                    "verdict": self.verdict,
                }
            ]
        )

    def rests_on(self) -> str:
        return (
            f"{count(self.n, 'answer')}, each given on its own; exact binomial at "
            f"{100 * self.alpha:g} %."
        )


def minimum_correct(n: Any, test: str = "triangle", alpha: Any = 0.05) -> Any:
    """Least number of correct answers that shows a difference at `alpha` (exact binomial).

    `n` and `alpha` may be scalars, arrays or Series of one length; the same kind comes back.
    For `paired-two-sided` it is the size of the majority. Raises `ValueError` for n below 1, alpha
    outside 0-1, and where even all answers correct would not be enough.
    """
    return _each(lambda k, a: _minimum(k, test, a), n, alpha)


def p_value(correct: int, n: int, test: str = "triangle") -> float:
    """Chance of so many correct answers or more by guessing (two-sided: so large a majority)."""
    kind = method(test)
    _check_counts(correct, n)
    if kind.sides == 1:
        return float(stats.binom.sf(correct - 1, n, kind.guess))
    most = max(correct, n - correct)
    return min(1.0, 2 * float(stats.binom.sf(most - 1, n, kind.guess)))


def power(n: int, d_prime: float, test: str = "triangle", alpha: float = 0.05) -> float:
    """Chance that n answers show a difference of that d-prime; 0 if n can never be enough."""
    kind = method(test)
    try:
        least = _minimum(n, test, alpha)
    except _TooFew:
        return 0.0
    share = share_correct(abs(float(d_prime)), test)
    found = float(stats.binom.sf(least - 1, n, share))
    return found + (float(stats.binom.cdf(n - least, n, share)) if kind.sides == 2 else 0.0)


def sample_size(
    d_prime: float,
    test: str = "triangle",
    alpha: float = 0.05,
    wanted: float = 0.8,
    most: int = 5000,
) -> int:
    """Least n from which on the power never falls below `wanted` (exact power is a saw-tooth).

    Raises `ValueError` if more than `most` answers would be needed.
    """
    if not d_prime > 0:
        raise ValueError(f"d_prime: {d_prime} is not above 0. Give the difference to be found.")
    tails = alpha / method(test).sides, wanted
    return _from_there_on(
        lambda n: power(n, d_prime, test, alpha) >= wanted, float(d_prime), test, tails, most
    )


def power_alike(n: int, margin: float, test: str = "triangle", alpha: float = 0.05) -> float:
    """Chance that n answers on two identical spirits show likeness within `margin` (d-prime)."""
    kind, most = method(test), maximum_correct(n, margin, test, alpha)
    if kind.sides == 1:
        return float(stats.binom.cdf(most, n, kind.guess))
    return max(0.0, float(stats.binom.cdf(most, n, 0.5) - stats.binom.cdf(n - most - 1, n, 0.5)))


def sample_size_alike(
    margin: float,
    test: str = "triangle",
    alpha: float = 0.05,
    wanted: float = 0.8,
    most: int = 5000,
) -> int:
    """Least n from which on two identical spirits are shown alike within `margin` that often.

    Raises `ValueError` if more than `most` answers would be needed.
    """
    _check_margin(margin)
    tails = alpha, wanted if method(test).sides == 1 else (1 + wanted) / 2
    return _from_there_on(
        lambda n: power_alike(n, margin, test, alpha) >= wanted, float(margin), test, tails, most
    )


def _from_there_on(
    enough: Callable[[int], bool], d_prime: float, test: str, tails: tuple[float, float], most: int
) -> int:
    """Least n from which on `enough` holds, sought downwards from well above the normal's guess."""
    share, guess = share_correct(d_prime, test), method(test).guess
    z = stats.norm.ppf(1 - tails[0]), stats.norm.ppf(tails[1])
    rough = (
        (z[0] * np.sqrt(guess * (1 - guess)) + z[1] * np.sqrt(share * (1 - share)))
        / (share - guess)
    ) ** 2
    if rough > most:
        raise ValueError(
            f"d_prime: {d_prime:g} needs about {rough:,.0f} answers, more than {most:,}. "
            "Ask for a larger difference or another test."
        )
    found = max(1, int(1.3 * rough) + 40)
    while found > 1 and enough(found - 1):
        found -= 1
    return found


def maximum_correct(n: int, margin: float, test: str = "triangle", alpha: float = 0.05) -> int:
    """Most correct answers at which likeness within `margin` (d-prime) is still shown; -1 if none.

    One-sided exact binomial against the share correct at the margin. For `paired-two-sided` it is
    the largest majority.
    """
    _check_counts(0, n)
    _check_margin(margin)
    share = share_correct(float(margin), test)
    most = int(stats.binom.ppf(alpha, n, share))
    while most >= 0 and stats.binom.cdf(most, n, share) > alpha:
        most -= 1
    return -1 if method(test).sides == 2 and most < n - most else most


def d_prime(correct: Any, n: Any, test: str = "triangle") -> Distance:
    """d-prime with standard error (delta method) and exact 95 % interval.

    `correct` and `n` may be scalars, arrays or Series of one length. For `paired-two-sided`,
    `correct` counts the answers for one named sample and the sign says which way.
    Raises `ValueError` for counts that cannot be.
    """
    if np.ndim(correct) == 0 and np.ndim(n) == 0:
        return Distance(*_distance(int(correct), int(n), test))
    found = _each(lambda c, k: _distance(int(c), int(k), test), correct, n)
    if isinstance(found, pd.Series):
        columns = np.array(found.tolist()).T
        return Distance(*(pd.Series(column, index=found.index) for column in columns))
    return Distance(*found.T)


def compare(
    correct: int,
    n: int,
    test: str = "triangle",
    alpha: float = 0.05,
    margin: float | None = None,
) -> Difference:
    """Different, alike within a margin set beforehand, or not shown: one discrimination test.

    `margin`: the d-prime below which the house calls two spirits alike.
    """
    p = p_value(correct, n, test)
    alike = None if margin is None else _p_alike(correct, n, margin, test)
    verdict = "different" if p <= alpha else "not shown"
    if alike is not None and alike <= alpha:
        verdict = "alike"
    try:
        least = _minimum(n, test, alpha)
    except _TooFew:
        least = n + 1
    return Difference(
        test=test,
        correct=int(correct),
        n=int(n),
        alpha=alpha,
        minimum=least,
        p=p,
        distance=d_prime(correct, n, test),
        margin=margin,
        p_alike=alike,
        power=power(n, 1.0 if margin is None else margin, test, alpha),
        verdict=verdict,
    )


class _TooFew(ValueError):
    """So few answers that even all correct prove nothing."""


def _minimum(n: int, test: str, alpha: float) -> int:
    kind = method(test)
    if not n >= 1:
        raise ValueError(f"n: {n} is below 1. Give the number of answers.")
    if not 0 < alpha < 1:
        raise ValueError(f"alpha: {alpha} is outside 0-1. Usual is 0.05.")
    n, tail = int(n), alpha / kind.sides
    least = int(stats.binom.isf(tail, n, kind.guess)) + 1
    while least > 1 and stats.binom.sf(least - 2, n, kind.guess) <= tail:
        least -= 1
    while stats.binom.sf(least - 1, n, kind.guess) > tail:
        least += 1
    if least > n:
        raise _TooFew(
            f"n: {n} {'answer is' if n == 1 else 'answers are'} too few for the {test} test at "
            f"{alpha:g}: even all correct would prove nothing. Take more answers."
        )
    return least


def _p_alike(correct: int, n: int, margin: float, test: str) -> float:
    _check_margin(margin)
    share = share_correct(float(margin), test)
    if method(test).sides == 1:
        return float(stats.binom.cdf(correct, n, share))
    most = max(correct, n - correct)
    return float(stats.binom.cdf(most, n, share))


def _check_margin(margin: float) -> None:
    if not margin > 0:
        raise ValueError(f"margin: {margin} is not above 0. Give the d-prime you call alike.")


@lru_cache(maxsize=4096)
def _distance(correct: int, n: int, test: str) -> tuple[float, float, float, float]:
    _check_counts(correct, n)
    kind, share = method(test), correct / n
    estimate = distance(share, test)
    ends = stats.binomtest(int(correct), int(n)).proportion_ci(0.95, "exact")
    low, high = distance(float(ends.low), test), distance(float(ends.high), test)
    if not np.isfinite(estimate) or (kind.sides == 1 and share <= kind.guess):
        return estimate, float("nan"), low, high
    se = float(np.sqrt(share * (1 - share) / n)) / slope(estimate, test)
    return estimate, se, low, high


def _check_counts(correct: float, n: float) -> None:
    if not n >= 1 or int(n) != n:
        raise ValueError(f"n: {n} is not a whole number of 1 or more. Give the number of answers.")
    if not 0 <= correct <= n or int(correct) != correct:
        raise ValueError(f"correct: {correct} is not a whole number from 0 to {n}.")


def _each(function: Any, first: Any, second: Any) -> Any:
    """`function` of each pair; the kind of the first argument that is not a scalar comes back."""
    kinds = [x for x in (first, second) if np.ndim(x)]
    if not kinds:
        return function(first, second)
    pairs = np.broadcast_arrays(np.asarray(first), np.asarray(second))
    found = np.array([function(a, b) for a, b in zip(*(p.tolist() for p in pairs), strict=True)])
    series = next((x for x in kinds if isinstance(x, pd.Series)), None)
    return found if series is None else pd.Series(list(found), index=series.index)


def _p(value: float) -> str:
    return "below 0.001" if value < 0.001 else f"{value:.3f}"
