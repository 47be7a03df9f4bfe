"""Sums over the rows and over the finest group's levels, kept so that ratios enter last.

A variance ratio acts on a level of the finest group through the level's number of rows alone, and
a season knows few such numbers (one, two or three repeats). Sums are therefore kept per number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

MOST_SIZES = 12
"""Distinct level sizes up to which the finest group's sums of squares are kept per size."""


@dataclass(frozen=True)
class Squares:
    """Cross-products: `shared` (..., T, T + R), and each response with itself, `own` (..., R).

    No response meets another: each has its own model.
    """

    shared: Floats
    own: Floats

    def of(self, response: Ints) -> Floats:
        """(B, ..., T + 1, T + 1) for B problems, the response of each in the last place."""
        T = self.shared.shape[-2]
        taken = np.empty((len(response), *self.shared.shape[:-2], T + 1, T + 1))
        taken[..., :T, :T] = self.shared[..., :T]
        side = np.moveaxis(self.shared[..., T:][..., response], -1, 0)
        taken[..., :T, T] = side
        taken[..., T, :T] = side
        taken[..., T, T] = np.moveaxis(self.own[..., response], -1, 0)
        return taken


@dataclass(frozen=True)
class BySize:
    """Sums over the finest levels, by size and by parent: for few distinct sizes (D, N parents).

    `rows` (D, N); `shared` (D, N * T); `own` (R, D, N).
    """

    rows: Floats
    shared: Floats
    own: Floats

    def up(self, shrinks: list[Floats], response: Ints) -> tuple[list[Floats], list[Floats]]:
        """Each of `shrinks` (B, D) applied and summed: masses (B, N), totals (B, N, T + 1)."""
        B, N = len(response), self.rows.shape[1]
        stacked = np.concatenate(shrinks)
        mass = (stacked @ self.rows).reshape(len(shrinks), B, N)
        shared = (stacked @ self.shared).reshape(len(shrinks), B, N, -1)
        own = self.own[response]
        total = np.empty((*shared.shape[:-1], shared.shape[-1] + 1))
        total[..., :-1] = shared
        for place, shrink in enumerate(shrinks):
            total[place, ..., -1] = (shrink[:, None, :] @ own)[:, 0]
        return list(mass), list(total)


@dataclass(frozen=True)
class Classes:
    """The same for many sizes: levels of one size under one parent are a class (C).

    `rows` (C), `place` (C) of the class's size among the distinct ones, `sums` (C, T + R),
    `starts` the first class under each parent.
    """

    rows: Floats
    place: Ints
    sums: Floats
    starts: Ints
    width: int

    def up(self, shrinks: list[Floats], response: Ints) -> tuple[list[Floats], list[Floats]]:
        """See `BySize.up`."""
        sums = pick(self.sums, self.width, response)
        each = [shrink[:, self.place] for shrink in shrinks]
        mass = [np.add.reduceat(e * self.rows, self.starts, axis=1) for e in each]
        total = [np.add.reduceat(sums * e[..., None], self.starts, axis=1) for e in each]
        return mass, total


@dataclass(frozen=True)
class Finest:
    """Sums over the levels of the finest group; columns are dense levels, fixed columns, responses.

    `rows`: rows per level (N); `sums`: (N, T + R). `sizes` (D) are the distinct `rows`, `counts`
    (D) how many levels have each, `squares` (D, ...) their sums of squares, or None where there
    are too many sizes to gain by it. `handed_up` gives the sums of the level above, if there is.
    """

    rows: Floats
    sums: Floats
    sizes: Floats
    counts: Floats
    squares: Squares | None
    handed_up: BySize | Classes | None

    def weighted_squares(self, weight: Floats, width: int, response: Ints) -> Floats:
        """Sum over levels of weight(size) s s', (B, T + 1, T + 1); `weight`: (B, D)."""
        if self.squares is not None:
            return np.asarray(np.einsum("bd,bdij->bij", weight, self.squares.of(response)))
        per_level = weight[:, np.searchsorted(self.sizes, self.rows)]
        sums = pick(self.sums, width, response)
        return np.asarray((sums * per_level[..., None]).transpose(0, 2, 1) @ sums)

    @property
    def widest(self) -> int:
        """Rows of the widest table worked on for one problem."""
        wide = 1 if self.squares is not None else len(self.rows)
        return max(wide, len(self.handed_up.rows) if isinstance(self.handed_up, Classes) else 1)


def pick(columns: Floats, width: int, response: Ints) -> Floats:
    """(N, T + R) -> (B, N, T + 1): the shared columns and each problem's own response."""
    taken = np.empty((len(response), len(columns), width + 1))
    taken[:, :, :width] = columns[:, :width]
    taken[:, :, width] = columns[:, width:][:, response].T
    return taken


def level_sums(
    node: Ints,
    parent: Ints | None,
    dense: list[tuple[Ints, int]],
    columns: Floats,
    n_fixed: int,
) -> Finest:
    """Sums over nodes. `node` (n) by row; `parent` (N) sorted, and within it nodes by their rows.

    `dense`: codes (n) and size of each dense group; `columns` (n, p + R): fixed, then responses.
    """
    rows = np.bincount(node).astype(float)
    N = len(rows)
    n_dense = sum(size for _, size in dense)
    sums = np.zeros((N, n_dense + columns.shape[1]))
    at = 0
    for code, size in dense:
        flat = np.bincount(node * size + code, minlength=N * size)
        sums[:, at : at + size] = flat.reshape(N, size)
        at += size
    by_node = np.argsort(node, kind="stable")
    firsts = np.r_[0, np.cumsum(rows[:-1]).astype(np.intp)]
    sums[:, n_dense:] = np.add.reduceat(columns[by_node], firsts, axis=0)
    sizes, which, counts = np.unique(rows, return_inverse=True, return_counts=True)
    width = n_dense + n_fixed
    squares = None
    if len(sizes) <= max(MOST_SIZES, N // 50):
        each = [squares_of(sums[which == d], width) for d in range(len(sizes))]
        squares = Squares(np.stack([e.shared for e in each]), np.stack([e.own for e in each]))
    handed = None if parent is None else _handed_up(rows, which, sizes, parent, sums, width)
    return Finest(rows, sums, sizes, counts.astype(float), squares, handed)


def squares_of(columns: Floats, width: int) -> Squares:
    """Cross-products of (N, T + R) columns."""
    return Squares(columns[:, :width].T @ columns, (columns[:, width:] ** 2).sum(axis=0))


def _handed_up(
    rows: Floats, which: Ints, sizes: Floats, parent: Ints, sums: Floats, width: int
) -> BySize | Classes:
    fresh = np.r_[True, (parent[1:] != parent[:-1]) | (rows[1:] != rows[:-1])]
    starts = np.flatnonzero(fresh)
    above = parent[starts]
    held = np.add.reduceat(rows, starts)
    class_sums = np.add.reduceat(sums, starts, axis=0)
    if len(sizes) > MOST_SIZES:
        first = np.flatnonzero(np.r_[True, above[1:] != above[:-1]])
        return Classes(held, which[starts], class_sums, first, width)
    D, N = len(sizes), int(parent[-1]) + 1
    by_rows = np.zeros((D, N))
    by_rows[which[starts], above] = held
    spread = np.zeros((D, N, sums.shape[1]))
    spread[which[starts], above] = class_sums
    shared = np.ascontiguousarray(spread[:, :, :width]).reshape(D, N * width)
    return BySize(by_rows, shared, np.ascontiguousarray(spread[:, :, width:].transpose(2, 0, 1)))
