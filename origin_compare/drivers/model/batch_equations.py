"""The equations of the batch model at given variances, for many attributes at once.

A attributes, n batches, p fixed columns, q growers. The error covariance is diagonalised once
per attribute; after that every evaluation costs n q2 (Woodbury), so a whole profile takes
milliseconds. A general mixed-model library fits one attribute at a time, without a known error
covariance; see the contributor guide for the figures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from origin_compare.drivers.model.coding import Array


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


class Equations:
    """Scores, fixed columns and growers in the axes of the panel's error (fixed once made).

    `X` A x n x p, `y` A x n, `Z` A x n x q (grower members), `noise` A x n (the error's
    variances), `scale` A (variance of the scores). V = diag(batch variance + noise) + grower
    variance x ZZ'. `theta` throughout: A x 2, grower and batch variance.
    """

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

    def restricted(self, theta: Array) -> tuple[Array, Array, Array, Array]:
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

    def rise(self, theta: Array) -> tuple[Array, Array, Array]:
        """How the likelihood rises with each variance: score (A x 2), average information
        (A x 2 x 2) and log likelihood."""
        UX, Py, C, loglik = self.restricted(theta)
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

    def spread(self, theta: Array, columns: Array) -> Array:
        """V times columns (A x n x k)."""
        own = (theta[:, 1:2] + self.noise)[:, :, None] * columns
        return own + theta[:, :1, None] * (self.Z @ (self.Z.transpose(0, 2, 1) @ columns))
