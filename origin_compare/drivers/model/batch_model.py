"""Mixed model over batches with the panel's error known: many attributes at once.

score = X b + grower + batch + panel error; growers and batches normal with variances to be
estimated, the panel's error covariance given per attribute. Restricted maximum likelihood by
average information (Gilmour, Thompson and Cullis, Biometrics 51 (1995) 1440); degrees of
freedom after Satterthwaite (Giesbrecht and Burns, Biometrics 41 (1985) 477) with the expected
information. The error covariance is diagonalised once per attribute; after that every
evaluation costs n q2 (Woodbury), so a whole profile takes milliseconds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from origin_compare.drivers.model.coding import Array

ROUNDS = 60
SETTLED = 1e-8
ROUNDING = 1e-9
"""A likelihood lower by no more than this is not lower: else a step at the top is halved idly."""
FLOOR = 1e-8
"""Least batch variance, as a share of the variance of the scores, so that V can be inverted."""


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


@dataclass(frozen=True)
class Turned:
    """Panel error per attribute in its own axes: `axes` A x n x n (None: already apart) and the
    variances along them, A x n. Made once and shared by all models of the same batches."""

    axes: Array | None
    variances: Array

    def turn(self, columns: Array) -> Array:
        """Columns (n x k or A x n x k) in the axes of the error, A x n x k."""
        wide = np.broadcast_to(columns, (len(self.variances), *columns.shape[-2:]))
        return wide if self.axes is None else self.axes.transpose(0, 2, 1) @ wide


def turn_noise(noise: Array) -> Turned:
    """Prepare the panel error: n x A variances, or A x n x n covariances."""
    if noise.ndim == 2:
        return Turned(None, np.ascontiguousarray(noise.T))
    values, axes = np.linalg.eigh(noise)
    return Turned(axes, np.maximum(values, 0.0))


def fit_batches(
    Y: Array, X: Array, groups: NDArray[np.intp], noise: Array | Turned, one_out: bool = False
) -> BatchFit:
    """Fit every column of Y (n x A) on X (n x p, full rank, with its intercept).

    `groups`: n grower codes from 0, or an empty array for no grower term; `noise`: known panel
    error as n x A variances, A x n x n covariances, or prepared. n must exceed p. `one_out`:
    also leave every batch out in turn.
    """
    turned = noise if isinstance(noise, Turned) else turn_noise(noise)
    work = _Work(Y, X, groups, turned)
    theta, settled = work.climb(work.start())
    fit = work.result(theta, settled)
    if not one_out:
        return fit
    without, without_se = work.one_out(fit, turned)
    return replace(fit, without=without, without_se=without_se)


class _Work:
    def __init__(self, Y: Array, X: Array, groups: NDArray[np.intp], noise: Turned) -> None:
        self.n, self.p = X.shape
        self.A = Y.shape[1]
        y = noise.turn(Y.T[:, :, None])
        self.X = noise.turn(X)
        self.y = y[:, :, 0]
        self.XY = np.concatenate([self.X, y], axis=2)
        self.noise = noise.variances
        self.grouped = len(groups) > 0
        self.q = int(groups.max()) + 1 if self.grouped else 0
        members = np.eye(self.q)[groups] if self.grouped else np.zeros((self.n, 0))
        self.Z = noise.turn(members)
        self.scale = np.maximum(Y.var(axis=0, ddof=1), np.finfo(float).tiny)

    def start(self) -> Array:
        C = np.linalg.inv(self.X.transpose(0, 2, 1) @ self.X)
        beta = C @ (self.X.transpose(0, 2, 1) @ self.y[:, :, None])
        left = ((self.y - (self.X @ beta)[:, :, 0]) ** 2).sum(axis=1) / (self.n - self.p)
        seen = np.maximum(left - np.median(self.noise, axis=1), 0.1 * left)
        seen = np.maximum(seen, 10 * FLOOR * self.scale)
        grower = 0.3 * seen if self.grouped else 0.0 * seen
        return np.stack([grower, seen - grower], axis=1)

    def inner(self, theta: Array, w: Array) -> tuple[Array, Array]:
        """Z'D^-1 Z and the inverse of I + grower variance x Z'D^-1 Z, A x q x q."""
        ZZ = self.Z.transpose(0, 2, 1) @ (w[:, :, None] * self.Z)
        return ZZ, np.linalg.inv(np.eye(self.q) + theta[:, :1, None] * ZZ)

    def solve(self, theta: Array, columns: Array) -> Array:
        """V^-1 times columns (A x n x k)."""
        w = 1.0 / (theta[:, 1:2] + self.noise)
        weighted = w[:, :, None] * columns
        if not self.grouped:
            return weighted
        _, inner = self.inner(theta, w)
        sums = theta[:, :1, None] * (inner @ (self.Z.transpose(0, 2, 1) @ weighted))
        return weighted - w[:, :, None] * (self.Z @ sums)

    def pieces(self, theta: Array) -> tuple[Array, Array, Array, Array]:
        """V^-1 X, P y, (X'V^-1 X)^-1 and the REML log likelihood."""
        U = self.solve(theta, self.XY)
        M = self.X.transpose(0, 2, 1) @ U
        C = np.linalg.inv(M[:, :, : self.p])
        beta = C @ M[:, :, self.p :]
        Py = U[:, :, -1] - (U[:, :, : self.p] @ beta)[:, :, 0]
        d = theta[:, 1:2] + self.noise
        logdet = np.log(d).sum(axis=1)
        if self.grouped:
            logdet = logdet - np.linalg.slogdet(self.inner(theta, 1.0 / d)[1])[1]
        quad = (self.y * Py).sum(axis=1)
        loglik = -0.5 * (logdet + np.linalg.slogdet(M[:, :, : self.p])[1] + quad)
        return U[:, :, : self.p], Py, C, loglik

    def slope(self, theta: Array) -> tuple[Array, Array, Array]:
        """Score (A x 2), average information (A x 2 x 2) and log likelihood."""
        UX, Py, C, loglik = self.pieces(theta)
        w = 1.0 / (theta[:, 1:2] + self.noise)
        batch = w.sum(axis=1) - (C * (UX.transpose(0, 2, 1) @ UX)).sum(axis=(1, 2))
        grower = np.zeros(self.A)
        kicks = np.stack([np.zeros_like(Py), Py], axis=2)
        if self.grouped:
            ZZ, inner = self.inner(theta, w)
            Zww = self.Z.transpose(0, 2, 1) @ (w[:, :, None] ** 2 * self.Z)
            batch = batch - theta[:, 0] * (inner * Zww.transpose(0, 2, 1)).sum(axis=(1, 2))
            ZU = self.Z.transpose(0, 2, 1) @ UX
            sums = self.Z.transpose(0, 2, 1) @ Py[:, :, None]
            grower = (sums**2).sum(axis=(1, 2)) - (inner * ZZ.transpose(0, 2, 1)).sum(axis=(1, 2))
            grower = grower + (C * (ZU.transpose(0, 2, 1) @ ZU)).sum(axis=(1, 2))
            kicks[:, :, 0] = (self.Z @ sums)[:, :, 0]
        score = 0.5 * np.stack([grower, (Py**2).sum(axis=1) - batch], axis=1)
        VK = self.solve(theta, kicks)
        PK = VK - UX @ (C @ (self.X.transpose(0, 2, 1) @ VK))
        info = 0.5 * kicks.transpose(0, 2, 1) @ PK
        return score, info, loglik

    def climb(self, theta: Array) -> tuple[Array, NDArray[np.bool_]]:
        least = np.stack([np.zeros(self.A), FLOOR * self.scale], axis=1)
        settled = np.zeros(self.A, dtype=bool)
        for _ in range(ROUNDS):
            score, info, loglik = self.slope(theta)
            move = self.move(theta, least, score, info)
            theta, gained = self.halve(theta, least, move, loglik)
            settled = gained < SETTLED
            if settled.all():
                break
        return theta, settled

    def move(self, theta: Array, least: Array, score: Array, info: Array) -> Array:
        """The average-information step; a variance at its bound that wants below it stays."""
        held = (theta <= least) & (score <= 0)
        held[:, 0] |= not self.grouped
        free = ~held
        ridge = np.einsum("akk->ak", info).max(axis=1)[:, None] * 1e-10 + 1e-300
        masked = info * free[:, :, None] * free[:, None, :]
        masked = masked + np.eye(2) * (held + ridge)[:, :, None]
        return np.linalg.solve(masked, (score * free)[:, :, None])[:, :, 0]

    def halve(self, theta: Array, least: Array, move: Array, loglik: Array) -> tuple[Array, Array]:
        """Shorten the step where it lost likelihood; how much each attribute gained."""
        length = np.ones(self.A)
        best, gained = theta.copy(), np.zeros(self.A)
        waiting = np.ones(self.A, dtype=bool)
        for _ in range(12):
            tried = np.maximum(theta + length[:, None] * move, least)
            gain = self.pieces(tried)[3] - loglik
            good = waiting & (gain >= -ROUNDING)
            best[good], gained[good] = tried[good], gain[good]
            waiting &= ~good
            if not waiting.any():
                break
            length[waiting] /= 2.5
        return best, gained

    def result(self, theta: Array, settled: NDArray[np.bool_]) -> BatchFit:
        UX, Py, C, loglik = self.pieces(theta)
        beta = (C @ (UX.transpose(0, 2, 1) @ self.y[:, :, None]))[:, :, 0]
        theta_cov = self.theta_cov(theta, UX, C)
        growers, grower_se = self.modes(theta, UX, Py, C, theta_cov)
        df = self.satterthwaite(UX, C, theta_cov)
        cov = C + self.for_estimated_weights(theta, UX, C, theta_cov)
        return BatchFit(beta, cov, df, theta, theta_cov, growers, grower_se, loglik, settled)

    def for_estimated_weights(self, theta: Array, UX: Array, C: Array, theta_cov: Array) -> Array:
        """What estimating the two variances adds to the covariance of the fixed columns
        (Kenward and Roger, Biometrics 53 (1997) 983; V is linear in the variances)."""
        ZU = self.Z.transpose(0, 2, 1) @ UX
        kicked = [self.Z @ ZU, UX] if self.grouped else [UX * 0.0, UX]
        solved = [self.solve(theta, K) for K in kicked]
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

    def one_out(self, fit: BatchFit, noise: Turned) -> tuple[Array, Array]:
        """Leaving a batch out is giving it a column of its own, in closed form."""
        UX, Py, C, _ = self.pieces(fit.theta)
        own = noise.turn(np.eye(self.n))
        inverse = (own * self.solve(fit.theta, own)).sum(axis=1)
        UX = own.transpose(0, 2, 1) @ UX
        Py = (own.transpose(0, 2, 1) @ Py[:, :, None])[:, :, 0]
        pull = UX @ C
        left = np.maximum(inverse - (pull * UX).sum(axis=2), np.finfo(float).tiny)
        without = fit.beta[:, None, :] - pull * (Py / left)[:, :, None]
        variance = np.einsum("app->ap", fit.cov)[:, None, :] + pull**2 / left[:, :, None]
        return without, np.sqrt(variance)

    def theta_cov(self, theta: Array, UX: Array, C: Array) -> Array:
        """Inverse expected information of the two variances, also where one lies at zero:
        treating it as unknown keeps the degrees of freedom on the careful side."""
        w = 1.0 / (theta[:, 1:2] + self.noise)
        VX = self.solve(theta, UX)
        UU = C @ (UX.transpose(0, 2, 1) @ UX)
        batch = self.trace_of_square(theta, w)
        batch = batch - 2.0 * (C * (UX.transpose(0, 2, 1) @ VX)).sum(axis=(1, 2))
        batch = batch + (UU * UU.transpose(0, 2, 1)).sum(axis=(1, 2))
        info = np.zeros((self.A, 2, 2))
        info[:, 1, 1] = 0.5 * batch
        if self.grouped:
            PZ = self.solve(theta, self.Z) - UX @ (C @ (UX.transpose(0, 2, 1) @ self.Z))
            ZPZ = self.Z.transpose(0, 2, 1) @ PZ
            info[:, 0, 0] = 0.5 * (ZPZ**2).sum(axis=(1, 2))
            info[:, 0, 1] = info[:, 1, 0] = 0.5 * (PZ**2).sum(axis=(1, 2))
            return np.linalg.pinv(info, hermitian=True)
        info[:, 0, 0] = 1.0
        cov = np.linalg.pinv(info, hermitian=True)
        cov[:, 0, 0] = 0.0
        return cov

    def trace_of_square(self, theta: Array, w: Array) -> Array:
        """Trace of V^-1 V^-1, from growers' sums alone."""
        trace = (w**2).sum(axis=1)
        if not self.grouped:
            return trace
        shrink = theta[:, :1, None] * self.inner(theta, w)[1]
        Zt = self.Z.transpose(0, 2, 1)
        cubes = shrink @ (Zt @ (w[:, :, None] ** 3 * self.Z))
        squares = shrink @ (Zt @ (w[:, :, None] ** 2 * self.Z))
        twice = (squares * squares.transpose(0, 2, 1)).sum(axis=(1, 2))
        return trace - 2.0 * np.einsum("aii->a", cubes) + twice

    def satterthwaite(self, UX: Array, C: Array, theta_cov: Array) -> Array:
        by_batch = UX @ C
        grower = ((self.Z.transpose(0, 2, 1) @ by_batch) ** 2).sum(axis=1)
        gradient = np.stack([grower, (by_batch**2).sum(axis=1)], axis=2)
        spread = ((gradient @ theta_cov) * gradient).sum(axis=2)
        variance = np.einsum("app->ap", C)
        with np.errstate(divide="ignore"):
            df = 2.0 * variance**2 / spread
        return np.clip(df, 1.0, self.n - self.p)

    def modes(
        self, theta: Array, UX: Array, Py: Array, C: Array, theta_cov: Array
    ) -> tuple[Array, Array]:
        """Conditional modes and the root of their mean squared error: known variances, fixed
        columns estimated, and twice what estimating the variances adds (Prasad and Rao,
        J. Am. Stat. Assoc. 85 (1990) 163), so that a variance found to be nothing does not
        make every grower surely average."""
        grower = theta[:, :1]
        modes = grower * (self.Z.transpose(0, 2, 1) @ Py[:, :, None])[:, :, 0]
        own = (self.Z * self.solve(theta, self.Z)).sum(axis=1)
        ZU = self.Z.transpose(0, 2, 1) @ UX
        fixed = ((ZU @ C) * ZU).sum(axis=2)
        left = grower - grower**2 * (own - fixed)
        VZ = self.solve(theta, self.Z)
        by_grower = VZ - grower[:, :, None] * (VZ @ (self.Z.transpose(0, 2, 1) @ VZ))
        by_batch = -grower[:, :, None] * self.solve(theta, VZ)
        kicks = (by_grower, by_batch)
        for i in range(2):
            for j in range(2):
                moved = (kicks[i] * self.spread(theta, kicks[j])).sum(axis=1)
                left = left + 2.0 * theta_cov[:, i, j, None] * moved
        return modes, np.sqrt(np.maximum(left, 0.0))

    def spread(self, theta: Array, columns: Array) -> Array:
        """V times columns (A x n x k)."""
        own = (theta[:, 1:2] + self.noise)[:, :, None] * columns
        return own + theta[:, :1, None] * (self.Z @ (self.Z.transpose(0, 2, 1) @ columns))
