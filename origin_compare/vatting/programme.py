"""Recipes as a mixed-integer quadratic programme, solved to proven optimum by SCIP.

Shares x of n batches, and whether each is in at all (b, 0 or 1), minimise the expected squared
distance to the target,

    sum over attributes (sum_i gap_ia x_i)^2 + sum_i noise_i x_i^2 - 2 sum_i known_i x_i + constant,

the first being the distance of what is seen and the others what the panel's error adds. Sparse
quadratic programmes of this kind are bounded well by perspective cuts (Frangioni and Gentile,
Mathematical Programming 106, 2006, 225, from memory): with b whole, x^2 >= 2 q x - q^2 b for
every q. SCIP: Bolusani et al., The SCIP Optimization Suite 9.0, 2024.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyscipopt import SCIP_PARAMSETTING, Model, quicksum

from origin_compare.vatting.limits import Flags, Limits

Floats = NDArray[np.float64]

APART = 0.20
"""A further recipe leaves out parts that made up this much of every recipe before it."""
_PROCESSOR = 1  # SCIP's name for it: a busy machine does not cut the search short
_TANGENTS = (0.5, 1.0, 2.0)
_TOLERANCE = 1e-8
_SETTLING_S, _SETTLED = 0.5, 1e-5


@dataclass(frozen=True, slots=True)
class Programme:
    """`gaps`: batches x attributes, distance of each batch from the target; `noise`, `known`: per
    batch, `constant`: what the panel's error adds (see the module). All scaled so that the value
    is a squared distance in score points.
    """

    gaps: Floats
    noise: Floats
    known: Floats
    constant: float

    def value(self, shares: Floats) -> float:
        """Expected squared distance of a recipe."""
        seen = float(((shares @ self.gaps) ** 2).sum())
        doubt = float(self.noise @ shares**2 - 2 * self.known @ shares)
        return max(seen + doubt + self.constant, 0.0)

    def only(self, rows: Flags) -> Programme:
        """The same target for some of the batches."""
        return replace(self, gaps=self.gaps[rows], noise=self.noise[rows], known=self.known[rows])


@dataclass(frozen=True, slots=True)
class Solved:
    """`shares` of the best recipe found, its value, and a value that no recipe goes below."""

    shares: Floats
    value: float
    bound: float

    @property
    def gap(self) -> float:
        """How much nearer, in score points, a recipe nobody found could be at most."""
        return max(float(np.sqrt(self.value) - np.sqrt(self.bound)), 0.0)


def solve(
    programme: Programme,
    limits: Limits,
    seconds: float,
    precision: float,
    start: Floats | None = None,
    before: Sequence[Floats] = (),
) -> Solved | None:
    """The best recipe within `limits`; None if there is none.

    `precision`: the search ends when no recipe can be nearer by more than this, in score points;
    or after `seconds` of processor time. `start`: a recipe to begin from. `before`: recipes to
    differ from.
    """
    model, x, b = _shares(limits, before)
    extra = _objective(model, x, b, programme, limits)
    if start is not None:
        _hand_in(model, [x, b, *extra], programme, start)
        reached = max(np.sqrt(programme.value(start)), 1e-9)
        model.setParam("limits/gap", 2 * precision / reached)
        model.setHeuristics(SCIP_PARAMSETTING.FAST)
    model.setParam("limits/absgap", precision**2)
    model.setParam("limits/time", max(seconds, 0.01))
    model.optimize()
    if model.getNSols() == 0:
        return None
    shares = np.array([model.getVal(share) for share in x])
    shares[np.array([model.getVal(is_in) for is_in in b]) < 0.5] = 0
    shares = np.clip(shares, 0, limits.upper)
    shares /= shares.sum()
    value = programme.value(shares)
    return Solved(shares, value, min(max(model.getDualbound(), 0.0), value))


def settled(programme: Programme, limits: Limits, rows: Flags) -> Floats | None:
    """The best shares (n, 0 elsewhere) of just these batches; None if they cannot make a recipe."""
    found = solve(programme.only(rows), limits.only(rows), _SETTLING_S, _SETTLED)
    if found is None:
        return None
    shares = np.zeros(len(rows))
    shares[rows] = found.shares
    return shares


def possible(limits: Limits, before: Sequence[Floats] = ()) -> bool:
    """Whether any recipe keeps to these limits."""
    model, _, _ = _shares(limits, before)
    model.optimize()
    return bool(model.getNSols() > 0)


def fighting(limits: Limits) -> list[str]:
    """Limits in words that cannot all be kept, none of which could be left out of the list."""
    left = limits
    for name in limits.words:
        lighter = left.without(name)
        if not possible(lighter):
            left = lighter
    return list(left.words.values())


def _shares(limits: Limits, before: Sequence[Floats]) -> tuple[Model, list, list]:
    model = Model()
    model.hideOutput()
    model.setParam("numerics/feastol", _TOLERANCE)
    model.setParam("timing/clocktype", _PROCESSOR)
    upper, lower = limits.upper, limits.lower
    x = [model.addVar(ub=float(top)) for top in upper]
    b = [model.addVar(vtype="B", lb=float(must)) for must in limits.must]
    for share, is_in, low, top in zip(x, b, lower, upper, strict=True):
        model.addCons(share <= float(top) * is_in)
        model.addCons(share >= float(low) * is_in)
    model.addCons(quicksum(x) == 1)
    model.addCons(quicksum(b) <= limits.most_batches)
    model.addCons(quicksum(b) >= limits.fewest_batches)
    for own, least in limits.origins.values():
        model.addCons(quicksum(x[row] for row in np.flatnonzero(own)) >= least)
    if np.isfinite(limits.most_mass):
        mass = quicksum(float(kg) * share for kg, share in zip(limits.mass, x, strict=True))
        model.addCons(mass <= limits.most_mass)
    for shares in before:
        kept = quicksum(float(shares[row]) * b[row] for row in np.flatnonzero(shares))
        model.addCons(kept <= 1 - APART)
    return model, x, b


def _objective(model: Model, x: list, b: list, programme: Programme, limits: Limits) -> list[list]:
    """Adds the value to be minimised; returns its own variables."""
    attributes = programme.gaps.shape[1]
    gap = [model.addVar(lb=None) for _ in range(attributes)]
    seen = model.addVar()
    for place in range(attributes):
        column = programme.gaps[:, place]
        model.addCons(gap[place] == quicksum(float(g) * s for g, s in zip(column, x, strict=True)))
    model.addCons(quicksum(one * one for one in gap) <= seen)
    square = _squares(model, x, b, limits) if programme.noise.any() else []
    model.setObjective(
        seen
        + quicksum(float(noise) * one for noise, one in zip(programme.noise, square, strict=False))
        - quicksum(
            2 * float(known) * share for known, share in zip(programme.known, x, strict=True)
        )
        + programme.constant
    )
    return [gap, [seen], square]


def _squares(model: Model, x: list, b: list, limits: Limits) -> list:
    square = [model.addVar() for _ in x]
    for share, is_in, one in zip(x, b, square, strict=True):
        model.addCons(share * share <= one)
        for tangent in _TANGENTS:
            q = tangent / limits.most_batches
            model.addCons(one >= 2 * q * share - q**2 * is_in)
    return square


def _hand_in(model: Model, variables: list[list], programme: Programme, start: Floats) -> None:
    """Tells the solver of a recipe it may begin from."""
    gap = start @ programme.gaps
    values: list[Any] = [start, start > 0, gap, [float(gap @ gap) + _TOLERANCE], start**2]
    known = model.createSol()
    for group, figures in zip(variables, values, strict=True):
        for variable, figure in zip(group, figures, strict=False):
            model.setSolVal(known, variable, float(figure))
    model.addSol(known)
