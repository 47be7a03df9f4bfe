"""Batch effects of a panel by generalised least squares, and how far they are known.

Batch is fixed here, the variance components are those estimated before. Variances of all batches
are the diagonal of an inverse on its sparse pattern; their slopes in the components, which the
degrees of freedom need, are central differences of it. Only what is asked for in full, such as the
covariance of all batches with one another, costs a solution per batch.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from origin_compare.panel.profile.components import RESIDUAL, Components, Layout, linked
from origin_compare.panel.profile.equations import (
    AGAIN,
    FINEST,
    Equations,
    Solver,
    equations,
    incidence,
)
from origin_compare.panel.profile.variances import nudge

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

FEW_TASTINGS = 6
"""Fewest tastings whose spread is trusted as a random effect (common practice)."""

AT_ONCE = 64
"""Right-hand sides solved at a time: few enough to stay in the processor's cache."""


@dataclass(frozen=True)
class Spread:
    """How far k batches are known: `variance` of each level and `variance_compare` of each against
    the mean of them all, with Satterthwaite's degrees of freedom beside."""

    variance: Floats
    df: Floats
    variance_compare: Floats
    df_compare: Floats


@dataclass(frozen=True)
class Solution:
    """Batch effects by generalised least squares.

    `estimate`: batches; `slopes`: by covariate, `slopes_cov` their covariance. `equations` of the
    layout; `shift`: share of the tastings' variance in the level all batches have in common, for
    tastings that are few and therefore fixed.
    """

    estimate: Floats
    slopes: Floats
    slopes_cov: Floats
    components: Components
    layout: Layout
    equations: Equations = field(repr=False)
    shift: float

    @property
    def batches(self) -> slice:
        """Where the batches stand among the unknowns."""
        first = max((last for _, last in self.equations.spans.values()), default=0)
        return slice(first, first + self.layout.batches)

    @cached_property
    def ratios(self) -> dict[str, float]:
        """Components of the equations' random groups, as ratios to the residual's variance."""
        return ratios_of(self.components, self.equations)

    @cached_property
    def cov(self) -> Floats:
        """Error covariance of the estimates, batches x batches."""
        return self.covariance()

    def covariance(self, solver: Solver | None = None) -> Floats:
        """The same, not kept; `solver` of these equations, if lent, spares one."""
        solver, every = self.solver(solver), np.eye(self.layout.batches)
        parts = np.split(every, range(AT_ONCE, len(every), AT_ONCE), axis=1)
        inside = np.hstack([self._found(solver, part)[self.batches] for part in parts])
        return self.residual * (inside + inside.T) / 2 + self.shift * self._between

    @property
    def residual(self) -> float:
        """The residual variance."""
        return self.components.variance[RESIDUAL]

    @property
    def _between(self) -> float:
        return self.components.variance.get("tasting", 0.0)

    def solver(self, solver: Solver | None = None) -> Solver:
        """The equations factored at the components (a new one, unless one is lent)."""
        solver = solver or Solver(self.equations)
        solver.set(self.ratios)
        return solver

    def _found(self, solver: Solver, right: Floats) -> Floats:
        """Unknowns for right-hand sides that touch the batches only, (batches, c)."""
        whole = np.zeros((self.equations.sums.shape[1], right.shape[1]))
        whole[self.batches] = right
        return solver.solve(whole)

    def variance_of(self, contrasts: Floats, solver: Solver | None = None) -> tuple[Floats, Floats]:
        """Variance of each contrast of the estimates and its Satterthwaite degrees of freedom.

        `contrasts`: batches x k. Returns two arrays of length k. Method: Giesbrecht and Burns,
        Biometrics 41 (1985) 477, from memory: 2 v^2 / (g' Cov(components) g), g the slopes of v.
        """
        solver = self.solver(solver)
        found = self._found(solver, contrasts)
        own = np.einsum("ik,ik->k", contrasts, found[self.batches])
        slopes = {}
        for name, (first, last) in self.equations.spans.items():
            ratio = self.ratios[FINEST if name == AGAIN else name]
            if ratio > 0:
                slopes[name] = (found[first:last] ** 2).sum(axis=0) / ratio**2
        if AGAIN in slopes:
            nothing = np.zeros((len(self.equations.fine_rows), contrasts.shape[1]))
            alone = (solver.fine_part(nothing, found) ** 2).sum(axis=0)
            slopes[FINEST] = alone + slopes.pop(AGAIN)
        return self.judged(own, slopes, contrasts.sum(axis=0))

    def judged(
        self, own: Floats, slopes: dict[str, Floats], level: Floats
    ) -> tuple[Floats, Floats]:
        """Variances and degrees of freedom from c'Zc, its slopes in the ratios, and c'1."""
        known = dict(slopes)
        known[RESIDUAL] = own - sum(self.ratios[name] * slope for name, slope in slopes.items())
        if self.shift:
            known["tasting"] = self.shift * level**2
        names = list(self.components.variance)
        g = np.stack([known.get(name, np.zeros_like(own)) for name in names])
        variance = self.residual * own + self.shift * self._between * level**2
        doubt = np.einsum("ik,ij,jk->k", g, self.components.cov, g)
        with np.errstate(divide="ignore"):
            return variance, np.where(doubt > 0, 2 * variance**2 / doubt, np.inf)

    def spread(self, kept: Ints, solver: Solver | None = None) -> Spread:
        """How far the batches numbered `kept` are known, and each against the mean of them."""
        solver = self.solver(solver)

        def levels(ratios: Mapping[str, float]) -> Floats:
            return self._levels(solver, kept, ratios)

        here, slopes = levels(self.ratios), self.slopes_in(levels)
        level = self.judged(here[0], {k: s[0] for k, s in slopes.items()}, np.ones(len(kept)))
        against = self.judged(here[1], {k: s[1] for k, s in slopes.items()}, np.zeros(len(kept)))
        return Spread(*level, *against)

    def slopes_in(self, function: Callable[[Mapping[str, float]], Floats]) -> dict[str, Floats]:
        """Slopes of a function of the ratios in each of those above zero (central differences)."""
        slopes = {}
        for name, ratio in self.ratios.items():
            if ratio > 0:
                step = nudge(ratio, self.equations, name)
                above = function({**self.ratios, name: ratio + step})
                slopes[name] = (above - function({**self.ratios, name: ratio - step})) / (2 * step)
        return slopes

    def _levels(self, solver: Solver, kept: Ints, ratios: Mapping[str, float]) -> Floats:
        """c'Zc of the levels and of the distances from the mean level, (2, kept)."""
        solver.set(ratios)
        at = self.batches.start + kept
        own = solver.entries(at, at)
        one = np.zeros((self.layout.batches, 1))
        one[kept] = 1.0 / len(kept)
        mean = self._found(solver, one)[at, 0]
        return np.stack([own, own - 2 * mean + mean.mean()])

    def of_each_assessor(self, y: Floats) -> tuple[Floats, Floats]:
        """What each assessor's scores `y` (n) add to the estimates, and their weight on the batch.

        Both assessors x batches; all assessors together are the estimates and weights of 1.
        """
        of, who = self.equations, self.layout.assessor
        solver = self.solver()
        people = int(who.max()) + 1
        masked = np.where(who[:, None] == np.arange(people), y[:, None], 0.0)
        found = solver.solve(solver.reduced(*_sides(of, masked)))
        return found[self.batches].T, self._weights(solver)

    def _weights(self, solver: Solver) -> Floats:
        """Weight of each assessor's scores of a batch in that batch's estimate."""
        of, layout = self.equations, self.layout
        pair = layout.assessor * layout.batches + layout.batch
        seen, cell = np.unique(pair, return_inverse=True)
        sums = (incidence(cell).T @ of.columns).tocsr()
        if FINEST in of.codes:
            again = np.asarray(sums[:, slice(*of.spans[AGAIN])].sum(axis=1)).ravel()
            over = 1.0 + solver.ratios[FINEST] * (np.bincount(cell) - again)
            sums = sparse.diags(1.0 / over) @ sums
        entries = sums.tocoo()
        batch = self.batches.start + seen[entries.row] % layout.batches
        out = np.zeros((int(layout.assessor.max()) + 1, layout.batches))
        inverse = solver.entries(batch, entries.col)
        weight = np.bincount(entries.row, entries.data * inverse, len(seen))
        out[seen // layout.batches, seen % layout.batches] = weight
        return out


def ratios_of(components: Components, of: Equations) -> dict[str, float]:
    """Components of the equations' random groups, as ratios to the residual's variance."""
    tiny = float(np.finfo(float).tiny)
    residual = max(components.variance[RESIDUAL], tiny)
    return {name: components.variance[name] / residual for name in of.codes}


def batch_equations(layout: Layout, names: tuple[str, ...]) -> tuple[Equations, float]:
    """Equations with batch fixed and the components `names`, and `Solution.shift`.

    Tastings that hang together but number fewer than `FEW_TASTINGS` are fixed as well: their
    spread, known so poorly, is not trusted to compare batches across tastings, and enters only
    the level that all batches share.
    """
    random = [name for name in names if name not in {"batch", RESIDUAL}]
    fixed = [incidence(layout.batch), sparse.csr_matrix(layout.covariates)]
    shift = 0.0
    tastings = int(layout.tasting.max()) + 1
    few = tastings < FEW_TASTINGS and linked(layout.batch, layout.tasting)
    if "tasting" in random and few:
        random.remove("tasting")
        between = incidence(layout.tasting) @ linalg.helmert(tastings).T
        fixed.append(sparse.csr_matrix(between))
        shift = 1.0 / tastings
    groups = {name: layout.codes[name] for name in random}
    together = incidence(layout.served_together).T
    return equations(groups, sparse.hstack(fixed, format="csr"), together), shift


def solve(
    layout: Layout,
    y: Floats,
    components: Components,
    given: tuple[Equations, float] | None = None,
    solver: Solver | None = None,
) -> Solution:
    """Batch effects (batch fixed) of scores `y` (n) with the components' error covariance.

    `given`: `batch_equations` of this layout, and `solver` one made of them, to spare their making.
    """
    of, shift = given or batch_equations(layout, tuple(components.variance))
    solver = solver or Solver(of)
    solver.set(ratios_of(components, of))
    found = solver.solve(solver.reduced(*_sides(of, y[:, None])))[:, 0]
    first = max((last for _, last in of.spans.values()), default=0)
    k, c = layout.batches, layout.covariates.shape[1]
    unit = np.zeros((len(found), c))
    unit[first + k : first + k + c] = np.eye(c)
    slopes_cov = solver.solve(unit)[first + k : first + k + c] if c else np.zeros((0, 0))
    return Solution(
        estimate=found[first : first + k],
        slopes=found[first + k : first + k + c],
        slopes_cov=components.variance[RESIDUAL] * slopes_cov,
        components=components,
        layout=layout,
        equations=of,
        shift=shift,
    )


def _sides(of: Equations, y: Floats) -> tuple[Floats, Floats]:
    """Right-hand sides of the equations and of assessor:batch for columns of scores (n, r)."""
    sums = np.stack([of.summed(one) for one in y.T], axis=1)
    return of.columns.T @ y, of.fine_sums(sums)


def generalised_rss(solver: Solver, y: Floats) -> float:
    """y'Py of scores (n), the residual's variance taken as 1."""
    centred = (y - y.mean())[:, None]
    right, fine = _sides(solver.of, centred)
    reduced = solver.reduced(right, fine)
    taken = (solver.weight[:, None] * fine**2).sum() + (reduced * solver.solve(reduced)).sum()
    return float((centred**2).sum() - taken)
