"""The variance ratios at which the criterion is least, zero ones reached exactly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from origin_compare.mixed.criterion import Slope, in_roots, profiled, terms
from origin_compare.mixed.nesting import Floats, Ints, Nesting
from origin_compare.mixed.search import minimise

SMALL = 2e-3
"""An sd ratio below this is tried at exactly zero."""
RESTART = 0.05
"""Where an sd ratio starts again when zero turns out to be wrong."""
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

    def in_sds(which: Ints, roots: Floats) -> Slope:
        return in_roots(slope(which, roots**2), roots)

    roots = np.sqrt(start)
    found = minimise(in_sds, roots, roots > 0)
    roots, converged = np.abs(found.point), found.converged.copy()
    for _ in range(ROUNDS):
        near = roots < SMALL
        some = np.flatnonzero(near.any(axis=1))
        if not len(some):
            break
        tried = np.where(near[some], 0.0, roots[some])
        falls = near[some] & (slope(some, tried**2).gradient < -1e-6)
        tried[falls] = np.maximum(roots[some][falls], RESTART)
        again = minimise(
            lambda which, at, some=some: in_sds(some[which], at), tried, free=tried > 0
        )
        roots[some], converged[some] = np.abs(again.point), again.converged
        # A zero that stands needs no second look unless the others moved; a restart does.
        if not falls.any() and (roots[some][tried > 0] >= SMALL).all():
            at_zero = slope(some, roots[some] ** 2).gradient
            if not ((roots[some] == 0) & (at_zero < -1e-6)).any():
                break
    return roots**2, converged
