"""Conditional modes of the groups' levels and how sure they are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from origin_compare.mixed.fitting import Part
from origin_compare.mixed.likelihood.nesting import Nesting
from origin_compare.mixed.likelihood.sums import Floats


@dataclass(frozen=True)
class Modes:
    """Of one group and one response, by level as in `Part.levels`, in the response's units.

    `mode` (L); `se` (L) with the fixed part and the variances taken as known; `prediction_se`
    (L) with the fixed part's own uncertainty included.
    """

    mode: Floats
    se: Floats
    prediction_se: Floats


def modes(part: Part, place: int) -> dict[int, Modes]:
    """By group (place in the call), the modes of the part's response number `place`."""
    nesting, ratios = part.nesting, part.ratios[place]
    inverse = part.terms.inverse[place]
    q = nesting.n_dense
    known = _dense_only(inverse, q)
    sd = np.sqrt(part.residual[place]) * part.scale[place]
    e = np.r_[-part.terms.solution[place], 1.0]
    out: dict[int, Modes] = {}
    rows = chain_rows(nesting, place, ratios[: len(nesting.chain)])
    for k, (own, U) in enumerate(rows):
        ratio = ratios[k]
        group = part.layout.groups[nesting.chain[k].group]
        pull = U @ e
        T = U[:, :-1]
        with_fixed = own - np.einsum("ij,ij->i", T @ inverse, T)
        without = own - np.einsum("ij,ij->i", T[:, :q] @ known, T[:, :q])
        to_level = nesting.nodes[k]
        out[group] = Modes(
            mode=(ratio * pull * part.scale[place])[to_level] + 0.0,  # no minus zero
            se=(sd * _root(ratio - ratio**2 * without))[to_level],
            prediction_se=(sd * _root(ratio - ratio**2 * with_fixed))[to_level],
        )
    for d, (first, last) in enumerate(nesting.dense_spans):
        group = part.layout.groups[nesting.dense[d]]
        out[group] = Modes(
            mode=part.terms.solution[place, first:last] * part.scale[place],
            se=sd * _root(np.diag(known)[first:last]),
            prediction_se=sd * _root(np.diag(inverse)[first:last]),
        )
    return out


def chain_rows(nesting: Nesting, response: int, ratios: Floats) -> list[tuple[Floats, Floats]]:
    """For each chain group: diagonal of Z'V^-1 Z (N) and Z'V^-1 W (N, T + 1)."""
    width = nesting.width
    columns = [*range(width), width + response]
    mass, total = nesting.finest.rows, nesting.finest.sums[:, columns]
    ups = []
    for link, ratio in zip(nesting.chain, ratios, strict=True):
        shrink = 1.0 / (1.0 + ratio * mass)
        ups.append((mass, total, shrink, ratio * shrink))
        if link.starts is not None:
            mass = np.add.reduceat(mass * shrink, link.starts)
            total = np.add.reduceat(total * shrink[:, None], link.starts, axis=0)
    return [_down(nesting, ups, k) for k in range(len(ups))]


def _down(
    nesting: Nesting, ups: list[tuple[Floats, Floats, Floats, Floats]], k: int
) -> tuple[Floats, Floats]:
    mass, total, shrink, _ = ups[k]
    carried = mass * shrink
    own = carried.copy()
    U = total * shrink[:, None]
    above = nesting.chain[k].parent
    for j in range(k + 1, len(ups)):
        assert above is not None
        _, total_j, shrink_j, weight_j = ups[j]
        own -= weight_j[above] * carried**2
        U -= (weight_j[above] * carried)[:, None] * total_j[above]
        carried = carried * shrink_j[above]
        next_above = nesting.chain[j].parent
        above = None if next_above is None else next_above[above]
    return own, U


def _dense_only(inverse: Floats, q: int) -> Floats:
    """The inverse of the dense groups' equations with the fixed part known."""
    zz, zx, xx = inverse[:q, :q], inverse[:q, q:], inverse[q:, q:]
    if not q or not xx.size:
        return zz
    return np.asarray(zz - zx @ np.linalg.solve(xx, zx.T))


def _root(values: Floats) -> Floats:
    return np.sqrt(np.maximum(values, 0.0))
