"""The growers' share of what the panel can see, tested, with its interval.

Test and pivots of one random factor in an unbalanced mixed model: Wald's, as in Harville and
Fenech, Biometrics 41 (1985) 137, exact for equal panel errors; unequal ones enter by their mean.
The interval of the share is a generalised one (Weerahandi, J. Am. Stat. Assoc. 88 (1993) 899):
it spreads both pivots, growers' and batches', and takes the known panel error from the second.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from origin_compare.drivers.model.coding import Array
from origin_compare.estimates import LEVEL

POINTS = 41
NOT_ALL = 0.999
"""Panel noise can leave next to nothing, never less than nothing."""


class Columns(Protocol):
    """The fixed columns, those without process, and the grower codes: see `slopes.Layout`."""

    @property
    def X(self) -> Array: ...  # noqa: N802

    @property
    def base(self) -> list[int]: ...

    @property
    def groups(self) -> NDArray[np.intp]: ...


def origin_shares(
    layout: Columns,
    scores: Array,
    noise: Array,
    names: list[str],
    lots: NDArray[np.intp] | None = None,
) -> pd.DataFrame:
    """One row per attribute: `share, low, high` of the visible variation left by season and
    process that lies between growers (direct), its test `f, p`; `total, total_low, total_high,
    total_p` without process. Missing where grower and batch are one thing. `lots`: n codes; growers
    are then tested against lots, and lots count to what is not the growers'."""
    table = pd.DataFrame({"attribute": names})
    season_only = list(layout.base)
    for prefix, columns in (("", list(range(layout.X.shape[1]))), ("total", season_only)):
        found = _shares(layout.X[:, columns], layout.groups, scores, noise, lots)
        for name, values in found.items():
            table[_column(prefix, name)] = values
    return table


def _column(prefix: str, name: str) -> str:
    if not prefix:
        return name
    return prefix if name == "share" else f"{prefix}_{name}"


def _shares(
    X: Array,
    groups: NDArray[np.intp],
    scores: Array,
    noise: Array,
    lots: NDArray[np.intp] | None,
) -> dict[str, Array]:
    attributes = scores.shape[1]
    missing = np.full(attributes, np.nan)
    if len(groups) == 0:
        return {"share": missing, "low": missing, "high": missing, "f": missing, "p": missing}
    wald = _Wald(X, groups, scores, lots)
    if wald.rank == 0 or wald.left < 1:
        return {"share": missing, "low": missing, "high": missing, "f": missing, "p": missing}
    noise_square = wald.noise_square(noise)
    found = np.array([wald.share(a, noise_square[a]) for a in range(attributes)]).T
    f = wald.f()
    share, low, high = found
    return {
        "share": share,
        "low": low,
        "high": high,
        "f": f,
        "p": stats.f.sf(f, wald.rank, wald.error_left),
    }


class _Wald:
    """Sums of squares of the growers at any variance ratio."""

    def __init__(
        self,
        X: Array,
        groups: NDArray[np.intp],
        scores: Array,
        lots: NDArray[np.intp] | None = None,
    ) -> None:
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
        # What growers are held against: batches, or lots and how many batches each has.
        self.error_square, self.error_left, self.each = self.mean_square, self.left, 1.0
        if lots is not None and len(lots):
            self._against_lots(np.eye(int(lots.max()) + 1)[lots], rest)

    def _against_lots(self, member: Array, rest: Array) -> None:
        own = member - self.span @ (self.span.T @ member)
        vectors, singular, _ = np.linalg.svd(own, full_matrices=False)
        vectors = vectors[:, singular > 1e-7]
        rank = vectors.shape[1]
        if rank < 1 or self.left - rank < 1:
            return
        squares = ((vectors.T @ rest) ** 2).sum(axis=0)
        self.error_square, self.error_left = squares / rank, rank
        self.each = len(member) / member.shape[1]
        self.mean_square = ((rest**2).sum(axis=0) - squares) / (self.left - rank)

    def noise_square(self, noise: Array) -> Array:
        """What the panel's error is expected to put into each mean square within growers."""
        n = len(self.span)
        inside = np.einsum("ik,aij,jk->a", self.span, noise, self.span, optimize=True)
        trace = np.einsum("aii->a", noise) - inside
        return trace / (n - self.span.shape[1])

    def f(self) -> Array:
        """F statistic of the growers, per attribute."""
        tiny = np.finfo(float).tiny
        return (self.parts**2).sum(axis=0) / self.rank / np.maximum(self.error_square, tiny)

    def share(self, a: int, noise_square: float) -> tuple[float, float, float]:
        """Share of the visible that is the growers', low and high."""
        grid = np.concatenate([[0.0], np.logspace(-8, 8, 800)])
        sums = (self.parts[:, a, None] ** 2 / (1.0 + grid * self.values[:, None])).sum(axis=0)
        tiny = np.finfo(float).tiny
        square, left = max(float(self.error_square[a]), tiny), self.error_left
        batch = max(float(self.mean_square[a]), tiny)
        error = left * square / _chi_square(left)[:, None]
        target = error * _chi_square(self.rank)[None, :]
        grower = _solved(grid, sums, target) * error
        drawn = _visible(grower, self._within(error, batch), noise_square)
        expected = left / (left - 2) if left > 2 else 1.0
        ratio = _solved(grid, sums, np.array(expected * square * self.rank))
        within = self._within(np.array(square), batch)
        middle = _visible(ratio * square, within, noise_square)
        low, high = np.quantile(drawn, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
        return float(middle), float(low), float(high)

    def _within(self, error: Array, batch: float) -> Array:
        """Variance of one batch about its grower: its lot's and its own."""
        if self.each <= 1.0:
            return error
        return (error + (self.each - 1.0) * batch) / self.each


def _chi_square(df: int) -> Array:
    """An even spread of chi-square values, in place of random draws."""
    return np.asarray(stats.chi2.ppf((np.arange(POINTS) + 0.5) / POINTS, df))


def _solved(grid: Array, sums: Array, target: Array) -> Array:
    """The ratio at which the growers' sum of squares, falling with it, meets the target."""
    return np.interp(-target, -sums, grid)


def _visible(grower: Array, within: Array, noise_square: float) -> Array:
    """Growers' share once the panel's error is out of what lies within growers."""
    batch = np.maximum(within - noise_square, (1 - NOT_ALL) * within)
    return grower / (grower + batch)
