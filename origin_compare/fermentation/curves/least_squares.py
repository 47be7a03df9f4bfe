"""Nonlinear least squares for many batches at once, by Levenberg-Marquardt.

Marquardt, J. SIAM 11 (1963) 431; damping scaled by the largest curvature seen so far as in
Moré, Lecture Notes in Mathematics 630 (1978) 105. All batches step together: their normal
equations are small and equal in shape, so one stacked solve replaces a loop.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]

Model = Callable[[Array, Index], tuple[Array, Array]]
"""`model(theta (k, p), rows (k,))` -> values (k, n) and Jacobian (k, n, p) of those rows."""

_GROW, _SHRINK, _MOST_DAMPING = 4.0, 0.2, 1e16
_NEGLIGIBLE = 1e-13


@dataclass(frozen=True)
class Prior:
    """A normal prior on the parameters: `mean` (p,) or (b, p), `precision` (p, p)."""

    mean: Array
    precision: Array


@dataclass(frozen=True)
class Solution:
    """The optimum of each of b problems with p parameters.

    `parameters` (b, p); `inverse` (b, p, p), the inverse of J'WJ (+ prior precision), NaN where
    singular; `rss` (b,) weighted residual sum of squares without the prior; `points` (b,)
    readings used; `converged` (b,); `steps` (b,).
    """

    parameters: Array
    inverse: Array
    rss: Array
    points: NDArray[np.int64]
    converged: NDArray[np.bool_]
    steps: NDArray[np.int64]


@dataclass(frozen=True)
class NonlinearFit:
    """One fitted function: `parameters` and `standard_deviations` (p,), residual `sd`, `rss`."""

    parameters: Array
    standard_deviations: Array
    rss: float
    sd: float
    degrees_of_freedom: int
    converged: bool


@dataclass
class _State:
    theta: Array
    normal: Array
    pull: Array
    cost: Array
    damping: Array
    scale: Array
    converged: NDArray[np.bool_]
    steps: NDArray[np.int64]


def solve(
    model: Model,
    start: Array,
    y: Array,
    weights: Array,
    prior: Prior | None = None,
    most_steps: int = 200,
    tolerance: float = 1e-10,
) -> Solution:
    """Least squares of b problems at once.

    `start` (b, p); `y` and `weights` (b, n), weight 0 marks padding. Stops a problem when its
    step is below `tolerance` of its parameters, or when no step lowers its cost any more.
    """
    everyone = np.arange(len(start))
    theta = start.astype(float).copy()
    normal, pull, cost = _assess(model, theta, everyone, y, weights, prior)
    state = _State(
        theta,
        normal,
        pull,
        cost,
        np.full(len(start), 1e-3),
        np.einsum("bpp->bp", normal).copy(),
        np.zeros(len(start), bool),
        np.zeros(len(start), np.int64),
    )
    active = everyone[np.isfinite(cost)]
    for _ in range(most_steps):
        if not len(active):
            break
        active = _step(state, active, model, y, weights, prior, tolerance)
    residual = y - model(state.theta, everyone)[0]
    return Solution(
        state.theta,
        _inverses(state.normal),
        np.sum(weights * np.where(weights > 0, residual, 0.0) ** 2, axis=1),
        np.sum(weights > 0, axis=1),
        state.converged,
        state.steps,
    )


def nonlinear(
    function: Callable[[Array, Array], Array],
    x: Array,
    y: Array,
    start: Array,
    most_steps: int = 2000,
) -> NonlinearFit:
    """Fit `y = function(x, parameters)` by least squares, derivatives by central differences.

    Standard deviations are sqrt(s2 diag((J'J)^-1)) with s2 = rss / (n - p).
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    theta = np.asarray(start, float)[None, :]

    def model(at: Array, rows: Index) -> tuple[Array, Array]:
        return function(x, at[0])[None, :], _differences(function, x, at[0])[None, :, :]

    found = solve(model, theta, y[None, :], np.ones((1, len(y))), None, most_steps, 1e-12)
    free = len(y) - theta.shape[1]
    rss = float(found.rss[0])
    spread = np.sqrt(np.diag(found.inverse[0]) * rss / free)
    return NonlinearFit(
        found.parameters[0], spread, rss, float(np.sqrt(rss / free)), free, bool(found.converged[0])
    )


def _assess(
    model: Model, theta: Array, rows: Index, y: Array, weights: Array, prior: Prior | None
) -> tuple[Array, Array, Array]:
    """Normal matrix, pull (right-hand side) and cost of the problems in `rows` at `theta`."""
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        values, jacobian = model(theta, rows)
        w = weights[rows]
        residual = np.where(w > 0, y[rows] - values, 0.0)
        jacobian = np.where(w[:, :, None] > 0, jacobian, 0.0)
        turned = np.swapaxes(jacobian * w[:, :, None], 1, 2)
        normal = turned @ jacobian
        pull = (turned @ residual[:, :, None])[:, :, 0]
        cost = np.einsum("bn,bn->b", w, residual**2)
    if prior is not None:
        mean = prior.mean if prior.mean.ndim == 1 else prior.mean[rows]
        off = mean - theta
        drawn = off @ prior.precision
        normal, pull = normal + prior.precision, pull + drawn
        cost = cost + np.einsum("bp,bp->b", off, drawn)
    return normal, pull, cost


def _step(
    state: _State,
    active: Index,
    model: Model,
    y: Array,
    weights: Array,
    prior: Prior | None,
    tolerance: float,
) -> Index:
    """One step of every active problem; returns those still to go on with."""
    state.steps[active] += 1
    step = _damped(state, active)
    # what a full step would still win, as a share of the cost: nothing left means arrived
    to_win = np.einsum("bp,bp->b", step, state.pull[active])
    nothing_left = (to_win <= _NEGLIGIBLE * state.cost[active]) & (state.damping[active] < 0.01)
    tried = state.theta[active] + step
    normal, pull, cost = _assess(model, tried, active, y, weights, prior)
    sound = np.isfinite(cost) & np.isfinite(normal).all(axis=(1, 2))
    better = sound & (cost <= state.cost[active])
    won, lost = active[better], active[~better]
    state.theta[won], state.normal[won] = tried[better], normal[better]
    state.pull[won], state.cost[won] = pull[better], cost[better]
    state.scale[won] = np.maximum(state.scale[won], np.einsum("bpp->bp", normal[better]))
    state.damping[won] = np.maximum(state.damping[won] * _SHRINK, 1e-15)
    state.damping[lost] *= _GROW
    size = np.abs(step) <= tolerance * (np.abs(state.theta[active]) + tolerance)
    # a step refused at its smallest means the optimum is met to rounding, not that it is missed
    arrived = size.all(axis=1) | nothing_left
    state.converged[active[arrived]] = True
    given_up = state.damping[active] > _MOST_DAMPING
    return active[~arrived & ~given_up]


def _damped(state: _State, active: Index) -> Array:
    scale = state.scale[active]
    floor = 1e-12 * np.max(scale, axis=1, keepdims=True) + 1e-300
    added = state.damping[active, None] * np.maximum(scale, floor)
    matrix = state.normal[active].copy()
    diagonal = np.arange(matrix.shape[1])
    matrix[:, diagonal, diagonal] += added
    step = np.linalg.solve(matrix, state.pull[active][:, :, None])[:, :, 0]
    return np.asarray(step, dtype=np.float64)


def _inverses(normal: Array) -> Array:
    """Inverse of each scaled normal matrix; NaN where rounding leaves nothing of it."""
    size = np.sqrt(np.einsum("bpp->bp", normal))
    usable = (size > 0).all(axis=1) & np.isfinite(normal).all(axis=(1, 2))
    size = np.where(usable[:, None], size, 1.0)
    scaled = np.where(
        usable[:, None, None], normal / (size[:, :, None] * size[:, None, :]), np.eye(size.shape[1])
    )
    try:
        inverse: Array = np.linalg.inv(scaled)
    except np.linalg.LinAlgError:  # one exactly singular among many: find it the slow way
        usable &= np.linalg.cond(scaled) < 1e14
        scaled[~usable] = np.eye(size.shape[1])
        inverse = np.linalg.inv(scaled)
    # the scaled matrix has ones on its diagonal, so large numbers here mean a lost rank
    usable &= np.abs(inverse).max(axis=(1, 2)) < 1e13
    inverse = inverse / (size[:, :, None] * size[:, None, :])
    inverse[~usable] = np.nan
    return inverse


def _differences(function: Callable[[Array, Array], Array], x: Array, theta: Array) -> Array:
    columns = []
    for place, value in enumerate(theta):
        width = np.cbrt(np.finfo(float).eps) * max(abs(value), 1e-4)
        up, down = theta.copy(), theta.copy()
        up[place], down[place] = value + width, value - width
        columns.append((function(x, up) - function(x, down)) / (up[place] - down[place]))
    return np.stack(columns, axis=1)
