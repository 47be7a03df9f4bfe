"""Are all batches alike: an F test with several degrees of freedom above and below.

The contrasts between batches are turned to independent ones, each with degrees of freedom of its
own, from which those of the whole follow (Fai and Cornelius, J. Stat. Comput. Simul. 54, 1996,
363, from memory). Turning them takes the cube of the number of batches; past `EVERY_DIRECTION` it
is done tasting by tasting, with what ties tastings together left to the F value alone.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy import sparse, stats

from origin_compare.panel.profile.batch_effects import Solution, generalised_rss
from origin_compare.panel.profile.equations import Equations, Solver, equations

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

EVERY_DIRECTION = 500
"""Batches up to which all contrasts are turned at once (four seasons of 120)."""


def batch_test(
    solution: Solution, y: Floats, kept: Ints, solver: Solver | None = None
) -> tuple[float, int, float, float]:
    """F, its two degrees of freedom and p for all batches `kept` being alike, `y` (n) the scores.

    `solver`: of the solution's equations, lent.
    """
    if len(kept) <= EVERY_DIRECTION:
        f, df = _all_at_once(solution, kept, solver)
    else:
        f, df = _by_tasting(solution, y, kept, solution.solver(solver))
    q = len(kept) - 1
    df_error = _pooled(df, q)
    return f, q, df_error, float(stats.f.sf(f, q, df_error))


def _pooled(df: Floats, q: int) -> float:
    """Degrees of freedom below of an F with q above, from those of independent contrasts."""
    if q == 1:
        return float(df[0])
    every = len(df)
    df = df[df > 2]
    if not np.all(np.isfinite(df)):
        return float(np.min(df)) if len(df) else 1.0
    expected = float(np.sum(df / (df - 2))) * q / every
    return 2 * expected / (expected - q) if expected > q else 1.0


def _all_at_once(solution: Solution, kept: Ints, solver: Solver | None) -> tuple[float, Floats]:
    contrasts = np.zeros((len(solution.estimate), len(kept) - 1))
    contrasts[kept[0], :] = -1.0
    contrasts[kept[1:], np.arange(len(kept) - 1)] = 1.0
    cov = solution.covariance(solver)
    values, vectors = np.linalg.eigh(contrasts.T @ cov @ contrasts)
    turned = contrasts @ vectors
    f = float(((turned.T @ solution.estimate) ** 2 / values).mean())
    return f, solution.variance_of(turned, solver)[1]


def _by_tasting(solution: Solution, y: Floats, kept: Ints, solver: Solver) -> tuple[float, Floats]:
    """F from the scores' sums of squares with and without differences between batches."""
    alike = Solver(_one_level(solution, kept))
    alike.set(solution.ratios)
    between = generalised_rss(alike, y) - generalised_rss(solver, y)
    knots = _knots(solution, kept)
    first, second = (np.concatenate(side) for side in zip(*map(_pairs, knots), strict=True))
    level = np.array([solution.batches.start])

    def within(ratios: Mapping[str, float]) -> Floats:
        """Covariances inside the knots, freed of what all batches have in common."""
        alike.set(ratios)
        solver.set(ratios)
        return solver.entries(first, second) - alike.entries(level, level)

    own, slopes = _turned(within(solution.ratios), solution.slopes_in(within), knots)
    f = between / solution.residual / (len(kept) - 1)
    return f, solution.judged(own, slopes, np.zeros(len(own)))[1]


def _one_level(solution: Solution, kept: Ints) -> Equations:
    """The solution's equations with one level for all batches `kept`, in the batches' place."""
    of, span = solution.equations, solution.batches
    columns = of.columns.tocsc()
    others = np.setdiff1d(np.arange(solution.layout.batches), kept)
    together = sparse.csr_matrix(columns[:, span.start + kept].sum(axis=1))
    rest = [columns[:, span.start + others], columns[:, span.stop :]]
    groups = {name: solution.layout.codes[name] for name in of.codes}
    return equations(groups, sparse.hstack([together, *rest], format="csr"))


def _knots(solution: Solution, kept: Ints) -> list[Ints]:
    """Batches `kept`, by what they were served together with, as unknowns' numbers.

    One array (knots, batches) for each number of batches.
    """
    knot = solution.layout.served_together[kept]
    order = np.argsort(knot, kind="stable")
    sets = np.split(kept[order], np.flatnonzero(np.diff(knot[order])) + 1)
    by_size: dict[int, list[Ints]] = {}
    for one in sets:
        by_size.setdefault(len(one), []).append(one + solution.batches.start)
    return [np.stack(some) for some in by_size.values()]


def _pairs(knot: Ints) -> tuple[Ints, Ints]:
    """All pairs inside each of (knots, batches), one after another."""
    size = knot.shape[1]
    return np.repeat(knot, size, axis=1).ravel(), np.tile(knot, (1, size)).ravel()


def _turned(
    cov: Floats, slopes: Mapping[str, Floats], knots: list[Ints]
) -> tuple[Floats, dict[str, Floats]]:
    """Variances of the independent contrasts inside the knots, and their slopes."""
    own: list[Floats] = []
    along: dict[str, list[Floats]] = {name: [] for name in slopes}
    first = 0
    for knot in knots:
        shape = (*knot.shape, knot.shape[1])
        here = slice(first, first := first + int(np.prod(shape)))
        values, axes = np.linalg.eigh(cov[here].reshape(shape))
        own.append(values.ravel())
        for name, slope in slopes.items():
            turned = np.einsum("bim,bij,bjm->bm", axes, slope[here].reshape(shape), axes)
            along[name].append(turned.ravel())
    return np.concatenate(own), {name: np.concatenate(parts) for name, parts in along.items()}
