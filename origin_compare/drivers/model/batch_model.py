"""Mixed model over batches with the panel's error known: many attributes at once.

score = X b + grower + batch + panel error; growers and batches normal with variances to be
estimated, the panel's error covariance given per attribute. Degrees of freedom after Satterthwaite
(Giesbrecht and Burns, Biometrics 41 (1985) 477) with the expected information.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from origin_compare.drivers.model.batch_equations import Equations, Turned, turn_noise
from origin_compare.drivers.model.batch_search import likeliest
from origin_compare.drivers.model.coding import Array
from origin_compare.estimates import Estimates

__all__ = ["BatchFit", "Turned", "fit_batches", "turn_noise"]


@dataclass(frozen=True)
class BatchFit:
    """Fits of A attributes with p fixed columns and q growers.

    `beta` A x p, `cov` A x p x p (with what estimating the variances adds), `df` A x p
    (Satterthwaite), `theta` A x 2 (grower and batch variance), `theta_cov` A x 2 x 2,
    `growers` A x q conditional modes with `grower_se` (root mean squared error of
    prediction), `loglik` A (REML), `settled` A (converged); `without` A x n x p and `without_se`:
    `beta` and its standard errors with one batch left out, variances kept (if asked for).
    """

    beta: Array
    cov: Array
    df: Array
    theta: Array
    theta_cov: Array
    growers: Array
    grower_se: Array
    loglik: Array
    settled: NDArray[np.bool_]
    without: Array | None = None
    without_se: Array | None = None

    @property
    def se(self) -> Array:
        """Standard errors of `beta`, A x p."""
        return np.sqrt(np.maximum(np.einsum("aii->ai", self.cov), 0.0))

    def estimates(self, column: int) -> Estimates:
        """One fixed column's estimates with their error, A of each."""
        return Estimates(self.beta[:, column], self.se[:, column], self.df[:, column])


def fit_batches(
    Y: Array, X: Array, groups: NDArray[np.intp], noise: Array | Turned, one_out: bool = False
) -> BatchFit:
    """Fit every column of Y (n x A) on X (n x p, full rank, with its intercept).

    `groups`: n grower codes from 0, or an empty array for no grower term; `noise`: known panel
    error as n x A variances, A x n x n covariances, or prepared. n must exceed p. `one_out`:
    also leave every batch out in turn.
    """
    turned = noise if isinstance(noise, Turned) else turn_noise(noise)
    model, fit = solved(Y, X, groups, turned)
    if not one_out:
        return fit
    without, without_se = _one_out(model, fit, turned)
    return replace(fit, without=without, without_se=without_se)


def solved(
    Y: Array, X: Array, groups: NDArray[np.intp], noise: Turned
) -> tuple[Equations, BatchFit]:
    """The equations with their fit, for those who ask more of them (see `predicted`)."""
    model = Equations(Y, X, groups, noise)
    theta, settled = likeliest(model)
    return model, _result(model, theta, settled)


def _result(m: Equations, theta: Array, settled: NDArray[np.bool_]) -> BatchFit:
    UX, Py, C, loglik = m.restricted(theta)
    beta = (C @ (UX.transpose(0, 2, 1) @ m.y[:, :, None]))[:, :, 0]
    theta_cov = _theta_cov(m, theta, UX, C)
    growers, grower_se = _modes(m, theta, UX, Py, C, theta_cov)
    df = _satterthwaite(m, UX, C, theta_cov)
    cov = C + _for_estimated_weights(m, theta, UX, C, theta_cov)
    return BatchFit(beta, cov, df, theta, theta_cov, growers, grower_se, loglik, settled)


def _for_estimated_weights(
    m: Equations, theta: Array, UX: Array, C: Array, theta_cov: Array
) -> Array:
    """What estimating the two variances adds to the covariance of the fixed columns
    (Kenward and Roger, Biometrics 53 (1997) 983; V is linear in the variances)."""
    ZU = m.Z.transpose(0, 2, 1) @ UX
    kicked = [m.Z @ ZU, UX] if m.grouped else [UX * 0.0, UX]
    solved = [m.solve(theta, K) for K in kicked]
    P = [UX.transpose(0, 2, 1) @ K for K in kicked]
    added = np.zeros_like(C)
    for i in range(2):
        for j in range(2):
            Q = kicked[i].transpose(0, 2, 1) @ solved[j]
            added = added + theta_cov[:, i, j, None, None] * (Q - P[i] @ C @ P[j])
    whole = 2.0 * C @ (0.5 * (added + added.transpose(0, 2, 1))) @ C
    # Scores that hardly vary leave only rounding here; then the plain covariance stands.
    sound = np.isfinite(whole).all(axis=(1, 2)) & (np.einsum("app->ap", whole) >= 0).all(axis=1)
    return np.where(sound[:, None, None], whole, 0.0)


