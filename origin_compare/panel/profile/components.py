"""Variance components of a panel and the generalised least squares that follow from them.

The model of one attribute (Naes, Brockhoff and Tomic, Statistics for Sensory and Consumer
Science, 2010, ch. 5, from memory):

    score = covariates + batch + assessor + tasting + assessor:batch + assessor:tasting + error

The components come from `mixed.fit` with batch random; batch effects then follow by generalised
least squares with batch fixed and those components (Searle, Casella and McCulloch, Variance
Components, 1992, ch. 6 to 7, from memory). Everything but batch and tasting is nested in the
assessor, so the covariance of the scores is one small block per assessor plus a part of low rank,
which makes the covariance of estimates and of components cheap.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, sparse
from scipy.sparse import csgraph

from origin_compare import mixed

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CROSSED = ("batch", "tasting")

FEW_TASTINGS = 6
"""Fewest tastings whose spread is trusted as a random effect (common practice)."""


@dataclass(frozen=True)
class Block:
    """Assessors who were served alike: `rows` (assessors x n), and who shares what (n x n)."""

    rows: Ints
    same_batch: Floats
    same_tasting: Floats


@dataclass(frozen=True)
class Layout:
    """Who scored what, for one set of rows; every array has one entry or row per score.

    `batch`, `assessor`, `tasting`: level numbers; `covariates`: n x c, centred, named in `terms`.
    `used`: the variance components that this layout can bear, `residual` last.
    """

    batch: Ints
    assessor: Ints
    tasting: Ints
    covariates: Floats
    terms: tuple[str, ...]
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
    the order of `variance`, 0 for a component at the boundary. `status` as the fit says
    it: ok, boundary, not_identified or not_converged.
    """

    variance: Mapping[str, float]
    cov: Floats
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


def lay_out(
    batch: Ints, assessor: Ints, tasting: Ints, covariates: Mapping[str, Floats] | None = None
) -> Layout:
    """The layout of n scores; components that cannot be told apart from others are not used."""
    n = len(batch)
    ab = len(np.unique(_pairs(assessor, batch)))
    at = len(np.unique(_pairs(assessor, tasting)))
    abt = len(np.unique(_pairs(_pairs(assessor, batch), tasting)))
    several = len(np.unique(tasting)) > 1
    shared = len(np.unique(_pairs(batch, tasting))) > len(np.unique(tasting))
    used = ["batch", "assessor"]
    used += ["tasting"] if several and shared else []
    used += ["assessor:batch"] if ab < n else []
    used += ["assessor:tasting"] if several and at < abt else []
    return Layout(
        batch=batch,
        assessor=assessor,
        tasting=tasting,
        covariates=np.column_stack([np.zeros((n, 0)), *(covariates or {}).values()]),
        terms=tuple(covariates or ()),
        blocks=_blocks(batch, assessor, tasting),
        used=(*used, "residual"),
    )


def estimate_components(layout: Layout, ys: Floats) -> list[Components]:
    """REML variance components with batch random, one per column of `ys` (n x responses)."""
    responses = [f"y{i}" for i in range(ys.shape[1])]
    data = pd.DataFrame(ys, columns=responses).assign(
        batch=layout.batch.astype(str),
        assessor=layout.assessor.astype(str),
        tasting=layout.tasting.astype(str),
    )
    terms = [f"x{i}" for i in range(layout.covariates.shape[1])]
    data[terms] = layout.covariates
    groups = [name for name in layout.used if name != "residual"]
    found = mixed.fit(data, responses, " + ".join(["1", *terms]), groups)
    wide = found.components.pivot(index="response", columns="group", values="variance")
    fixed = np.column_stack([np.ones(layout.n), layout.covariates])
    incidence = {name: layout.groups(name) for name in layout.used}
    parts = []
    for response in responses:
        theta = np.nan_to_num(wide.loc[response, list(layout.used)].to_numpy(dtype=float))
        parts.append(
            Components(
                variance=dict(zip(layout.used, theta.tolist(), strict=True)),
                cov=_doubt(layout, incidence, theta, fixed),
                status=str(found.status[response]),
            )
        )
    return parts


def pieces(batch: Ints, tasting: Ints) -> int:
    """Into how many sets tastings fall that share no batch; 1 where all hang together."""
    shape = (int(batch.max()) + 1, int(tasting.max()) + 1)
    served = sparse.csr_matrix((np.ones(len(batch)), (batch, tasting)), shape=shape)
    alike = (served.T @ served).astype(bool)
    return int(csgraph.connected_components(alike, directed=False)[0])


def linked(batch: Ints, tasting: Ints) -> bool:
    """Whether all tastings hang together through batches served in more than one."""
    return pieces(batch, tasting) == 1


def solve(layout: Layout, y: Floats, components: Components) -> Solution:
    """Batch effects (batch fixed) with the components' error covariance.

    Tastings that hang together but number fewer than `FEW_TASTINGS` are fixed as well: their
    spread, known so poorly, is not trusted to compare batches across tastings, and enters only
    the level that all batches share.
    """
    inverses = _inverses(layout, components.variance)
    fixed = np.column_stack([layout.groups("batch").toarray(), layout.covariates])
    spread, penalty = fixed, np.zeros(fixed.shape[1])
    shift = 0.0
    if "tasting" in components.variance:
        tastings, between = layout.groups("tasting").toarray(), components.variance["tasting"]
        several = tastings.shape[1]
        if several < FEW_TASTINGS and linked(layout.batch, layout.tasting):
            tastings = tastings @ linalg.helmert(several).T  # differences between tastings
            penalty = np.zeros(len(penalty) + several - 1)
            shift = between / several  # of their mean, which moves every batch alike
        else:
            tastings = tastings * np.sqrt(between)
            penalty = np.concatenate([penalty, np.ones(several)])
        spread = np.column_stack([fixed, tastings])
    weighted = _apply(layout, inverses, spread)
    inverse = linalg.pinvh(spread.T @ weighted + np.diag(penalty))
    k, p = layout.batches, fixed.shape[1]
    weights = weighted @ inverse[:, :p]
    effects = weights.T @ y
    return Solution(
        estimate=effects[:k],
        cov=inverse[:k, :k] + shift,
        slopes=effects[k:],
        slopes_cov=inverse[k:p, k:p],
        weights=weights[:, :k],
        components=components,
        layout=layout,
    )


def _doubt(
    layout: Layout, groups: Mapping[str, sparse.csr_matrix], theta: Floats, fixed: Floats
) -> Floats:
    """Inverse of the expected information; rows of components at the boundary are 0."""
    names = list(groups)
    variance = dict(zip(names, theta.tolist(), strict=True))
    inverses = _inverses(layout, variance)
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


def _inverses(layout: Layout, variance: Mapping[str, float]) -> list[Floats]:
    """Inverse of each block's covariance, batch and tasting left out."""
    inverses = []
    for block in layout.blocks:
        cov = (
            variance["residual"] * np.eye(block.rows.shape[1])
            + variance.get("assessor", 0.0)
            + variance.get("assessor:batch", 0.0) * block.same_batch
            + variance.get("assessor:tasting", 0.0) * block.same_tasting
        )
        inverses.append(linalg.inv(cov, check_finite=False))
    return inverses


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
