"""The growers' share of what the panel can see, exactly tested and with an exact interval.

Variance ratio of one random factor in an unbalanced mixed model: Wald's interval, Harville and
Fenech, Biometrics 41 (1985) 137. It is exact for equal panel errors; unequal ones enter by their
mean. Growers' variance over all else becomes a share of the visible once panel noise is out.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import optimize, stats

from origin_compare.drivers.coding import Array

LEVEL = 0.95


class Columns(Protocol):
    """The fixed columns, those without process, and the grower codes: see `slopes.Layout`."""

    @property
    def X(self) -> Array: ...  # noqa: N802

    @property
    def base(self) -> list[int]: ...

    @property
    def groups(self) -> NDArray[np.intp]: ...


def origin_shares(layout: Columns, scores: Array, noise: Array, names: list[str]) -> pd.DataFrame:
    """One row per attribute: `share, low, high` of the visible variation left by season and
    process that lies between growers (direct), its test `f, p`; `total, total_low, total_high,
    total_p` without process. Missing where grower and batch are one thing."""
    table = pd.DataFrame({"attribute": names})
    season_only = list(layout.base)
    for prefix, columns in (("", list(range(layout.X.shape[1]))), ("total", season_only)):
        found = _shares(layout.X[:, columns], layout.groups, scores, noise)
        for name, values in found.items():
            table[_column(prefix, name)] = values
    return table


def _column(prefix: str, name: str) -> str:
    if not prefix:
        return name
    return prefix if name == "share" else f"{prefix}_{name}"


def _shares(X: Array, groups: NDArray[np.intp], scores: Array, noise: Array) -> dict[str, Array]:
    attributes = scores.shape[1]
    missing = np.full(attributes, np.nan)
    if len(groups) == 0:
        return {"share": missing, "low": missing, "high": missing, "f": missing, "p": missing}
    wald = _Wald(X, groups, scores)
    if wald.rank == 0 or wald.left < 1:
        return {"share": missing, "low": missing, "high": missing, "f": missing, "p": missing}
    visible = 1.0 - np.minimum(wald.noise_share(noise), NOT_ALL)
    alpha = (1 - LEVEL) / 2
    ratios = {
        "share": [wald.middle(a) for a in range(attributes)],
        "low": [
            wald.ratio(a, float(stats.f.isf(alpha, wald.rank, wald.left)))
            for a in range(attributes)
        ],
        "high": [
            wald.ratio(a, float(stats.f.ppf(alpha, wald.rank, wald.left)))
            for a in range(attributes)
        ],
    }
    found = {name: _to_share(np.array(r), visible) for name, r in ratios.items()}
    f = wald.f(np.zeros(attributes))
    return {**found, "f": f, "p": stats.f.sf(f, wald.rank, wald.left)}


NOT_ALL = 0.999
"""Panel noise can leave next to nothing, never less than nothing."""


def _to_share(ratio: Array, visible: Array) -> Array:
    with np.errstate(invalid="ignore"):
        share = ratio / (ratio + visible)
    return np.where(np.isinf(ratio), 1.0, share)


class _Wald:
    """F of the growers at any variance ratio, all attributes at once."""

    def __init__(self, X: Array, groups: NDArray[np.intp], scores: Array) -> None:
        Z = np.eye(int(groups.max()) + 1)[groups]
        Q = np.linalg.qr(X)[0]
        Zr = Z - Q @ (Q.T @ Z)
        left, singular, _ = np.linalg.svd(Zr, full_matrices=False)
        keep = singular > 1e-7
        self.values = singular[keep] ** 2
        self.rank = int(keep.sum())
        self.left = len(X) - X.shape[1] - self.rank
        residual = scores - Q @ (Q.T @ scores)
        self.parts = left[:, keep].T @ residual
        rest = residual - left[:, keep] @ self.parts
        self.mean_square = (rest**2).sum(axis=0) / max(self.left, 1)
        self.span = np.hstack([Q, left[:, keep]])

    def noise_share(self, noise: Array) -> Array:
        """Panel error as a share of the batch-to-batch mean square."""
        n = len(self.span)
        inside = np.einsum("ik,aij,jk->a", self.span, noise, self.span, optimize=True)
        trace = np.einsum("aii->a", noise) - inside
        tiny = np.finfo(float).tiny
        return trace / (n - self.span.shape[1]) / np.maximum(self.mean_square, tiny)

    def f(self, ratio: Array) -> Array:
        """F statistic per attribute (A) for one variance ratio each (A)."""
        shrunk = self.parts**2 / (1.0 + ratio[None, :] * self.values[:, None])
        tiny = np.finfo(float).tiny
        return shrunk.sum(axis=0) / self.rank / np.maximum(self.mean_square, tiny)

    def ratio(self, a: int, target: float) -> float:
        """The variance ratio at which attribute a's F meets the target; 0 if it is below."""
        parts, square = self.parts[:, a] ** 2, self.mean_square[a]

        def gap(log_ratio: float) -> float:
            f = (parts / (1.0 + np.exp(log_ratio) * self.values)).sum() / self.rank / square
            return float(f - target)

        if parts.sum() / self.rank <= target * square:
            return 0.0
        if square <= 0 or gap(40.0) > 0:
            return float("inf")
        return float(np.exp(optimize.brentq(gap, -40.0, 40.0)))

    def middle(self, a: int) -> float:
        """The ratio at which F is what it should be on average."""
        expected = self.left / (self.left - 2) if self.left > 2 else 1.0
        return self.ratio(a, expected)
