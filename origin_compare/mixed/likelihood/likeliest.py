"""The variance ratios at which the criterion is least, zero ones reached exactly."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from origin_compare.mixed.likelihood.criterion import Slope, in_roots, profiled, terms
from origin_compare.mixed.likelihood.nesting import Nesting
from origin_compare.mixed.likelihood.search import DECREMENT, Function, minimise
from origin_compare.mixed.likelihood.sums import Floats, Ints

SMALL = 2e-3
"""An sd ratio below this is tried at exactly zero."""
LARGE = 1e4
"""The largest sd ratio: past it the residual has vanished, as where repeats agree exactly."""
RESTART = 0.05
"""Where an sd ratio starts again when zero turns out to be wrong."""
STUCK = 1e-6
"""Below this the search has slid to zero itself; it looks the same from both sides there."""
RISE = 1e-6
"""A zero stands unless the criterion falls from there faster than this per unit of ratio."""
ROUNDS = 5


def likeliest(
    nesting: Nesting,
    response: Ints,
    nu: int,
    start: Floats,
    *,
    reml: bool = True,
    columns: Floats | None = None,
) -> tuple[Floats, NDArray[np.bool_]]:
    """Ratios (B, K) of B problems and whether each search settled, from `start` (B, K).

    The search walks in the square roots of the ratios, where the criterion is smooth and even, so
    that a zero is a stationary point. Whether it is a minimum is told by the gradient in the
    ratio itself: a zero stands only if the criterion rises from there.
    """

    def slope(which: Ints, ratios: Floats) -> Slope:
        own = None if columns is None else columns[which]
        return profiled(terms(nesting, response[which], ratios, reml=reml, columns=own), nu)

    return least(slope, start)


def least(
    slope: Function, start: Floats, promise: float = DECREMENT, at_zero: Function | None = None
) -> tuple[Floats, NDArray[np.bool_]]:
    """The same for any criterion given by its `slope` in the ratios; `promise` as in `minimise`.

    `at_zero`: the slope where ratios of zero count too, if that is costly and left out of `slope`.
    """
    at_zero = at_zero or slope

    def in_sds(which: Ints, roots: Floats) -> Slope:
        return in_roots(slope(which, roots**2), roots)

    roots = np.sqrt(start)
    found = minimise(in_sds, roots, roots > 0, limit=LARGE, promise=promise)
    roots, converged = np.abs(found.point), found.converged.copy()
    open_rows = np.flatnonzero((roots < SMALL).any(axis=1))
    for _ in range(ROUNDS):
        if not len(open_rows):
            break
        old = roots[open_rows]
        tried = np.where(old < SMALL, 0.0, old)
        falls = (tried == 0.0) & (at_zero(open_rows, tried**2).gradient < -RISE)
        tried[falls] = np.where(old[falls] > STUCK, old[falls], RESTART)
        part = partial(_subset, in_sds, open_rows)
        again = minimise(part, tried, tried > 0, limit=LARGE, promise=promise)
        roots[open_rows], converged[open_rows] = np.abs(again.point), again.converged
        open_rows = open_rows[(np.abs(again.point) < SMALL).any(axis=1) & _moved(again.point, old)]
    return roots**2, converged


def _subset(function: Function, rows: Ints, which: Ints, at: Floats) -> Slope:
    return function(rows[which], at)


def _moved(now: Floats, before: Floats) -> NDArray[np.bool_]:
    return np.asarray((np.abs(np.abs(now) - before) > STUCK).any(axis=1))
