"""The mixed-model equations of a panel, sparse, with assessor:batch eliminated.

With H = I + sum of ratio_k Z_k Z_k' (ratios of variances to the residual's) and u_k = ratio_k
Z_k'P y, Henderson's equations hold all that likelihood and estimates need (Searle, Casella and
McCulloch, Variance Components, 1992, ch. 7, from memory). Nearly all unknowns are assessor:batch,
each met by a few others only: they are eliminated in closed form. What is left hangs together in
small knots, one a tasting, tied by the assessors and by what was served more than once, so a
sparse factor grows with the number of tastings and not with its square. Levels of assessor:batch
that lie in several tastings, as a control's do, stay among the unknowns: eliminated, each would
tie all its tastings to one another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from origin_compare.mixed.likelihood.selected import Factor

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

FINEST = "assessor:batch"
AGAIN = "assessor:batch of samples served again"


@dataclass(frozen=True)
class Equations:
    """Equations of one layout; `columns` (m unknowns) are all but those eliminated.

    `cell` (n): the cell of each row, rows of a cell being alike in all groups. `sums` (cells, m):
    columns of the rows, summed over cells. `codes`: level of each cell, by random group.
    `spans`: columns of each random group, of assessor:batch only those `AGAIN` met. `fine`
    (levels, m), `fine_rows`: the sums and numbers of rows of its levels met in one cell, which are
    numbered first and eliminated.
    `upper`: the pattern of the upper triangle, `base` its cross-products, `by_size` what the
    levels of each of `sizes` rows take off.
    """

    cell: Ints
    rows: Floats
    columns: sparse.csr_matrix
    sums: sparse.csr_matrix
    codes: Mapping[str, Ints]
    spans: Mapping[str, tuple[int, int]]
    fine: sparse.csr_matrix
    fine_rows: Floats
    upper: sparse.csc_matrix
    base: Floats
    sizes: Floats
    by_size: Floats
    row_of: Ints = field(repr=False)
    column_of: Ints = field(repr=False)

    def levels(self, name: str) -> int:
        """How many levels a random group has."""
        return int(self.codes[name].max()) + 1

    @cached_property
    def transposed(self) -> sparse.csr_matrix:
        """The sums turned, for products from the other side."""
        return self.sums.T.tocsr()

    @cached_property
    def diagonal(self) -> Ints:
        """Places of the diagonal in the upper triangle's data."""
        return np.flatnonzero(self.row_of == self.column_of)

    def scale(self, ratios: Mapping[str, float]) -> Floats:
        """Root of the ratio of each unknown; 1 for fixed ones."""
        out = np.ones(self.sums.shape[1])
        for name, (first, last) in self.spans.items():
            out[first:last] = np.sqrt(ratios.get(FINEST if name == AGAIN else name, 0.0))
        return out

    def data(self, ratios: Mapping[str, float]) -> Floats:
        """The upper triangle: unknowns scaled by the roots of their ratios, 1 added if random."""
        ratio, scale = ratios.get(FINEST, 0.0), self.scale(ratios)
        out = self.base - (ratio / (1.0 + ratio * self.sizes)) @ self.by_size
        out *= scale[self.row_of] * scale[self.column_of]
        for first, last in self.spans.values():
            out[self.diagonal[first:last]] += 1.0
        return out

    def summed(self, y: Floats) -> Floats:
        """Sums over cells of (n,) values, one a row."""
        return np.asarray(np.bincount(self.cell, y, len(self.rows)), dtype=float)

    def fine_sums(self, sums: Floats) -> Floats:
        """Sums over the levels of assessor:batch (levels, r) of sums over cells (cells, r)."""
        if FINEST not in self.codes:
            return np.zeros((0, sums.shape[1]))
        code, levels = self.codes[FINEST], len(self.fine_rows)
        each = [np.bincount(code, one, levels)[:levels] for one in sums.T]
        return np.stack(each, axis=1, dtype=float)


