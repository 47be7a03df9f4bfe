"""The columns of one pattern of missing cells, turned so that the arithmetic stays well behaved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from origin_compare.errors import NotEnoughData
from origin_compare.mixed.design import Design
from origin_compare.mixed.fixed_part import independent
from origin_compare.mixed.likelihood.identity import expected, told_apart
from origin_compare.mixed.likelihood.nesting import nest
from origin_compare.mixed.likelihood.sums import Floats, Ints


@dataclass(frozen=True)
class Layout:
    """Rows, fixed columns and groups as the engine takes them.

    `rows` (n) of the design; fixed columns that add something are `kept`, their `names`; X = Q R
    with Q (n, p) orthogonal of length sqrt(n), `back` = R^-1, `shift` = 2 log|R|. `groups` are the
    places in the call of those that can be told apart, with `codes` (n) and `sizes`; `lost` says
    what holds the others' variance. `levels[g]`: which of a group's levels are in use.
    `information`: expected information of the groups kept.
    """

    rows: Ints
    kept: NDArray[np.bool_]
    names: tuple[str, ...]
    aliased: tuple[str, ...]
    Q: Floats
    back: Floats
    shift: float
    groups: tuple[int, ...]
    codes: tuple[Ints, ...]
    sizes: tuple[int, ...]
    lost: dict[int, str]
    levels: dict[int, Ints]
    information: Floats

    @property
    def nu(self) -> int:
        """Rows less fixed columns."""
        return len(self.rows) - self.Q.shape[1]


def lay_out(design: Design, name: str, present: NDArray[np.bool_]) -> Layout:
    """Lay out the rows where `present`; `name` is the response to blame if they are too few."""
    rows = np.flatnonzero(present)
    X = design.fixed.X[rows]
    kept = independent(X)
    names = [n for n, k in zip(design.fixed.names, kept, strict=True) if k]
    aliased = [n for n, k in zip(design.fixed.names, kept, strict=True) if not k]
    n, p = len(rows), len(names)
    if n < p + 2:
        raise NotEnoughData(
            f"{name}: {n} rows with a value cannot carry {p} fixed terms and a residual variance. "
            "Leave terms out, or wait for more batches."
        )
    Q, R = np.linalg.qr(X[:, kept])
    Q *= np.sqrt(n)
    R /= np.sqrt(n)
    levels, codes, sizes = _codes(design, rows)
    information = expected(nest(codes, sizes, Q, np.zeros((n, 1))))
    told, lost = told_apart([g.name for g in design.groups], codes, sizes, information)
    at = np.r_[0, np.array(told) + 1]
    return Layout(
        rows=rows,
        kept=kept,
        names=tuple(names),
        aliased=tuple(aliased),
        Q=Q,
        back=np.linalg.inv(R),
        shift=2.0 * float(np.log(np.abs(np.diag(R))).sum()),
        groups=told,
        codes=tuple(codes[g] for g in told),
        sizes=tuple(sizes[g] for g in told),
        lost=lost,
        levels=levels,
        information=information[np.ix_(at, at)],
    )


def _codes(design: Design, rows: Ints) -> tuple[dict[int, Ints], list[Ints], list[int]]:
    levels: dict[int, Ints] = {}
    codes: list[Ints] = []
    sizes: list[int] = []
    for g, group in enumerate(design.groups):
        code = group.codes[rows]
        used = np.flatnonzero(np.bincount(code, minlength=len(group.labels)))
        if len(used) < 2:
            raise NotEnoughData(
                f"Group {group.name!r} has one level only where the response has values "
                f"({group.labels[used[0]]}): its variance needs at least two. Leave the group out."
            )
        if len(used) < len(group.labels):
            code = np.searchsorted(used, code)
        levels[g] = used
        codes.append(code)
        sizes.append(len(used))
    return levels, codes, sizes
