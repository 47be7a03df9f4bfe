"""How the groups lie in one another, and the sums over their levels that every fit shares.

Each row belongs to exactly one level of a group, so a group's own block of the mixed-model
equations is diagonal. It stays diagonal while only groups nested in it are eliminated before it.
The groups are therefore split into a chain, each nested in the next (assessor:batch in batch,
batch in grower), which is eliminated in closed form, and the rest (assessors), whose levels join
the fixed part as dense columns. The chain is chosen to leave as few dense columns as possible.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

MOST_SIZES = 12
"""Distinct level sizes up to which the finest group's sums of squares are kept per size."""


@dataclass(frozen=True)
class Link:
    """One group of the chain. `starts` are the first nodes under each node of the next group."""

    group: int
    size: int
    starts: Ints | None
    parent: Ints | None


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
class Finest:
    """Sums over the levels of the finest group; columns are dense levels, fixed columns, responses.

    `rows`: rows per level (N); `sums`: (N, T + R).
    Levels of equal size under one parent are merged into classes: `class_rows` (C) is their size,
    `class_count` (C) how many, `class_sums` (C, T + R), `class_starts` the first class under each
    parent. `sizes` (D), `counts` (D) and `squares` (D, ...) hold the sums of squares per distinct
    size, or `squares` is None where there are too many sizes to gain by it.
    """

    rows: Floats
    sums: Floats
    sizes: Floats
    counts: Floats
    squares: Squares | None
    class_rows: Floats
    class_count: Floats
    class_sums: Floats
    class_starts: Ints | None


@dataclass(frozen=True)
class Nesting:
    """The design as the engine sees it: T = dense levels + fixed columns, R responses.

    `chain` and `dense` list groups by their place in the call; `dense_spans` give each dense
    group's columns. `nodes[g]` maps the levels of a chain group to its nodes. `cross`:
    cross-products of all columns over the rows.
    """

    n_rows: int
    chain: tuple[Link, ...]
    dense: tuple[int, ...]
    dense_spans: tuple[tuple[int, int], ...]
    n_dense: int
    n_fixed: int
    finest: Finest
    cross: Squares
    nodes: tuple[Ints, ...]

    @property
    def width(self) -> int:
        """Dense columns without the responses, T."""
        return self.n_dense + self.n_fixed

    @property
    def order(self) -> tuple[int, ...]:
        """Groups in the engine's order: the chain, then the dense ones."""
        return tuple(link.group for link in self.chain) + self.dense


def parents(fine: Ints, coarse: Ints, n_fine: int) -> Ints | None:
    """The coarse level of each fine level, or None where a fine level lies in more than one."""
    above = np.empty(n_fine, dtype=np.intp)
    above[fine] = coarse
    return above if np.array_equal(above[fine], coarse) else None


def choose_chain(codes: list[Ints], sizes: list[int]) -> tuple[int, ...]:
    """Groups of the chain, finest first: the nested sequence that holds the most levels."""
    ranked = sorted(range(len(codes)), key=lambda g: -sizes[g])
    inside = {
        (a, b): parents(codes[a], codes[b], sizes[a]) is not None
        for a, b in combinations(ranked, 2)
    }
    best: tuple[int, ...] = ()
    most = -1
    for length in range(1, len(ranked) + 1):
        for some in combinations(ranked, length):
            held = sum(sizes[g] for g in some)
            if held > most and all(inside[pair] for pair in combinations(some, 2)):
                best, most = some, held
    return best


def nest(codes: list[Ints], sizes: list[int], X: Floats, Y: Floats) -> Nesting:
    """Shared sums of a design. `codes[g]` (n) holds levels 0..sizes[g]-1, all of them in use.

    X: (n, p) fixed columns; Y: (n, R) responses without missing values.
    """
    members = choose_chain(codes, sizes)
    chain, nodes, node_of_row = _lay_chain(members, codes, sizes)
    dense = tuple(g for g in range(len(codes)) if g not in members)
    spans = []
    at = 0
    for g in dense:
        spans.append((at, at + sizes[g]))
        at += sizes[g]
    columns = np.concatenate([X, Y], axis=1)
    finest = _finest_sums(
        chain, node_of_row, [codes[g] for g in dense], spans, at, columns, X.shape[1]
    )
    return Nesting(
        n_rows=len(X),
        chain=chain,
        dense=dense,
        dense_spans=tuple(spans),
        n_dense=at,
        n_fixed=X.shape[1],
        finest=finest,
        cross=_cross([codes[g] for g in dense], spans, at, columns, X.shape[1]),
        nodes=nodes,
    )