def equations(
    groups: Mapping[str, Ints],
    fixed: sparse.csr_matrix | Floats,
    tied: sparse.csr_matrix | None = None,
) -> Equations:
    """Equations of n rows. `groups`: random groups' levels by row; `fixed` (n, p) columns.

    `tied` (ties, up to p): first fixed columns whose covariances, within a tie, will be wanted.
    """
    cell = np.zeros(fixed.shape[0], dtype=np.intp)
    for code in groups.values():
        cell = np.unique(cell * (int(code.max()) + 1) + code, return_inverse=True)[1]
    first = np.unique(cell, return_index=True)[1]
    rest = {name: code for name, code in groups.items() if name != FINEST}
    blocks = {name: incidence(code) for name, code in rest.items()}
    codes = {name: code[first] for name, code in groups.items()}
    once = 0
    if FINEST in groups:
        codes[FINEST], once = _once_first(codes[FINEST])
        levels = incidence(codes[FINEST][cell])
        blocks[AGAIN] = levels[:, once:]
    columns = sparse.hstack([*blocks.values(), sparse.csr_matrix(fixed)], format="csr")
    ends = np.cumsum([0, *(block.shape[1] for block in blocks.values())])
    spans = {name: (int(a), int(b)) for name, a, b in zip(blocks, ends, ends[1:], strict=False)}
    sums = (incidence(cell).T @ columns).tocsr()
    fine, fine_rows = sparse.csr_matrix((0, columns.shape[1])), np.zeros(0)
    if FINEST in groups:
        alone = levels[:, :once].tocsr()
        fine, fine_rows = (alone.T @ columns).tocsr(), np.asarray(alone.sum(axis=0)).ravel()
    ties = sparse.csr_matrix((0, columns.shape[1]))
    if tied is not None:
        after = sparse.csr_matrix((tied.shape[0], columns.shape[1] - ends[-1] - tied.shape[1]))
        ties = sparse.hstack([sparse.csr_matrix((tied.shape[0], ends[-1])), tied, after])
    upper, base, sizes, by_size = _products(columns, fine, fine_rows, ties.tocsr())
    return Equations(
        cell=cell,
        rows=np.bincount(cell).astype(float),
        columns=columns,
        sums=sums,
        codes=codes,
        spans=spans,
        fine=fine,
        fine_rows=fine_rows,
        upper=upper,
        base=base,
        sizes=sizes,
        by_size=by_size,
        row_of=upper.indices.astype(np.intp),
        column_of=np.repeat(np.arange(columns.shape[1]), np.diff(upper.indptr)),
    )


def _once_first(code: Ints) -> tuple[Ints, int]:
    """Levels of the cells renumbered, those with one cell first, and how many these are."""
    several = np.bincount(code) > 1
    number = np.empty(len(several), dtype=np.intp)
    number[np.argsort(several, kind="stable")] = np.arange(len(several))
    return number[code], int((~several).sum())


def incidence(code: Ints) -> sparse.csr_matrix:
    """n x levels, 1 where a row (n) belongs to a level."""
    n = len(code)
    return sparse.csr_matrix((np.ones(n), code, np.arange(n + 1)), shape=(n, int(code.max()) + 1))


def _products(
    columns: sparse.csr_matrix, fine: sparse.csr_matrix, fine_rows: Floats, tied: sparse.csr_matrix
) -> tuple[sparse.csc_matrix, Floats, Floats, Floats]:
    """Upper triangle's pattern, cross-products on it, and those of the finest levels by size.

    Columns that share a row of `tied` have a place in the pattern whatever their product.
    """
    m = columns.shape[1]
    sizes = np.unique(fine_rows)
    parts = [columns.T @ columns, *(_squares(fine[fine_rows == size]) for size in sizes)]
    parts = [sparse.triu(part, format="csc") for part in parts]
    # products that happen to be zero keep their place: of absolute values none is
    places = _squares(abs(columns)) + _squares(abs(fine)) + _squares(tied)
    whole = sparse.triu(places, format="csc")
    whole.sort_indices()
    keys = np.repeat(np.arange(m), np.diff(whole.indptr)) * m + whole.indices
    data = np.zeros((len(parts), len(keys)))
    for values, part in zip(data, parts, strict=True):
        key = np.repeat(np.arange(m), np.diff(part.indptr)) * m + part.indices
        values[np.searchsorted(keys, key)] = part.data
    return whole, data[0], sizes, data[1:]


