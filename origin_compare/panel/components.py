"""Variance components of a panel and the generalised least squares that follow from them.

The model of one attribute (Naes, Brockhoff and Tomic, Statistics for Sensory and Consumer
Science, 2010, ch. 5, from memory):

    score = covariates + batch + assessor + tasting + assessor:batch + assessor:tasting + error

Everything but batch and tasting is nested in the assessor, so the covariance of the scores is
one small block per assessor plus a part of low rank. Components are found by REML with average
information steps (Gilmour, Thompson and Cullis, Biometrics 51, 1995, 1440, from memory); batch
effects then by generalised least squares with batch fixed. The package's general engine gives the
same components (a test holds them together); this one uses the blocks and is quick enough for
every attribute of a season at each turn of a page.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, sparse

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WITHIN = ("assessor", "assessor:batch", "assessor:tasting", "residual")
CROSSED = ("batch", "tasting")


@dataclass(frozen=True)
class Block:
    """Assessors who were served alike: `rows` (assessors x n), and who shares what (n x n)."""

    rows: Ints
    same_batch: Floats
    same_tasting: Floats


@dataclass(frozen=True)
class Layout:
    """Who scored what, for one set of rows; every array has one entry or row per score.

    `batch`, `assessor`, `tasting`: level numbers; `covariates`: n x c, centred.
    `used`: the variance components that this layout can bear, `residual` last.
    """

    batch: Ints
    assessor: Ints
    tasting: Ints
    covariates: Floats
    blocks: tuple[Block, ...]
    used: tuple[str, ...]

    @property
    def n(self) -> int:
        return len(self.batch)

    @property
    def batches(self) -> int:
        return int(self.batch.max()) + 1

    def groups(self, name: str) -> sparse.csr_matrix:
        """The n x levels incidence matrix of a component (identity for `residual`)."""
        return self.incidence[name]

    @cached_property
    def incidence(self) -> Mapping[str, sparse.csr_matrix]:
        """Incidence matrices of all components."""
        codes = {
            "batch": self.batch,
            "assessor": self.assessor,
            "tasting": self.tasting,
            "assessor:batch": _pairs(self.assessor, self.batch),
            "assessor:tasting": _pairs(self.assessor, self.tasting),
            "residual": np.arange(self.n),
        }
        rows = np.arange(self.n)
        return {
            name: sparse.csr_matrix((np.ones(self.n), (rows, code))) for name, code in codes.items()
        }


@dataclass(frozen=True)
class Components:
    """Variance components of one attribute.

    `variance`: by component name, 0 at the boundary; `cov`: their asymptotic covariance, rows in
    the order of `variance`, 0 for a component at the boundary. `status`: ok, boundary or
    not_converged.
    """

    variance: Mapping[str, float]
    cov: Floats
    criterion: float
    status: str


@dataclass(frozen=True)
class Solution:
    """Batch effects by generalised least squares.

    `estimate`: batches; `cov`: batches x batches error covariance; `slopes`: by covariate.
    `weights`: n x batches, so that estimate = weights' y; used for degrees of freedom.
    """

    estimate: Floats
    cov: Floats
    slopes: Floats
    slopes_cov: Floats
    weights: Floats
    components: Components
    layout: Layout

    def variance_of(self, contrasts: Floats) -> tuple[Floats, Floats]:
        """Variance of each contrast of the estimates and its Satterthwaite degrees of freedom.

        `contrasts`: batches x k. Returns two arrays of length k. Method: Giesbrecht and Burns,
        Biometrics 41 (1985) 477, from memory: 2 v^2 / (g' Cov(components) g), g the slopes of v.
        """
        variance = np.einsum("ik,ij,jk->k", contrasts, self.cov, contrasts)
        spread = self.weights @ contrasts
        slopes = np.zeros((len(self.components.variance), contrasts.shape[1]))
        for i, name in enumerate(self.components.variance):
            if name != "batch":  # the batch itself is no error
                slopes[i] = np.sum((self.layout.groups(name).T @ spread) ** 2, axis=0)
        doubt = np.einsum("ik,ij,jk->k", slopes, self.components.cov, slopes)
        with np.errstate(divide="ignore"):
            return variance, np.where(doubt > 0, 2 * variance**2 / doubt, np.inf)


def lay_out(batch: Ints, assessor: Ints, tasting: Ints, covariates: Floats | None = None) -> Layout:
    """The layout of n scores; components that cannot be told apart from others are not used."""
    n = len(batch)
    ab = len(np.unique(_pairs(assessor, batch)))
    at = len(np.unique(_pairs(assessor, tasting)))
    abt = len(np.unique(_pairs(_pairs(assessor, batch), tasting)))
    several = len(np.unique(tasting)) > 1
    linked = len(np.unique(_pairs(batch, tasting))) > len(np.unique(tasting))
    used = ["batch", "assessor"]
    used += ["tasting"] if several and linked else []
    used += ["assessor:batch"] if ab < n else []
    used += ["assessor:tasting"] if several and at < abt else []
    return Layout(
        batch=batch,
        assessor=assessor,
        tasting=tasting,
        covariates=np.zeros((n, 0)) if covariates is None else covariates,
        blocks=_blocks(batch, assessor, tasting),
        used=(*used, "residual"),
    )


def reml(layout: Layout, y: Floats) -> Components:
    """REML variance components with batch random; y has one score per row of the layout."""
    names = layout.used
    fixed = np.column_stack([np.ones(layout.n), layout.covariates])
    groups = {name: layout.groups(name) for name in names}
    theta = np.full(len(names), 0.6 * np.var(y) / len(names))
    theta[-1] += 0.4 * np.var(y)
    floor = 1e-9 * float(np.var(y))
    now = _turn(layout, groups, theta, fixed, y)
    converged = False
    for _ in range(60):
        free = (theta > 0) | (now.score > 0)
        step = np.zeros_like(theta)
        step[free] = linalg.lstsq(now.average[np.ix_(free, free)], now.score[free])[0]
        theta_new, new = _climb(layout, groups, theta, step, floor, fixed, y, now)
        moved = np.max(np.abs(theta_new - theta)) / float(np.var(y))
        gain = now.criterion - new.criterion
        theta, now = theta_new, new
        if moved < 1e-6 or (abs(gain) < 1e-10 and moved < 1e-4):
            converged = True
            break
    status = "not_converged" if not converged else "boundary" if np.any(theta == 0) else "ok"
    return Components(
        variance=dict(zip(names, theta.tolist(), strict=True)),
        cov=_doubt(layout, groups, theta, fixed),
        criterion=now.criterion + (layout.n - fixed.shape[1]) * np.log(2 * np.pi),
        status=status,
    )


def solve(layout: Layout, y: Floats, components: Components) -> Solution:
    """Batch effects (batch fixed) with the components' error covariance."""
    theta = np.array(list(components.variance.values()))
    names = list(components.variance)
    inverses, _ = _inverses(layout, dict(components.variance))
    fixed = np.column_stack([layout.groups("batch").toarray(), layout.covariates])
    spread, penalty = fixed, np.zeros(fixed.shape[1])
    if "tasting" in names:
        tastings = layout.groups("tasting").toarray() * np.sqrt(theta[names.index("tasting")])
        spread = np.column_stack([fixed, tastings])
        penalty = np.concatenate([penalty, np.ones(tastings.shape[1])])
    weighted = _apply(layout, inverses, spread)
    inverse = linalg.pinvh(spread.T @ weighted + np.diag(penalty))
    k, p = layout.batches, fixed.shape[1]
    weights = weighted @ inverse[:, :p]
    effects = weights.T @ y
    return Solution(
        estimate=effects[:k],
        cov=inverse[:k, :k],
        slopes=effects[k:],
        slopes_cov=inverse[k:p, k:p],
        weights=weights[:, :k],
        components=components,
        layout=layout,
    )


@dataclass(frozen=True)
class _Turn:
    criterion: float
    score: Floats
    average: Floats


def _turn(
    layout: Layout,
    groups: Mapping[str, sparse.csr_matrix],
    theta: Floats,
    fixed: Floats,
    y: Floats,
) -> _Turn:
    """Criterion (-2 log restricted likelihood, no constant), score and average information."""
    names = list(groups)
    variance = dict(zip(names, theta.tolist(), strict=True))
    inverses, logdet = _inverses(layout, variance)
    low, penalty = _low_rank(groups, variance, fixed)
    weighted = _apply(layout, inverses, low)
    middle = low.T @ weighted + np.diag(penalty)
    root = np.linalg.cholesky(middle)
    inverse = np.linalg.inv(middle)
    logdet += 2 * float(np.sum(np.log(np.diag(root))))

    def project(v: Floats) -> Floats:
        return _apply(layout, inverses, v) - weighted @ (inverse @ (weighted.T @ v))

    py = project(y[:, None])[:, 0]
    traces = np.array([_trace(layout, inverses, name) for name in names])
    for i, name in enumerate(names):
        summed = groups[name].T @ weighted
        traces[i] -= float(np.sum(summed * (summed @ inverse)))
    pulls = np.column_stack([groups[name] @ (groups[name].T @ py) for name in names])
    score = -0.5 * (traces - pulls.T @ py)
    return _Turn(logdet + float(y @ py), score, 0.5 * pulls.T @ project(pulls))


def _climb(
    layout: Layout,
    groups: Mapping[str, sparse.csr_matrix],
    theta: Floats,
    step: Floats,
    floor: float,
    fixed: Floats,
    y: Floats,
    now: _Turn,
) -> tuple[Floats, _Turn]:
    """The step, halved until the criterion no longer rises; the residual stays positive."""
    for halving in range(30):
        moved = theta + step * 0.5**halving
        moved[moved < floor] = 0.0
        moved[-1] = max(moved[-1], 0.1 * theta[-1])
        new = _turn(layout, groups, moved, fixed, y)
        if new.criterion <= now.criterion + 1e-9:
            return moved, new
    return theta, now


def _doubt(
    layout: Layout, groups: Mapping[str, sparse.csr_matrix], theta: Floats, fixed: Floats
) -> Floats:
    """Inverse of the expected information; rows of components at the boundary are 0."""
    names = list(groups)
    variance = dict(zip(names, theta.tolist(), strict=True))
    inverses, _ = _inverses(layout, variance)
    low, penalty = _low_rank(groups, variance, fixed)
    weighted = _apply(layout, inverses, low)
    middle = linalg.pinvh(low.T @ weighted + np.diag(penalty))
    summed = [groups[name] @ (groups[name].T @ weighted) for name in names]
    spread = [_apply(layout, inverses, part) for part in summed]
    squares = [part.T @ weighted for part in summed]
    turned = [square @ middle for square in squares]
    drawn = [part @ middle for part in summed]
    pairs = _pair_traces(layout, groups, inverses)
    information = np.zeros((len(names), len(names)))
    for i in range(len(names)):
        for j in range(i + 1):
            low_part = np.sum(turned[i] * turned[j].T) - 2 * np.sum(drawn[i] * spread[j])
            value = pairs[i, j] + low_part
            information[i, j] = information[j, i] = 0.5 * value
    inside = theta > 0
    cov = np.zeros_like(information)
    cov[np.ix_(inside, inside)] = linalg.pinvh(information[np.ix_(inside, inside)])
    return cov


def _low_rank(
    groups: Mapping[str, sparse.csr_matrix], variance: Mapping[str, float], fixed: Floats
) -> tuple[Floats, Floats]:
    parts = [groups[name].toarray() * np.sqrt(variance[name]) for name in CROSSED if name in groups]
    low = np.column_stack([*parts, fixed])
    penalty = np.ones(low.shape[1])
    penalty[low.shape[1] - fixed.shape[1] :] = 0.0
    return low, penalty


def _inverses(layout: Layout, variance: Mapping[str, float]) -> tuple[list[Floats], float]:
    """Inverse of each block's covariance, and the log determinant over all assessors."""
    inverses, logdet = [], 0.0
    for block in layout.blocks:
        n = block.rows.shape[1]
        cov = (
            variance["residual"] * np.eye(n)
            + variance.get("assessor", 0.0)
            + variance.get("assessor:batch", 0.0) * block.same_batch
            + variance.get("assessor:tasting", 0.0) * block.same_tasting
        )
        root = linalg.cholesky(cov, lower=True, check_finite=False)
        logdet += 2 * float(np.sum(np.log(np.diag(root)))) * len(block.rows)
        inverses.append(linalg.cho_solve((root, True), np.eye(n), check_finite=False))
    return inverses, logdet


def _apply(layout: Layout, inverses: list[Floats], v: Floats) -> Floats:
    out = np.empty_like(v)
    for block, inverse in zip(layout.blocks, inverses, strict=True):
        out[block.rows] = inverse @ v[block.rows]
    return out


def _shared(block: Block, name: str) -> Floats | None:
    """Which rows of a block share a level; None stands for the identity."""
    if name in {"batch", "assessor:batch"}:
        return block.same_batch
    if name in {"tasting", "assessor:tasting"}:
        return block.same_tasting
    return np.ones_like(block.same_batch) if name == "assessor" else None


def _trace(layout: Layout, inverses: list[Floats], name: str) -> float:
    total = 0.0
    for block, inverse in zip(layout.blocks, inverses, strict=True):
        shared = _shared(block, name)
        inside = np.trace(inverse) if shared is None else np.sum(inverse * shared)
        total += len(block.rows) * float(inside)
    return total


def _pair_traces(
    layout: Layout, groups: Mapping[str, sparse.csr_matrix], inverses: list[Floats]
) -> Floats:
    """tr(W Vi W Vj) for every two components, W the block inverses."""
    names = list(groups)
    total = np.zeros((len(names), len(names)))
    for block, inverse in zip(layout.blocks, inverses, strict=True):
        shared = [_shared(block, name) for name in names]
        sides = [inverse if one is None else inverse @ one for one in shared]
        for i, left in enumerate(sides):
            for j in range(i + 1):
                total[i, j] += len(block.rows) * float(np.sum(left * sides[j].T))
    wide = {name: groups[name].toarray() for name in names if name in CROSSED}
    for i, first in enumerate(names):
        for j, second in enumerate(names[: i + 1]):
            if first in wide and second in wide:  # these reach across assessors
                total[i, j] = np.sum(
                    (groups[first].T @ _apply(layout, inverses, wide[second])) ** 2
                )
    return total


def _blocks(batch: Ints, assessor: Ints, tasting: Ints) -> tuple[Block, ...]:
    alike: dict[bytes, list[Ints]] = {}
    for who in np.unique(assessor):
        rows = np.flatnonzero(assessor == who)
        rows = rows[np.lexsort((tasting[rows], batch[rows]))]
        alike.setdefault(np.stack([batch[rows], tasting[rows]]).tobytes(), []).append(rows)
    blocks = []
    for group in alike.values():
        b, t = batch[group[0]], tasting[group[0]]
        blocks.append(
            Block(
                rows=np.stack(group),
                same_batch=(b[:, None] == b).astype(float),
                same_tasting=(t[:, None] == t).astype(float),
            )
        )
    return tuple(blocks)


def _pairs(first: Ints, second: Ints) -> Ints:
    joined = first.astype(np.int64) * (int(second.max()) + 1) + second
    return np.asarray(pd.factorize(joined)[0], dtype=np.int64)
