"""Restricted likelihood of a panel's variance components, from its sparse equations.

Criterion and gradient are exact (the traces by selected inversion). The search takes the average
of observed and expected information for the second derivatives, which asks for no more than one
solution per component (Gilmour, Thompson and Cullis, Biometrics 51, 1995, 1440, from memory). The
expected information itself, wanted once at the end, is the slope of the traces.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from origin_compare.mixed.fitting import statuses
from origin_compare.mixed.likelihood.criterion import Slope
from origin_compare.mixed.likelihood.identity import first_ratios, told_apart
from origin_compare.mixed.likelihood.likeliest import least
from origin_compare.panel.profile.equations import FINEST, Equations, Solver, equations, incidence

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

PROMISE = 1e-12
"""Promised fall of the criterion at which the search ends: steps are near to Newton's, not his."""
NUDGE = 3e-5
"""Relative step of a central difference: its square, and rounding over it, are both below 1e-8."""
NEAR_ZERO = 1e-8
"""The ratio at which slopes at zero are taken."""


@dataclass(frozen=True)
class Found:
    """Of R responses and the groups of `names`: `ratios` (R, K) to the `residual` (R) variance,
    `information` (R, K + 1, K + 1) about the variances, the residual's last, and `status` (R)."""

    names: tuple[str, ...]
    ratios: Floats
    residual: Floats
    information: Floats
    status: tuple[str, ...]


def likeliest_variances(groups: Mapping[str, Ints], fixed: Floats, ys: Floats) -> Found:
    """Restricted-likelihood estimates for the columns of `ys` (n, R), all groups random.

    `groups`: levels by row; `fixed` (n, p) of full rank. Groups that this layout cannot tell from
    others are left out of `names`. Raises `NotEnoughData` where none is left.
    """
    sizes = [int(code.max()) + 1 for code in groups.values()]
    basis = np.linalg.qr(fixed)[0]
    known = _at_zero(list(groups.values()), basis)
    told, lost = told_apart(list(groups), list(groups.values()), sizes, known)
    names = tuple(list(groups)[g] for g in told)
    groups = {name: groups[name] for name in names}
    at = np.r_[0, np.array(told) + 1]
    rest = ys - basis @ (basis.T @ ys)
    right = np.stack([(rest**2).sum(axis=0), *(_pull(code, rest) for code in groups.values())])
    likelihood = Likelihood(equations(groups, sparse.csr_matrix(fixed)), names, rest)
    guess = first_ratios(right.T, known[np.ix_(at, at)])
    ratios, settled = least(likelihood.slope, guess, PROMISE, likelihood.slope_at_zero)
    residual = np.array([likelihood.residual(r, at) for r, at in enumerate(ratios)])
    information = [likelihood.information(r, s) for r, s in zip(ratios, residual, strict=True)]
    said = statuses(ratios, settled, bool(lost))
    return Found(names, ratios, residual, np.stack(information), said)


def _pull(code: Ints, rest: Floats) -> Floats:
    return np.asarray(((incidence(code).T @ rest) ** 2).sum(axis=0))


def _at_zero(codes: Sequence[Ints], basis: Floats) -> Floats:
    """Expected information with the residual's variance alone, residual first; see `identity`."""
    n, K = len(basis), len(codes)
    levels = [incidence(code) for code in codes]
    means = [level.T @ basis for level in levels]
    out = np.zeros((K + 1, K + 1))
    out[0, 0] = n - basis.shape[1]
    for i in range(K):
        out[0, i + 1] = out[i + 1, 0] = n - (means[i] ** 2).sum()
        for j in range(i + 1):
            met = (levels[i].T @ levels[j]).tocoo()
            shared = (means[i][met.row] * means[j][met.col]).sum(axis=1)
            both = (means[i].T @ means[i]) * (means[j].T @ means[j])
            value = (met.data**2).sum() - 2.0 * met.data @ shared + both.sum()
            out[i + 1, j + 1] = out[j + 1, i + 1] = value
    return out


