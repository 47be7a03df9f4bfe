"""A million conversions both ways, beside what NumPy and SciPy offer for the same, in one run.

python -m pytest tests/benchmarks/test_measures_speed.py -s
"""

import time
import warnings
from collections.abc import Callable

import numpy as np
import pytest
from numpy.polynomial import polynomial
from scipy import optimize

from origin_compare import measures
from origin_compare.measures.alcohol import _VOLUME, at_temp

MILLION = 1_000_000


def _seconds(work: Callable[[], object], times: int = 3) -> float:
    """The best of a few runs: the others measure what else the machine was doing."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def _say(what: str, ours: float, other: float, name: str) -> None:
    print(f"\n{what}: {ours:.3f} s; {name}: {other:.3f} s; ratio {other / ours:.2f}")


@pytest.fixture(scope="module")
def gravities() -> np.ndarray:
    return np.random.default_rng(20).uniform(0.980, 1.140, MILLION)


@pytest.fixture(scope="module")
def strengths() -> np.ndarray:
    return np.random.default_rng(20).uniform(0, 100, MILLION)


def test_gravity_to_plato_and_back(gravities: np.ndarray) -> None:
    cubic = np.array([182.4601, -775.6821, 1262.7794, -669.5622])
    plato = measures.sg_to_plato(gravities)

    def both() -> np.ndarray:
        return measures.plato_to_sg(measures.sg_to_plato(gravities))

    def outside() -> np.ndarray:
        degrees = np.polyval(cubic, gravities)
        return optimize.newton(
            lambda sg: np.polyval(cubic, sg) - degrees,
            1 + degrees / 250,
            fprime=lambda sg: np.polyval(np.polyder(cubic), sg),
            tol=1e-12,
        )

    ours, other = _seconds(both), _seconds(outside)
    _say("gravity to Plato and back, 1e6", ours, other, "polyval + optimize.newton")
    assert np.abs(both() - outside()).max() < 1e-9
    assert np.abs(measures.sg_to_plato(both()) - plato).max() < 1e-9
    assert ours < 0.6
    assert ours < other


@pytest.mark.parametrize("temps", ["one temperature", "a temperature each"])
def test_strength_to_density_and_back(strengths: np.ndarray, temps: str) -> None:
    each = temps != "one temperature"
    temp_c = np.random.default_rng(7).uniform(-20, 40, MILLION) if each else 20.0
    coefficients = at_temp(np.atleast_1d(temp_c))
    volume = _VOLUME[:, 0]

    def value(c: np.ndarray, p: np.ndarray) -> np.ndarray:
        return polynomial.polyval(p, c, tensor=False)

    def solve(c: np.ndarray, wanted: np.ndarray, start: np.ndarray) -> np.ndarray:
        slopes = polynomial.polyder(c)
        return optimize.newton(
            lambda p: value(c, p) - wanted, start, fprime=lambda p: value(slopes, p), tol=1e-10
        )

    def both() -> np.ndarray:
        return measures.abv_from_density(measures.ethanol_density(strengths, temp_c), temp_c)

    def outside() -> np.ndarray:
        density = value(coefficients, solve(volume, strengths, strengths / 100))
        heavy, light = coefficients[0], coefficients.sum(axis=0)
        start = (heavy - density) / (heavy - light)
        return value(volume, solve(coefficients, density, start))

    theirs: list[np.ndarray] = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # rows it loses are counted below
        ours, other = _seconds(both), _seconds(lambda: theirs.append(outside()), 1)
    _say(f"strength to density and back, 1e6, {temps}", ours, other, "optimize.newton")
    lost = ~(np.abs(theirs[0] - strengths) < 1e-4)
    print(f"rows that optimize.newton without a bracket lost: {lost.sum():,}")
    assert lost.mean() < 0.01
    assert np.abs(both() - strengths).max() < 1e-7
    assert ours < 1.0
    assert ours < other


def test_density_against_a_table_looked_up(strengths: np.ndarray) -> None:
    knots = np.linspace(0, 100, 1001)
    table = measures.ethanol_density(knots)
    looked_up = np.interp(strengths, knots, table)
    exact = measures.ethanol_density(strengths)
    ours = _seconds(lambda: measures.ethanol_density(strengths))
    other = _seconds(lambda: np.interp(strengths, knots, table))
    _say("strength to density, 1e6", ours, other, "np.interp in a 0.1 % table (inexact)")
    print(f"the table is off by up to {np.abs(looked_up - exact).max():.5f} kg/m3")
    assert ours < 0.5
