"""How a difference felt (d-prime) becomes a share of correct answers, and back.

Psychometric functions of the forced-choice tests (Thurstonian models): triangle and duo-trio after
Ennis, Journal of Sensory Studies 8 (1993) 353; unspecified tetrad after Ennis, Ennis, Palen and
O'Mahony, British Journal of Mathematical and Statistical Psychology 51 (1998) 205; both from
memory, held to recomputed values in the tests. Paired comparison is the 2-AFC.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import integrate, optimize, special, stats

FARTHEST = 12.0
"""d-prime past which a share of correct answers is 1 to working precision."""


@dataclass(frozen=True, slots=True)
class Method:
    """A discrimination test: what the assessor does, and the share correct by guessing alone."""

    name: str
    asks: str
    guess: float
    sides: int = 1


METHODS: Mapping[str, Method] = {
    method.name: method
    for method in (
        Method("triangle", "which of three is the odd one", 1 / 3),
        Method("duo-trio", "which of two is the reference", 1 / 2),
        Method("paired", "which of two has more, the answer known beforehand", 1 / 2),
        Method("paired-two-sided", "which of two has more, the answer open", 1 / 2, sides=2),
        Method("tetrad", "which two of four belong together", 1 / 3),
    )
}


def method(test: str) -> Method:
    """The method of that name; `ValueError` naming the five known ones."""
    if test not in METHODS:
        raise ValueError(f"test: {test!r} is not known. Choose one of {', '.join(METHODS)}.")
    return METHODS[test]


@lru_cache(maxsize=4096)
def share_correct(d_prime: float, test: str) -> float:
    """Share of correct answers at a d-prime of 0 or more (`paired-two-sided` may be negative)."""
    kind = method(test)
    if d_prime < 0 and kind.sides == 1:
        raise ValueError(f"d_prime: {d_prime} is below 0. Give 0 or more.")
    return float(_FUNCTIONS[test](d_prime))


@lru_cache(maxsize=4096)
def distance(share: float, test: str) -> float:
    """The d-prime giving that share correct: 0 at or below guessing, infinite at 1."""
    kind = method(test)
    if not 0 <= share <= 1:
        raise ValueError(f"share: {share} is outside 0-1. Give correct answers over all answers.")
    if kind.name.startswith("paired"):
        found = float(np.sqrt(2) * stats.norm.ppf(share))
        return found if kind.sides == 2 else max(0.0, found)
    if share <= kind.guess:
        return 0.0
    if share >= share_correct(FARTHEST, test):
        return float("inf")
    root = optimize.brentq(
        lambda d: share_correct(d, test) - share, 0.0, FARTHEST, xtol=1e-12, rtol=1e-12
    )
    return float(root)


def slope(d_prime: float, test: str) -> float:
    """Change of the share correct per unit of d-prime."""
    width = 1e-4
    low = d_prime - width if method(test).sides == 2 else max(0.0, d_prime - width)
    high = d_prime + width
    return (share_correct(high, test) - share_correct(low, test)) / (high - low)


def _triangle(d: float) -> float:
    def at(u: float) -> float:
        shift, back = d * np.sqrt(2 / 3), u * np.sqrt(3)
        return (special.ndtr(shift - back) + special.ndtr(-shift - back)) * _bell(u)

    return 2 * _integral(at, 0.0, 10.0)


def _duo_trio(d: float) -> float:
    near, far = special.ndtr(d / np.sqrt(2)), special.ndtr(d / np.sqrt(6))
    return float(1 - near - far + 2 * near * far)


def _paired(d: float) -> float:
    return float(special.ndtr(d / np.sqrt(2)))


def _tetrad(d: float) -> float:
    def at(u: float) -> float:
        own, other = special.ndtr(u), special.ndtr(u - d)
        return (2 * own * other - other**2) * _bell(u)

    return 1 - 2 * _integral(at, -9.0, 9.0 + d)


def _bell(u: float) -> float:
    return float(np.exp(-0.5 * u * u) / np.sqrt(2 * np.pi))


def _integral(function: Callable[[float], float], low: float, high: float) -> float:
    middle = 0.5 * (low + high)
    return float(
        sum(
            integrate.quad(function, a, b, epsabs=1e-12, epsrel=1e-12)[0]
            for a, b in ((low, middle), (middle, high))
        )
    )


_FUNCTIONS: Mapping[str, Callable[[float], float]] = {
    "triangle": _triangle,
    "duo-trio": _duo_trio,
    "paired": _paired,
    "paired-two-sided": _paired,
    "tetrad": _tetrad,
}
