"""Newton's method with exact derivatives, many small problems side by side, safeguarded.

Each problem keeps its own point and step. Directions of negative curvature are turned round
(absolute eigenvalues), steps are capped, and a step that does not lower the function is halved.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from origin_compare.mixed.likelihood.criterion import Slope
from origin_compare.mixed.likelihood.sums import Floats, Ints

Function = Callable[[Ints, Floats], Slope]
"""(which problems (b), points (b, K)) -> values, gradients and Hessians."""

DECREMENT = 1e-7
"""Promised fall of the function below which one last step is taken without looking: with exact
second derivatives that step leaves about the square of this."""


@dataclass(frozen=True)
class Found:
    """Of B problems: `point` (B, K), `value` (B), `slope` there, `converged` (B), `steps`."""

    point: Floats
    value: Floats
    slope: Slope
    converged: NDArray[np.bool_]
    steps: int


def minimise(
    function: Function,
    start: Floats,
    free: NDArray[np.bool_] | None = None,
    *,
    most: int = 60,
    reach: float = 1.0,
    limit: float = np.inf,
    promise: float = DECREMENT,
) -> Found:
    """Minimise B functions of K coordinates; coordinates not `free` (B, K) stay where they are.

    `reach`: the longest step relative to 1 + |coordinate|; `limit`: the largest |coordinate|;
    `promise`: stands for `DECREMENT`, lower where second derivatives are near and not exact.
    """
    B = len(start)
    free = np.ones(start.shape, dtype=bool) if free is None else free
    point = start.copy()
    here = function(np.arange(B), point)
    value, gradient, hessian = here.value.copy(), here.gradient.copy(), here.hessian.copy()
    step, expected = _newton(gradient, hessian, free, point, reach)
    active = expected > promise
    share = np.ones(B)
    steps = 0
    while active.any() and steps < most:
        steps += 1
        which = np.flatnonzero(active)
        trial = np.clip(point[which] + share[which, None] * step[which], -limit, limit)
        there = function(which, trial)
        slack = 1e-12 * (1.0 + np.abs(value[which]))
        lower = there.value <= value[which] - 1e-4 * share[which] * expected[which] + slack
        good = which[lower]
        point[good], value[good] = trial[lower], there.value[lower]
        gradient[good], hessian[good] = there.gradient[lower], there.hessian[lower]
        share[good] = 1.0
        if len(good):
            step[good], expected[good] = _newton(
                gradient[good], hessian[good], free[good], point[good], reach
            )
        share[which[~lower]] *= 0.35
        active[good] = expected[good] > promise
        active[which[~lower]] &= share[which[~lower]] > 1e-9
    settled = expected <= promise
    point[settled] = np.clip(point[settled] + step[settled], -limit, limit)
    value[settled] -= 0.5 * expected[settled]
    return Found(point, value, Slope(value, gradient, hessian), settled, steps)


def _newton(
    gradient: Floats, hessian: Floats, free: NDArray[np.bool_], point: Floats, reach: float
) -> tuple[Floats, Floats]:
    """Step (B, K) and the fall it promises (B)."""
    g = np.where(free, gradient, 0.0)
    H = np.where(free[:, :, None] & free[:, None, :], hessian, 0.0)
    at = np.arange(g.shape[1])
    H[:, at, at] += np.where(free, 0.0, 1.0)
    curvature, axes = np.linalg.eigh(H)
    size = np.abs(curvature)
    size = np.maximum(size, 1e-8 * size.max(axis=1, keepdims=True) + 1e-12)
    along = np.einsum("bij,bi->bj", axes, g) / size
    step = np.where(free, -np.einsum("bij,bj->bi", axes, along), 0.0)  # the axes mix by rounding
    longest = (np.abs(step) / (reach * (1.0 + np.abs(point)))).max(axis=1)
    step /= np.maximum(longest, 1.0)[:, None]
    return step, -(g * step).sum(axis=1)