def _lay_chain(
    members: tuple[int, ...], codes: list[Ints], sizes: list[int]
) -> tuple[tuple[Link, ...], tuple[Ints, ...], Ints]:
    """Nodes sorted by parent on every level (and by size on the finest), from the top down."""
    links: list[Link] = []
    maps: list[Ints] = []
    new_of_coarse: Ints | None = None
    coarse = -1
    for place, g in enumerate(reversed(members)):
        finest = place == len(members) - 1
        above = None
        if new_of_coarse is not None:
            old = parents(codes[g], codes[coarse], sizes[g])
            assert old is not None
            above = new_of_coarse[old]
        rows = np.bincount(codes[g], minlength=sizes[g]) if finest else np.zeros(sizes[g])
        keys = (rows,) if above is None else (rows, above)
        order = np.lexsort(keys)
        new = np.empty(sizes[g], dtype=np.intp)
        new[order] = np.arange(sizes[g])
        parent = None if above is None else above[order]
        starts = None
        if parent is not None:
            starts = np.flatnonzero(np.r_[True, parent[1:] != parent[:-1]])
        links.append(Link(g, sizes[g], starts, parent))
        maps.append(new)
        new_of_coarse, coarse = new, g
    assert new_of_coarse is not None
    return tuple(reversed(links)), tuple(reversed(maps)), new_of_coarse[codes[members[0]]]


def _finest_sums(
    chain: tuple[Link, ...],
    node: Ints,
    dense_codes: list[Ints],
    spans: list[tuple[int, int]],
    n_dense: int,
    columns: Floats,
    n_fixed: int,
) -> Finest:
    link = chain[0]
    rows = np.bincount(node, minlength=link.size).astype(float)
    sums = np.zeros((link.size, n_dense + columns.shape[1]))
    for code, (first, last) in zip(dense_codes, spans, strict=True):
        width = last - first
        flat = np.bincount(node * width + code, minlength=link.size * width)
        sums[:, first:last] = flat.reshape(link.size, width)
    by_node = np.argsort(node, kind="stable")
    firsts = np.r_[0, np.cumsum(rows[:-1]).astype(np.intp)]
    sums[:, n_dense:] = np.add.reduceat(columns[by_node], firsts, axis=0)
    sizes, which, counts = np.unique(rows, return_inverse=True, return_counts=True)
    width = n_dense + n_fixed
    squares = None
    if len(sizes) <= max(MOST_SIZES, link.size // 50):
        each = [_squares(sums[which == d], width) for d in range(len(sizes))]
        squares = Squares(np.stack([e.shared for e in each]), np.stack([e.own for e in each]))
    if link.parent is None:
        none = np.zeros((0, sums.shape[1]))
        empty = np.zeros(0)
        return Finest(rows, sums, sizes, counts.astype(float), squares, empty, empty, none, None)
    fresh = np.r_[True, (link.parent[1:] != link.parent[:-1]) | (rows[1:] != rows[:-1])]
    starts = np.flatnonzero(fresh)
    above = link.parent[starts]
    return Finest(
        rows=rows,
        sums=sums,
        sizes=sizes,
        counts=counts.astype(float),
        squares=squares,
        class_rows=rows[starts],
        class_count=np.diff(np.r_[starts, link.size]).astype(float),
        class_sums=np.add.reduceat(sums, starts, axis=0),
        class_starts=np.flatnonzero(np.r_[True, above[1:] != above[:-1]]),
    )


def _squares(columns: Floats, width: int) -> Squares:
    return Squares(columns[:, :width].T @ columns, (columns[:, width:] ** 2).sum(axis=0))


def _cross(
    dense_codes: list[Ints],
    spans: list[tuple[int, int]],
    n_dense: int,
    columns: Floats,
    n_fixed: int,
) -> Squares:
    """Cross-products of the dense levels' indicators and the columns, over the rows."""
    width = n_dense + n_fixed
    below = _squares(columns, n_fixed)
    shared = np.zeros((width, n_dense + columns.shape[1]))
    shared[n_dense:, n_dense:] = below.shared
    for i, (first, last) in enumerate(spans):
        size = last - first
        for c, column in enumerate(columns.T):
            shared[first:last, n_dense + c] = np.bincount(dense_codes[i], column, size)
        for j in range(i + 1):
            f2, l2 = spans[j]
            flat = dense_codes[i] * (l2 - f2) + dense_codes[j]
            pairs = np.bincount(flat, minlength=size * (l2 - f2)).reshape(size, l2 - f2)
            shared[first:last, f2:l2] = pairs
            shared[f2:l2, first:last] = pairs.T
    shared[n_dense:, :n_dense] = shared[:n_dense, n_dense:width].T
    return Squares(shared, below.own)
