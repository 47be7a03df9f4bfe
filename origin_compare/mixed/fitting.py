"""Fitting: one design factored once per pattern of missing cells, all its responses together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from origin_compare.errors import NotEnoughData
from origin_compare.mixed.design import Design
from origin_compare.mixed.likelihood.criterion import Terms, profiled, terms
from origin_compare.mixed.likelihood.identity import first_guess
from origin_compare.mixed.likelihood.likeliest import LARGE, likeliest
from origin_compare.mixed.likelihood.nesting import Nesting, nest
from origin_compare.mixed.likelihood.sums import Floats
from origin_compare.mixed.likelihood.turned_columns import Layout, lay_out

SAME = 1e-12
"""A response that moves less than this share of its size is constant."""


@dataclass(frozen=True)
class Part:
    """Responses that miss the same cells, fitted together (R responses, K groups).

    The engine worked on responses less their least-squares fit (`offset` (R, p) on Q), divided by
    `scale` (R). `ratios` (R, K) to the residual variance in the engine's order, `residual` (R) on
    the scaled responses, `criterion` (R) on the original ones, `terms` at the solution.
    """

    responses: tuple[int, ...]
    layout: Layout
    nesting: Nesting
    offset: Floats
    scale: Floats
    ratios: Floats
    residual: Floats
    criterion: Floats
    status: tuple[str, ...]
    terms: Terms

    @property
    def order(self) -> tuple[int, ...]:
        """Groups (places in the call) in the engine's order."""
        return tuple(self.layout.groups[g] for g in self.nesting.order)

    def variances(self, place: int) -> dict[int, float]:
        """By group (place in the call), and the residual's under -1, in the response's units."""
        unit = float(self.residual[place] * self.scale[place] ** 2)
        out = {g: float(self.ratios[place, k]) * unit for k, g in enumerate(self.order)}
        return {**out, -1: unit}


def fit_parts(design: Design) -> tuple[Part, ...]:
    """One `Part` per pattern of missing cells among the responses."""
    absent = np.isnan(design.Y)
    patterns: dict[bytes, list[int]] = {}
    for r in range(absent.shape[1]):
        patterns.setdefault(absent[:, r].tobytes(), []).append(r)
    parts = []
    for some in patterns.values():
        layout = lay_out(design, design.responses[some[0]], ~absent[:, some[0]])
        Y = design.Y[layout.rows][:, some]
        for place, r in enumerate(some):
            _not_constant(design.responses[r], Y[:, place], layout.Q)
        parts.append(solve(layout, Y, tuple(some)))
    return tuple(parts)


def solve(layout: Layout, Y: Floats, responses: tuple[int, ...]) -> Part:
    """Fit the columns of Y (n, R), without missing values, on one layout."""
    n = len(Y)
    offset = layout.Q.T @ Y / n
    rest = Y - layout.Q @ offset
    scale = np.sqrt((rest**2).mean(axis=0))
    rest /= scale
    nesting = nest(list(layout.codes), list(layout.sizes), layout.Q, rest)
    every = np.arange(Y.shape[1])
    guess = first_guess(nesting, every, layout.information)
    ratios, solved = likeliest(nesting, every, layout.nu, guess)
    last = terms(nesting, every, ratios)
    value = profiled(last, layout.nu).value
    return Part(
        responses=responses,
        layout=layout,
        nesting=nesting,
        offset=offset.T,
        scale=scale,
        ratios=ratios,
        residual=last.rss / layout.nu,
        criterion=value + layout.shift + 2.0 * layout.nu * np.log(scale),
        status=statuses(ratios, solved, bool(layout.lost)),
        terms=last,
    )


def _not_constant(name: str, y: Floats, Q: Floats) -> None:
    size = float(np.abs(y).max())
    if float(np.ptp(y)) <= SAME * size:
        raise NotEnoughData(
            f"{name} is {y[0]:g} in every row: there is no difference to explain. Leave it out."
        )
    rest = y - Q @ (Q.T @ y) / len(y)
    if float(np.abs(rest).max()) <= SAME * size:
        raise NotEnoughData(
            f"{name} is explained by the fixed part without rest: nothing is left to share out. "
            "Is it computed from a fixed term?"
        )


def statuses(ratios: Floats, solved: NDArray[np.bool_], any_lost: bool) -> tuple[str, ...]:
    """What each response's fit is, in the words of `MixedFit.status`."""
    out = []
    for r, settled in zip(ratios, solved, strict=True):
        if not settled or (r > 0.25 * LARGE**2).any():
            out.append("not_converged")
        elif any_lost:
            out.append("not_identified")
        else:
            out.append("boundary" if (r == 0).any() else "ok")
    return tuple(out)
