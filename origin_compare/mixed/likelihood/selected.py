"""A sparse symmetric factor and its inverse on the factor's own pattern.

Of the inverse of a sparse matrix most entries are never needed: traces and variances want those
where the matrix, or its factor, has entries. With M = L D L' these follow column by column from
the last, Z = inverse, S the places below the diagonal of column j of L (Takahashi, Fagan and
Chen, 8th PICA conference, 1973; Erisman and Tinney, Comm. ACM 18, 1975, 177; both from memory):

    Z[S, j] = -Z[S, S] L[S, j]        Z[j, j] = 1 / D[j] - L[S, j]' Z[S, j]

Columns equally far from the root of the elimination tree do not need one another and are done
together. The factor itself, with its fill-reducing ordering, is QDLDL's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import qdldl
from scipy import sparse

from origin_compare.mixed.likelihood.sums import Floats, Ints


@dataclass(frozen=True)
class Step:
    """Columns (c) of one depth with s entries each: `entries` (c, s) and their `block` (c, s, s)
    as places in the inverse's list."""

    columns: Ints
    entries: Ints
    block: Ints


@dataclass(frozen=True)
class Pattern:
    """Where the factor of n columns has entries: `keys` (column * n + row), rising.

    `place` (n): where each unknown went in the fill-reducing order. The inverse's list holds the
    entries below the diagonal in the order of `keys`, then the diagonal.
    """

    place: Ints
    keys: Ints
    steps: tuple[Step, ...]

    def find(self, i: Ints, j: Ints) -> Ints:
        """Places in the inverse's list of the entries (i, j); -1 where the factor holds none."""
        n = len(self.place)
        one, other = self.place[i], self.place[j]
        key = np.minimum(one, other) * n + np.maximum(one, other)
        at = np.minimum(np.searchsorted(self.keys, key), max(len(self.keys) - 1, 0))
        held = self.keys[at] == key if len(self.keys) else np.zeros(len(key), dtype=bool)
        return np.where(one == other, len(self.keys) + one, np.where(held, at, -1))


class Factor:
    """The factor of the last matrix given; all of them have one pattern of entries.

    `upper`: the upper triangle of the first, in columns.
    """

    def __init__(self, upper: sparse.csc_matrix) -> None:
        self._upper = upper
        self._solver = qdldl.Solver(upper, upper=True)
        lower, self._pivots, order = self._solver.factors()
        self._lower = lower.data
        self.pattern = _pattern(lower, np.asarray(order, dtype=np.intp))

    def update(self, data: Floats) -> None:
        """Factor the matrix that has `data` in the places of the first."""
        self._upper.data = data
        self._solver.update(self._upper, upper=True)
        lower, self._pivots, _ = self._solver.factors()
        self._lower = lower.data

    @property
    def logdet(self) -> float:
        """The logarithm of the determinant."""
        return float(np.log(self._pivots).sum())

    def solve(self, right: Floats) -> Floats:
        """The solution for each column of `right` (n, m)."""
        columns = np.ascontiguousarray(right.T)
        return np.stack([self._solver.solve(one) for one in columns], axis=1)

    def inverse(self) -> Floats:
        """The inverse's list: its entries on the pattern (see `Pattern`)."""
        below = len(self._lower)
        out = np.empty(below + len(self._pivots))
        for step in self.pattern.steps:
            side = self._lower[step.entries]
            found = -(out[step.block] @ side[:, :, None])[:, :, 0]
            out[step.entries] = found
            own = (side * found).sum(axis=1)
            out[below + step.columns] = 1.0 / self._pivots[step.columns] - own
        return out


def _pattern(lower: sparse.csc_matrix, order: Ints) -> Pattern:
    n = len(order)
    place = np.empty(n, dtype=np.intp)
    place[order] = np.arange(n)
    starts, rows = lower.indptr.astype(np.intp), lower.indices.astype(np.intp)
    sizes = np.diff(starts)
    keys = np.repeat(np.arange(n), sizes) * n + rows
    depth = _depths(starts, rows)
    by_kind = np.lexsort((sizes, depth))
    fresh = np.flatnonzero(np.diff(depth[by_kind]) | np.diff(sizes[by_kind])) + 1
    steps = tuple(_step(columns, starts, rows, keys) for columns in np.split(by_kind, fresh))
    return Pattern(place, keys, steps)


def _step(columns: Ints, starts: Ints, rows: Ints, keys: Ints) -> Step:
    """Columns of one depth and one number of entries."""
    n = len(starts) - 1
    size = starts[columns[0] + 1] - starts[columns[0]]
    entries = starts[columns][:, None] + np.arange(size)
    held = rows[entries]
    first, second = held[:, :, None], held[:, None, :]
    key = np.minimum(first, second) * n + np.maximum(first, second)
    block = np.searchsorted(keys, key) if size else np.zeros(key.shape, dtype=np.intp)
    return Step(columns, entries, np.where(first == second, len(keys) + first, block))


def _depths(starts: Ints, rows: Ints) -> Ints:
    """Steps from the root of the elimination tree; a column's parent is its first entry."""
    n = len(starts) - 1
    depth = [0] * n
    first, begin = rows.tolist(), starts.tolist()
    for j in range(n - 1, -1, -1):
        if begin[j] < begin[j + 1]:
            depth[j] = depth[first[begin[j]]] + 1
    return np.array(depth, dtype=np.intp)
