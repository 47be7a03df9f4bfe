"""What a contrast between batches owes to its parts: fixed columns, grower, batch, panel error.

Best linear unbiased prediction with the error of prediction; what estimating the two variances
adds is counted twice (Prasad and Rao, J. Am. Stat. Assoc. 85 (1990) 163), and the degrees of
freedom are Satterthwaite's, the gradient by differences.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from origin_compare.drivers.model.batch_equations import Equations, Turned
from origin_compare.drivers.model.batch_model import BatchFit
from origin_compare.drivers.model.coding import Array
from origin_compare.estimates import Estimates

Part = Literal["grower", "batch", "panel"]
STEP = 1e-4
"""Share of a variance by which it is moved for the gradient."""
LEAST_DF = 3.0
"""Fewer degrees of freedom are a rounding of the gradient: the interval would hold everything."""


@dataclass(frozen=True)
class Model:
    """The equations of one study, their fit, and the panel error's own axes."""

    equations: Equations
    fit: BatchFit
    noise: Turned


def predicted(
    model: Model, contrasts: Array, fixed: Array, parts: Iterable[Part] = ()
) -> Estimates:
    """Each contrast's value (k x A) made of these parts, with its error.

    `contrasts`: n x k weights on the batches. `fixed`: k x p weights on the fixed columns that
    take part. `parts`: which of the random parts do.
    """
    target = _Target(model, contrasts, fixed, frozenset(parts))
    theta = model.fit.theta
    value, error = target.value(theta), target.error(theta)
    estimated = target.for_estimated_variances(theta) + target.for_estimated_weights(theta) / 2
    df = target.degrees_of_freedom(theta, error)
    se = np.sqrt(np.maximum(error + 2.0 * estimated, 0.0))
    return Estimates(value.T, se.T, df.T)


class _Target:
    """Contrasts of some parts: how they go with the scores (`K`), and their own variance."""

    def __init__(
        self, model: Model, contrasts: Array, fixed: Array, parts: frozenset[Part]
    ) -> None:
        self.m, self.fit, self.fixed, self.parts = model.equations, model.fit, fixed, parts
        self.c = model.noise.turn(contrasts)
        # Without growers there are no columns to sum over, and their part is nothing.
        self.by_grower = self.m.Z.transpose(0, 2, 1) @ self.c

    def moved(self) -> tuple[Array, Array]:
        """How `K` moves with each variance."""
        nothing = np.zeros_like(self.c)
        grower = self.m.Z @ self.by_grower if "grower" in self.parts else nothing
        return grower, self.c if "batch" in self.parts else nothing

    def along(self, theta: Array) -> Array:
        """Covariance of the parts with the scores, A x n x k."""
        grower, batch = self.moved()
        K = theta[:, :1, None] * grower + theta[:, 1:, None] * batch
        return K + self.m.noise[:, :, None] * self.c if "panel" in self.parts else K

    def own(self, theta: Array) -> Array:
        """Variance of the random parts, A x k."""
        found = np.zeros((self.m.A, self.c.shape[2]))
        if "grower" in self.parts:
            found = found + theta[:, :1] * (self.by_grower**2).sum(axis=1)
        if "batch" in self.parts:
            found = found + theta[:, 1:] * (self.c**2).sum(axis=1)
        if "panel" in self.parts:
            found = found + (self.m.noise[:, :, None] * self.c**2).sum(axis=1)
        return found

    def value(self, theta: Array) -> Array:
        """The prediction, A x k."""
        _, Py, _, _ = self.m.restricted(theta)
        random = (self.along(theta).transpose(0, 2, 1) @ Py[:, :, None])[:, :, 0]
        return random + self.fit.beta @ self.fixed.T

    def error(self, theta: Array) -> Array:
        """Squared error of prediction at known variances, A x k."""
        UX, _, C, _ = self.m.restricted(theta)
        K = self.along(theta)
        VK = self.m.solve(theta, K)
        open_ = self.fixed.T[None, :, :] - UX.transpose(0, 2, 1) @ K
        of_fixed = ((C @ open_) * open_).sum(axis=1)
        return self.own(theta) - (K * VK).sum(axis=1) + of_fixed

    def for_estimated_variances(self, theta: Array) -> Array:
        """Expected square of what an error in the variances does to the prediction, A x k."""
        VK = self.m.solve(theta, self.along(theta))
        kicks = []
        for k, own in enumerate(self.moved()):
            of_scores = self.m.Z @ (self.m.Z.transpose(0, 2, 1) @ VK) if k == 0 else VK
            kicks.append(self.m.solve(theta, own - of_scores))
        found = np.zeros((self.m.A, self.c.shape[2]))
        for i in range(2):
            for j in range(2):
                both = (kicks[i] * self.m.spread(theta, kicks[j])).sum(axis=1)
                found = found + self.fit.theta_cov[:, i, j, None] * both
        return found

    def for_estimated_weights(self, theta: Array) -> Array:
        """What estimating the variances adds to the error of the fixed columns, A x k."""
        UX, _, C, _ = self.m.restricted(theta)
        open_ = self.fixed.T[None, :, :] - UX.transpose(0, 2, 1) @ self.along(theta)
        return (((self.fit.cov - C) @ open_) * open_).sum(axis=1)

    def degrees_of_freedom(self, theta: Array, error: Array) -> Array:
        """Twice the square of the error over the variance of its estimate, A x k."""
        rise = []
        for k in range(2):
            moved = theta.copy()
            step = STEP * np.maximum(theta.sum(axis=1), self.m.scale * STEP)
            moved[:, k] += step
            rise.append((self.error(moved) - error) / step[:, None])
        gradient = np.stack(rise, axis=2)
        spread = ((gradient @ self.fit.theta_cov) * gradient).sum(axis=2)
        with np.errstate(divide="ignore", invalid="ignore"):
            df = 2.0 * error**2 / spread
        most = float(self.m.n - self.m.p)
        return np.clip(np.nan_to_num(df, nan=most, posinf=most), min(LEAST_DF, most), most)
