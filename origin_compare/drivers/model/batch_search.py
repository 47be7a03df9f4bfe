"""The likeliest variances of the batch model: restricted maximum likelihood, A attributes at once.

Average information (Gilmour, Thompson and Cullis, Biometrics 51 (1995) 1440).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from origin_compare.drivers.model.batch_equations import Equations
from origin_compare.drivers.model.coding import Array

ROUNDS = 60
SETTLED = 1e-8
ROUNDING = 1e-9
"""A likelihood lower by no more than this is not lower: else a step at the top is halved idly."""
FLOOR = 1e-8
"""Least batch variance, as a share of the variance of the scores, so that V can be inverted."""


def likeliest(m: Equations) -> tuple[Array, NDArray[np.bool_]]:
    """The variances (A x 2) and whether each attribute's search came to rest (A)."""
    theta = _start(m)
    least = np.stack([np.zeros(m.A), FLOOR * m.scale], axis=1)
    settled = np.zeros(m.A, dtype=bool)
    for _ in range(ROUNDS):
        score, info, loglik = m.rise(theta)
        move = _move(m, theta, least, score, info)
        theta, gained = _halve(m, theta, least, move, loglik)
        settled = gained < SETTLED
        if settled.all():
            break
    return theta, settled


def _start(m: Equations) -> Array:
    """Variances to start from: what least squares leave over, less the panel's usual error."""
    C = np.linalg.inv(m.X.transpose(0, 2, 1) @ m.X)
    beta = C @ (m.X.transpose(0, 2, 1) @ m.y[:, :, None])
    left = ((m.y - (m.X @ beta)[:, :, 0]) ** 2).sum(axis=1) / (m.n - m.p)
    seen = np.maximum(left - np.median(m.noise, axis=1), 0.1 * left)
    seen = np.maximum(seen, 10 * FLOOR * m.scale)
    grower = 0.3 * seen if m.grouped else 0.0 * seen
    return np.stack([grower, seen - grower], axis=1)


def _move(m: Equations, theta: Array, least: Array, score: Array, info: Array) -> Array:
    """The average-information step; a variance at its bound that wants below it stays."""
    held = (theta <= least) & (score <= 0)
    held[:, 0] |= not m.grouped
    free = ~held
    ridge = np.einsum("akk->ak", info).max(axis=1)[:, None] * 1e-10 + 1e-300
    masked = info * free[:, :, None] * free[:, None, :]
    masked = masked + np.eye(2) * (held + ridge)[:, :, None]
    return np.linalg.solve(masked, (score * free)[:, :, None])[:, :, 0]


def _halve(
    m: Equations, theta: Array, least: Array, move: Array, loglik: Array
) -> tuple[Array, Array]:
    """Shorten the step where it lost likelihood; how much each attribute gained."""
    length = np.ones(m.A)
    best, gained = theta.copy(), np.zeros(m.A)
    waiting = np.ones(m.A, dtype=bool)
    for _ in range(12):
        tried = np.maximum(theta + length[:, None] * move, least)
        gain = m.restricted(tried)[3] - loglik
        good = waiting & (gain >= -ROUNDING)
        best[good], gained[good] = tried[good], gain[good]
        waiting &= ~good
        if not waiting.any():
            break
        length[waiting] /= 2.5
    return best, gained
