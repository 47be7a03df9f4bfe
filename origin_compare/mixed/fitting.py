"""Fitting: one design factored once per pattern of missing cells, all its responses together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from origin_compare.errors import NotEnoughData
from origin_compare.mixed.criterion import Terms, profiled, terms
from origin_compare.mixed.design import Design, independent
from origin_compare.mixed.identity import expected, first_guess, told_apart
from origin_compare.mixed.likeliest import likeliest
from origin_compare.mixed.nesting import Floats, Ints, Nesting, nest

LARGE = 1e5
"""An sd ratio above this means that the residual variance has vanished."""


@dataclass(frozen=True)
class Part:
    """Responses that miss the same cells, fitted together.

    Lengths and rotations: the engine works on Q (orthogonal columns, X = Q R / stretch) and on
    responses less their least-squares fit, divided by `scale`. K groups in the order of the call
    that can be told apart are in `groups`; `lost` names the others and what holds them.
    """

    responses: tuple[int, ...]
    nesting: Nesting
    groups: tuple[int, ...]
    lost: dict[int, str]
    levels: dict[int, Ints]
    rows: Ints
    names: tuple[str, ...]
    aliased: tuple[str, ...]
    kept: NDArray[np.bool_]
    back: Floats
    offset: Floats
    scale: Floats
    shift: float
    ratios: Floats
    residual: Floats
    criterion: Floats
    status: tuple[str, ...]
    terms: Terms

    @property
    def order(self) -> tuple[int, ...]:
        """Groups (places in the call) in the engine's order."""
        return tuple(self.groups[g] for g in self.nesting.order)

    @property
    def nu(self) -> int:
        return self.nesting.n_rows - self.nesting.n_fixed


def fit_parts(design: Design) -> tuple[Part, ...]:
    """One `Part` per pattern of missing cells among the responses."""
    absent = np.isnan(design.Y)
    patterns: dict[bytes, list[int]] = {}
    for r in range(absent.shape[1]):
        patterns.setdefault(absent[:, r].tobytes(), []).append(r)
    return tuple(_fit_part(design, some, ~absent[:, some[0]]) for some in patterns.values())


def _fit_part(design: Design, some: list[int], present: NDArray[np.bool_]) -> Part:
    rows = np.flatnonzero(present)
    whole = len(rows) == len(present)
    X = design.fixed.X if whole else design.fixed.X[rows]
    Y = design.Y[rows][:, some]
    kept = independent(X)
    names = tuple(n for n, k in zip(design.fixed.names, kept, strict=True) if k)
    aliased = tuple(n for n, k in zip(design.fixed.names, kept, strict=True) if not k)
    X = X[:, kept]
    n, p = X.shape
    _enough(design, some, n, p)
    Q, R = np.linalg.qr(X)
    Q *= np.sqrt(n)
    R /= np.sqrt(n)
    back = np.linalg.inv(R)
    offset = Q.T @ Y / n
    rest = Y - Q @ offset
    scale = np.sqrt((rest**2).mean(axis=0))
    _not_constant(design, some, Y, scale)
    rest = rest / scale
    levels, codes, sizes = _codes(design, rows, whole)
    nesting = nest(codes, sizes, Q, rest)
    information = expected(nesting)
    told, lost = told_apart([g.name for g in design.groups], codes, sizes, information)
    if lost:
        nesting = nest([codes[g] for g in told], [sizes[g] for g in told], Q, rest)
        information = expected(nesting)
    nu = n - p
    every = np.arange(len(some))
    ratios, solved = likeliest(nesting, every, nu, first_guess(nesting, every, information))
    last = terms(nesting, every, ratios)
    residual = last.rss / nu
    criterion = (
        profiled(last, nu).value + 2.0 * np.log(np.abs(np.diag(R))).sum() + 2.0 * nu * np.log(scale)
    )
    status = _status(ratios, solved, bool(lost))
    return Part(
        responses=tuple(some),
        nesting=nesting,
        groups=told,
        lost=lost,
        levels=levels,
        rows=rows,
        names=names,
        aliased=aliased,
        kept=kept,
        back=back,
        offset=offset.T,
        scale=scale,
        shift=2.0 * float(np.log(np.abs(np.diag(R))).sum()),
        ratios=ratios,
        residual=residual,
        criterion=criterion,
        status=status,
        terms=last,
    )


def _enough(design: Design, some: list[int], n: int, p: int) -> None:
    if n < p + 2:
        name = design.responses[some[0]]
        raise NotEnoughData(
            f"{name}: {n} rows with a value cannot carry {p} fixed terms and a residual variance."
        )


def _not_constant(design: Design, some: list[int], Y: Floats, scale: Floats) -> None:
    size = np.abs(Y).max(axis=0)
    for r, s, big in zip(some, scale, size, strict=True):
        if s <= 1e-12 * max(float(big), 1e-300):
            raise NotEnoughData(
                f"{design.responses[r]} has the same value in every row, or the fixed part "
                "explains it without rest: nothing is left to share out. Leave it out."
            )


def _codes(
    design: Design, rows: Ints, whole: bool
) -> tuple[dict[int, Ints], list[Ints], list[int]]:
    levels: dict[int, Ints] = {}
    codes: list[Ints] = []
    sizes: list[int] = []
    for g, group in enumerate(design.groups):
        if whole:
            used, code = np.arange(len(group.labels)), group.codes
        else:
            used, code = np.unique(group.codes[rows], return_inverse=True)
        if len(used) < 2:
            raise NotEnoughData(
                f"Group {group.name!r} has one level only where the response has values: "
                "its variance needs at least two. Leave the group out."
            )
        levels[g] = used
        codes.append(code)
        sizes.append(len(used))
    return levels, codes, sizes


def _status(ratios: Floats, solved: NDArray[np.bool_], any_lost: bool) -> tuple[str, ...]:
    out = []
    for r, ok in zip(ratios, solved, strict=True):
        if not ok or (r > LARGE**2).any():
            out.append("not_converged")
        elif any_lost:
            out.append("not_identified")
        else:
            out.append("boundary" if (r == 0).any() else "ok")
    return tuple(out)