def _one_out(m: Equations, fit: BatchFit, noise: Turned) -> tuple[Array, Array]:
    """Leaving a batch out is giving it a column of its own, in closed form."""
    UX, Py, C, _ = m.restricted(fit.theta)
    own = noise.turn(np.eye(m.n))
    inverse = (own * m.solve(fit.theta, own)).sum(axis=1)
    UX = own.transpose(0, 2, 1) @ UX
    Py = (own.transpose(0, 2, 1) @ Py[:, :, None])[:, :, 0]
    pull = UX @ C
    left = np.maximum(inverse - (pull * UX).sum(axis=2), np.finfo(float).tiny)
    without = fit.beta[:, None, :] - pull * (Py / left)[:, :, None]
    variance = np.einsum("app->ap", fit.cov)[:, None, :] + pull**2 / left[:, :, None]
    return without, np.sqrt(variance)


def _theta_cov(m: Equations, theta: Array, UX: Array, C: Array) -> Array:
    """Inverse expected information of the two variances, also where one lies at zero:
    treating it as unknown keeps the degrees of freedom on the careful side."""
    w = 1.0 / (theta[:, 1:2] + m.noise)
    VX = m.solve(theta, UX)
    UU = C @ (UX.transpose(0, 2, 1) @ UX)
    batch = _trace_of_square(m, theta, w)
    batch = batch - 2.0 * (C * (UX.transpose(0, 2, 1) @ VX)).sum(axis=(1, 2))
    batch = batch + (UU * UU.transpose(0, 2, 1)).sum(axis=(1, 2))
    info = np.zeros((m.A, 2, 2))
    info[:, 1, 1] = 0.5 * batch
    if m.grouped:
        PZ = m.solve(theta, m.Z) - UX @ (C @ (UX.transpose(0, 2, 1) @ m.Z))
        ZPZ = m.Z.transpose(0, 2, 1) @ PZ
        info[:, 0, 0] = 0.5 * (ZPZ**2).sum(axis=(1, 2))
        info[:, 0, 1] = info[:, 1, 0] = 0.5 * (PZ**2).sum(axis=(1, 2))
        return np.linalg.pinv(info, hermitian=True)
    info[:, 0, 0] = 1.0
    cov = np.linalg.pinv(info, hermitian=True)
    cov[:, 0, 0] = 0.0
    return cov


def _trace_of_square(m: Equations, theta: Array, w: Array) -> Array:
    """Trace of V^-1 V^-1, from growers' sums alone."""
    trace = (w**2).sum(axis=1)
    if not m.grouped:
        return trace
    shrink = theta[:, :1, None] * m.inner(theta, w)[1]
    Zt = m.Z.transpose(0, 2, 1)
    cubes = shrink @ (Zt @ (w[:, :, None] ** 3 * m.Z))
    squares = shrink @ (Zt @ (w[:, :, None] ** 2 * m.Z))
    twice = (squares * squares.transpose(0, 2, 1)).sum(axis=(1, 2))
    return trace - 2.0 * np.einsum("aii->a", cubes) + twice


def _satterthwaite(m: Equations, UX: Array, C: Array, theta_cov: Array) -> Array:
    """Degrees of freedom of each fixed column, A x p, from 1 to n - p."""
    by_batch = UX @ C
    grower = ((m.Z.transpose(0, 2, 1) @ by_batch) ** 2).sum(axis=1)
    gradient = np.stack([grower, (by_batch**2).sum(axis=1)], axis=2)
    spread = ((gradient @ theta_cov) * gradient).sum(axis=2)
    variance = np.einsum("app->ap", C)
    with np.errstate(divide="ignore"):
        df = 2.0 * variance**2 / spread
    return np.clip(df, 1.0, m.n - m.p)


def _modes(
    m: Equations, theta: Array, UX: Array, Py: Array, C: Array, theta_cov: Array
) -> tuple[Array, Array]:
    """Conditional modes and the root of their mean squared error: known variances, fixed
    columns estimated, and twice what estimating the variances adds (Prasad and Rao,
    J. Am. Stat. Assoc. 85 (1990) 163), so that a variance found to be nothing does not
    make every grower surely average."""
    grower = theta[:, :1]
    modes = grower * (m.Z.transpose(0, 2, 1) @ Py[:, :, None])[:, :, 0]
    own = (m.Z * m.solve(theta, m.Z)).sum(axis=1)
    ZU = m.Z.transpose(0, 2, 1) @ UX
    fixed = ((ZU @ C) * ZU).sum(axis=2)
    left = grower - grower**2 * (own - fixed)
    VZ = m.solve(theta, m.Z)
    by_grower = VZ - grower[:, :, None] * (VZ @ (m.Z.transpose(0, 2, 1) @ VZ))
    by_batch = -grower[:, :, None] * m.solve(theta, VZ)
    kicks = (by_grower, by_batch)
    for i in range(2):
        for j in range(2):
            moved = (kicks[i] * m.spread(theta, kicks[j])).sum(axis=1)
            left = left + 2.0 * theta_cov[:, i, j, None] * moved
    return modes, np.sqrt(np.maximum(left, 0.0))
