"""A good recipe to begin from, found by adding and exchanging parts one at a time.

The solver proves the best recipe two to five times sooner from a good first one
(`python -m tests.benchmarks.recipes`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from origin_compare.vatting.limits import Limits
from origin_compare.vatting.programme import Programme, settled

Floats = NDArray[np.float64]

_HEAVY = 30.0
"""Weight of the equation that shares add up to 1; the solver settles the shares afterwards."""
_ROUNDS = 10


def first_recipe(programme: Programme, limits: Limits) -> Floats | None:
    """Shares of a good recipe within `limits`, or None if none was found this way."""
    free = [int(row) for row in np.flatnonzero(limits.upper >= np.maximum(limits.lower, 1e-9))]
    must = [int(row) for row in np.flatnonzero(limits.must)]
    chosen = _exchanged(programme, limits, _grown(programme, limits, must, free), must, free)
    rows = np.zeros(len(limits.stock), dtype=bool)
    rows[chosen] = True
    return settled(programme, limits, rows)


def _grown(programme: Programme, limits: Limits, chosen: list[int], free: list[int]) -> list[int]:
    grown, value = list(chosen), np.inf
    while len(grown) < min(limits.most_batches, len(free)):
        best, row = min(
            (_value(programme, limits, [*grown, row]), row) for row in free if row not in grown
        )
        if not best < value - 1e-9:
            break
        grown, value = [*grown, row], best
    return grown


def _exchanged(
    programme: Programme, limits: Limits, chosen: list[int], must: list[int], free: list[int]
) -> list[int]:
    value = _value(programme, limits, chosen)
    for _ in range(_ROUNDS):
        before = value
        for out in [row for row in chosen if row not in must]:
            rest = [row for row in chosen if row != out]
            best, row = min(
                (_value(programme, limits, [*rest, row]), row) for row in free if row not in rest
            )
            if best < value - 1e-9:
                chosen, value = [*rest, row], best
        if not value < before:
            break
    return chosen


def _value(programme: Programme, limits: Limits, rows: list[int]) -> float:
    """About the value of the best shares of these batches, each between its limits."""
    low, top = limits.lower[rows], limits.upper[rows]
    left = np.vstack(
        [
            programme.gaps[rows].T,
            np.diag(np.sqrt(programme.noise[rows])),
            np.full((1, len(rows)), _HEAVY),
        ]
    )
    noise = np.sqrt(np.maximum(programme.noise[rows], 1e-12))
    wanted = np.zeros(programme.gaps.shape[1])
    right = np.concatenate([wanted, programme.known[rows] / noise, [_HEAVY]])
    shares = low.copy()
    filled = np.zeros(len(rows), dtype=bool)
    for _ in range(len(rows)):
        shares[filled] = top[filled]
        open_ = ~filled
        if not open_.any():
            break
        taken = left[:, filled] @ top[filled] + left[:, open_] @ low[open_]
        shares[open_] = low[open_] + nnls(left[:, open_], right - taken)[0]
        if (shares <= top + 1e-9).all():
            break
        filled |= shares > top + 1e-9
    return float(((left @ np.minimum(shares, top) - right) ** 2).sum())