class Likelihood:
    """Minus twice the restricted log-likelihood of the columns of `ys` (n, R) on `equations`."""

    def __init__(self, of: Equations, names: Sequence[str], ys: Floats) -> None:
        self.of, self.names = of, tuple(names)
        self.solver = Solver(of)
        self.nu = len(of.cell) - self.fixed
        self.own = (ys**2).sum(axis=0)
        self.right = of.columns.T @ ys
        self.sums = np.stack([of.summed(y) for y in ys.T], axis=1)
        self.fine = self.of.fine_sums(self.sums)

    @property
    def fixed(self) -> int:
        """Number of fixed columns."""
        return self.of.sums.shape[1] - sum(b - a for a, b in self.of.spans.values())

    def slope(self, which: Ints, ratios: Floats) -> Slope:
        """Criterion, gradient and near Hessian in the ratios (B, K) of responses `which` (B).

        The gradient is not taken in ratios of zero.
        """
        parts = [self._slope(int(r), at) for r, at in zip(which, ratios, strict=True)]
        return Slope(*(np.stack([p[i] for p in parts]) for i in range(3)))

    def slope_at_zero(self, which: Ints, ratios: Floats) -> Slope:
        """The same, the gradient taken in ratios of zero too."""
        return self.slope(which, np.maximum(ratios, NEAR_ZERO))

    def _slope(self, response: int, ratios: Floats) -> tuple[Floats, Floats, Floats]:
        traces = self._traces(ratios)
        found, fine, rss = self._fitted(response)
        pulls, quad = self._pulls(response, found, fine)
        value = self.solver.logdet + self.nu * (1.0 + np.log(2.0 * np.pi * rss / self.nu))
        share = pulls / rss
        hessian = self.nu * (quad / rss - np.outer(share, share))
        return np.array(value), traces - self.nu * share, hessian

    def _fitted(self, response: int) -> tuple[Floats, Floats, float]:
        """Unknowns (m, 1), right-hand sides of assessor:batch, and y'Py."""
        fine = self.fine[:, [response]]
        reduced = self.solver.reduced(self.right[:, [response]], fine)
        found = self.solver.solve(reduced)
        taken = _inner(fine, self.solver.weight[:, None] * fine) + _inner(reduced, found)
        rss = self.own[response] - float(taken[0, 0])
        return found, fine, max(rss, float(np.finfo(float).tiny))

    def _traces(self, ratios: Floats) -> Floats:
        """tr(Z'PZ) of each group at `ratios`, at which the solver is left standing.

        0 stands for groups whose ratio is zero: the equations do not hold their inverse.
        """
        self.solver.set(dict(zip(self.names, ratios.tolist(), strict=True)))
        found = self.solver.traces()
        return np.array([found[name] for name in self.names])

    def _pulls(self, response: int, found: Floats, fine: Floats) -> tuple[Floats, Floats]:
        """|Z_k'Py|^2 (K) and y'PZ_kZ_k'PZ_lZ_l'Py (K, K)."""
        of, solver = self.of, self.solver
        left = self.sums[:, response] - (of.sums @ found)[:, 0]
        if FINEST in of.codes:
            own = solver.ratios[FINEST] * solver.fine_part(fine, found)[:, 0]
            own = np.append(own, np.zeros(of.levels(FINEST) - len(own)))  # others are in `found`
            left -= of.rows * own[of.codes[FINEST]]
        modes = [np.bincount(of.codes[name], left, of.levels(name)) for name in self.names]
        each = [m[of.codes[k]] for m, k in zip(modes, self.names, strict=True)]
        spread: Floats = np.stack(each, axis=1, dtype=float)
        weighed = of.rows[:, None] * spread
        fine = of.fine_sums(weighed)
        reduced = solver.reduced(of.transposed @ spread, fine)
        quad = _inner(spread, weighed) - _inner(fine, solver.weight[:, None] * fine)
        quad -= _inner(reduced, solver.solve(reduced))
        return np.array([m @ m for m in modes]), quad

    def residual(self, response: int, ratios: Floats) -> float:
        """Residual variance that goes with `ratios`."""
        self.solver.set(dict(zip(self.names, ratios.tolist(), strict=True)))
        return self._fitted(response)[2] / self.nu

    def information(self, ratios: Floats, residual: float) -> Floats:
        """Expected information about the variances, 1/2 tr(P V_i P V_j), the residual's last.

        Rows of groups at zero are not filled. What concerns the residual follows from
        sum of variance_i P V_i P = P.
        """
        K = len(ratios)
        out = np.zeros((K + 1, K + 1))
        out[:K, :K] = self.second(ratios)
        traces = self._traces(ratios)
        out[K, :K] = out[:K, K] = traces - out[:K, :K] @ ratios
        out[K, K] = self.nu - ratios @ traces - out[K, :K] @ ratios
        return 0.5 * out / residual**2

    def second(self, ratios: Floats) -> Floats:
        """tr(Z_k'PZ_lZ_l'PZ_k) (K, K), minus the slope of the traces; 0 for groups at zero."""
        K = len(ratios)
        out = np.zeros((K, K))
        for k in np.flatnonzero(ratios > 0):
            step = nudge(ratios[k], self.of, self.names[k])
            shifted = np.tile(ratios, (2, 1))
            shifted[:, k] += (step, -step)
            out[k] = (self._traces(shifted[1]) - self._traces(shifted[0])) / np.ptp(shifted[:, k])
        out[:, ratios <= 0] = 0.0
        return 0.5 * (out + out.T)


def nudge(ratio: float, of: Equations, name: str) -> float:
    """Step of a central difference in the ratio of the group `name`."""
    rows = len(of.cell) / of.levels(name)
    return min(0.5 * ratio, NUDGE * (ratio + 1.0 / rows))


def _inner(first: Floats, second: Floats) -> Floats:
    return np.asarray(first.T @ second)