def _squares(some: sparse.csr_matrix) -> sparse.csc_matrix:
    return (some.T @ some).tocsc()


class Solver:
    """The equations at the ratios last set, factored."""

    def __init__(self, of: Equations) -> None:
        self.of = of
        start = of.upper.copy()
        start.data = of.data(dict.fromkeys(of.codes, 1.0))
        self.factor = Factor(start)
        self.ratios: Mapping[str, float] = {}
        self.scale, self.weight = np.ones(0), np.ones(0)

    def set(self, ratios: Mapping[str, float]) -> None:
        """Take up these ratios of variances to the residual one."""
        of = self.of
        self.ratios = ratios
        self.scale = of.scale(ratios)
        fine = ratios.get(FINEST, 0.0)
        self.weight = fine / (1.0 + fine * of.fine_rows)
        self.factor.update(of.data(ratios))

    @property
    def logdet(self) -> float:
        """log|H| + log|X'H^-1 X|, X the fixed columns."""
        more = np.log1p(self.ratios.get(FINEST, 0.0) * self.of.fine_rows).sum()
        return self.factor.logdet + float(more)

    def reduced(self, right: Floats, fine: Floats) -> Floats:
        """Right-hand sides (m, r) with assessor:batch's own (levels, r) eliminated."""
        return right - self.of.fine.T @ (self.weight[:, None] * fine)

    def solve(self, right: Floats) -> Floats:
        """Unknowns (m, r), on the scale of the rows, of reduced right-hand sides."""
        scale = self.scale[:, None]
        return scale * self.factor.solve(scale * right)

    def fine_part(self, fine: Floats, found: Floats) -> Floats:
        """Z'P y of assessor:batch (levels, r) from its right-hand sides and what was `found`."""
        over = 1.0 + self.ratios.get(FINEST, 0.0) * self.of.fine_rows
        return (fine - self.of.fine @ found) / over[:, None]

    def entries(self, i: Ints, j: Ints) -> Floats:
        """Entries (i, j) of the inverse on the scale of the rows; the factor must hold them."""
        inverse = self.factor.inverse()[self.factor.pattern.find(i, j)]
        return np.asarray(inverse * self.scale[i] * self.scale[j])

    def traces(self) -> dict[str, float]:
        """Slope of `logdet` in each ratio, tr(Z'PZ); 0 in those of zero."""
        of, inverse = self.of, self.factor.inverse()
        place = self.factor.pattern.place
        diagonal = inverse[len(inverse) - len(place) :][place]
        out = {}
        for name, (first, last) in of.spans.items():
            held = float((1.0 - diagonal[first:last]).sum())
            ratio = self.ratios.get(FINEST if name == AGAIN else name, 0.0)
            out[name] = held / ratio if ratio > 0 else 0.0
        if FINEST in of.codes:
            over = 1.0 + self.ratios[FINEST] * of.fine_rows
            twice = np.where(of.row_of == of.column_of, 1.0, 2.0)
            scaled = twice * self.scale[of.row_of] * self.scale[of.column_of]
            taken = (1.0 + self.ratios[FINEST] * of.sizes) ** -2.0 @ of.by_size
            lost = inverse[self.upper_places] @ (scaled * taken)
            out[FINEST] = float((of.fine_rows / over).sum() - lost) + out.pop(AGAIN)
        return out

    @cached_property
    def upper_places(self) -> Ints:
        """Where the equations' entries stand in the inverse's list."""
        return self.factor.pattern.find(self.of.row_of, self.of.column_of)
