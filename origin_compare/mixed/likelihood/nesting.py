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

from origin_compare.mixed.likelihood.sums import (
    Finest,
    Floats,
    Ints,
    Squares,
    level_sums,
    squares_of,
)


@dataclass(frozen=True)
class Link:
    """One group of the chain. `starts` are the first nodes under each node of the next group."""

    group: int
    size: int
    starts: Ints | None
    parent: Ints | None


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
    finest = level_sums(
        node_of_row, chain[0].parent, [(codes[g], sizes[g]) for g in dense], columns, X.shape[1]
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


def _cross(
    dense_codes: list[Ints],
    spans: list[tuple[int, int]],
    n_dense: int,
    columns: Floats,
    n_fixed: int,
) -> Squares:
    """Cross-products of the dense levels' indicators and the columns, over the rows."""
    width = n_dense + n_fixed
    below = squares_of(columns, n_fixed)
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
