"""Intervals of shares: which true sums of squares could have given those that were seen.

A sum of squares of k columns over its error is noncentral chi-square; the confidence distribution
of what lies behind it (Schweder and Hjort, Scand. J. Stat. 29 (2002) 309) has a lump at nothing.
Error is drawn from its own pivot, and the share's interval is a generalised one (Weerahandi,
J. Am. Stat. Assoc. 88 (1993) 899). Several attributes together count as fewer where they move
together (Bai and Saranadasa, Statistica Sinica 6 (1996) 311, for the trace). A share cannot lie
below nothing, so where the true share is nothing the interval holds it in 97.5 % of cases, not 95.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from origin_compare.drivers.model.coding import Array

HALVINGS = 24
LEAST = 1e-3
"""Panel noise can leave next to nothing of the batches' own spread, never less than nothing."""


@dataclass(frozen=True)
class Errors:
    """Drawn error variances per dimension, `variance` draws x C, and how many columns of equal
    and independent error each of the C columns stands for (`many`, C)."""

    variance: Array
    many: Array


def drawn_errors(residual: Array, left: int, draws: int, rng: np.random.Generator) -> Errors:
    """Of the sum of all A attributes first, then of each: C = A + 1 columns.

    `residual`: n x A about all columns; `left`: its degrees of freedom, 2 or more.
    """
    cross = residual.T @ residual / left
    own = np.diag(cross)
    variance = np.concatenate([[own.sum()], own])
    many = np.concatenate([[_many(cross, left)], np.ones(len(own))])
    chi_square = 2.0 * special.gammaincinv(left * many / 2.0, spread_evenly(draws, len(many), rng))
    return Errors(variance * left * many / chi_square, many)


def _many(cross: Array, left: int) -> float:
    """Squared trace over trace of the square of the true covariance."""
    trace, square = float(np.trace(cross)), float((cross**2).sum())
    unbiased = left**2 / ((left - 1) * (left + 2)) * (square - trace**2 / left)
    attributes = len(cross)
    least = max(unbiased, trace**2 / attributes)
    return float(np.clip(trace**2 / least, 1.0, attributes)) if trace > 0 else 1.0


def drawn_signal(
    squares: Array, rank: int, errors: Errors, extra: Array, rng: np.random.Generator
) -> Array:
    """draws x C: true sums of squares behind those seen.

    `squares`: C sums of squares over `rank` dimensions; `extra`: C, how much more error per
    dimension these hold than the residual does.
    """
    if rank == 0:
        return np.zeros_like(errors.variance)
    scale = np.maximum(errors.variance + extra, LEAST * errors.variance) / errors.many
    chance = spread_evenly(scale.shape[0], scale.shape[1], rng)
    return scale * _noncentrality(squares / scale, rank * errors.many, chance)


def spread_evenly(draws: int, columns: int, rng: np.random.Generator) -> Array:
    """draws x columns chances, each column an even spread in an order of its own."""
    even = (np.arange(draws) + 0.5) / draws
    return rng.permuted(np.tile(even[:, None], (1, columns)), axis=0)


def _noncentrality(x: Array, df: Array, chance: Array) -> Array:
    """The noncentrality at which x is exceeded with the given chance; 0 where none is that low."""
    low, high = np.zeros_like(x), x + 10.0 * np.sqrt(x) + 60.0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        more = _exceeded(x, df, middle) < chance
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return np.where(_exceeded(x, df, np.zeros_like(x)) >= chance, 0.0, 0.5 * (low + high))


def _exceeded(x: Array, df: Array, noncentrality: Array) -> Array:
    """Chance that a noncentral chi-square exceeds x (Sankaran, Biometrika 50 (1963) 199)."""
    mean = df + noncentrality
    h = 1.0 - 2.0 / 3.0 * mean * (df + 3 * noncentrality) / (df + 2 * noncentrality) ** 2
    p = (df + 2 * noncentrality) / mean**2
    m = (h - 1.0) * (1.0 - 3.0 * h)
    middle = 1.0 + h * p * (h - 1.0 - 0.5 * (2.0 - h) * m * p)
    z = (np.exp(h * np.log(x / mean)) - middle) / (h * np.sqrt(2.0 * p) * (1.0 + 0.5 * m * p))
    return np.asarray(special.ndtr(-z))
