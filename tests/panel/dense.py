"""The panel's model written out with whole matrices: slow, plain, and for comparison only."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg

from origin_compare.panel.profile.components import Components, Layout

Floats = NDArray[np.float64]


def incidence(layout: Layout, name: str) -> Floats:
    """Rows x levels, 1 where the row belongs to the level; every row its own for the residual."""
    code = np.arange(layout.n) if name == "residual" else layout.codes[name]
    return np.eye(int(code.max()) + 1)[code]


def covariance(layout: Layout, variance: dict[str, float], without: str = "") -> Floats:
    """Covariance of the scores."""
    parts = [(incidence(layout, name), v) for name, v in variance.items() if name != without]
    return np.asarray(sum(v * Z @ Z.T for Z, v in parts))


def projection(layout: Layout, variance: dict[str, float]) -> Floats:
    """P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1, batch random."""
    X = np.column_stack([np.ones(layout.n), layout.covariates])
    inverse = np.linalg.inv(covariance(layout, variance))
    return inverse - inverse @ X @ np.linalg.inv(X.T @ inverse @ X) @ X.T @ inverse


def criterion(layout: Layout, y: Floats, variance: dict[str, float]) -> float:
    """Minus twice the restricted log-likelihood, but for a constant."""
    X = np.column_stack([np.ones(layout.n), layout.covariates])
    V = covariance(layout, variance)
    inside = np.linalg.slogdet(X.T @ np.linalg.inv(V) @ X)[1]
    return float(np.linalg.slogdet(V)[1] + inside + y @ projection(layout, variance) @ y)


def information(layout: Layout, variance: dict[str, float]) -> Floats:
    """Expected information about the variances, 1/2 tr(P V_i P V_j)."""
    P = projection(layout, variance)
    Z = [incidence(layout, name) for name in variance]
    return np.array([[0.5 * ((a.T @ P @ b) ** 2).sum() for a in Z] for b in Z])


class Effects:
    """Generalised least squares with batch fixed."""

    def __init__(self, layout: Layout, y: Floats, components: Components, few: bool) -> None:
        self.layout, self.components = layout, components
        variance = dict(components.variance)
        fixed = [incidence(layout, "batch"), layout.covariates]
        tastings = incidence(layout, "tasting")
        shift = 0.0
        if few:
            fixed.append(tastings @ linalg.helmert(tastings.shape[1]).T)
            shift = variance.pop("tasting") / tastings.shape[1]
        X = np.column_stack(fixed)
        inverse = np.linalg.inv(covariance(layout, variance, without="batch"))
        known = np.linalg.inv(X.T @ inverse @ X)
        k = layout.batches
        self.weights = (inverse @ X @ known)[:, :k]
        self.estimate = self.weights.T @ y
        self.cov = known[:k, :k] + shift

    def variance_of(self, contrasts: Floats) -> tuple[Floats, Floats]:
        """Variance and Satterthwaite's degrees of freedom of each contrast."""
        variance = np.einsum("ik,ij,jk->k", contrasts, self.cov, contrasts)
        spread = self.weights @ contrasts
        names = list(self.components.variance)
        g = np.stack([((incidence(self.layout, n).T @ spread) ** 2).sum(axis=0) for n in names])
        g[names.index("batch")] = 0.0
        with np.errstate(divide="ignore"):
            return variance, 2 * variance**2 / np.einsum("ik,ij,jk->k", g, self.components.cov, g)


def codes(scores: pd.DataFrame) -> tuple[NDArray[np.intp], ...]:
    """Batch, assessor and tasting of each row, as level numbers."""
    names = ("batch_id", "assessor_id", "tasting_id")
    return tuple(pd.factorize(scores[name], sort=True)[0] for name in names)
