"""Who scored what, and the variance components of a panel.

The model of one attribute (Naes, Brockhoff and Tomic, Statistics for Sensory and Consumer
Science, 2010, ch. 5, from memory):

    score = covariates + batch + assessor + tasting + assessor:batch + assessor:tasting + error

The components are estimated with batch random; batch effects then follow by generalised least
squares with batch fixed and those components (Searle, Casella and McCulloch, Variance Components,
1992, ch. 6 to 7, from memory). `mixed.fit` serves general formulas on one season; a panel's model
is always this one and its scores pile up year after year, so it has sparse equations of its own.
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

from origin_compare.panel.profile.variances import Found, likeliest_variances

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

RESIDUAL = "residual"

MOST_TOGETHER = 40
"""Batches first served in one tasting up to which their covariances are kept at hand."""


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
    used: tuple[str, ...]

    @property
    def n(self) -> int:
        """How many scores there are."""
        return len(self.batch)

    @property
    def batches(self) -> int:
        """How many batches there are."""
        return int(self.batch.max()) + 1

    @cached_property
    def served_together(self) -> Ints:
        """Number of the set of each batch: those of its first tasting, if they are not too many."""
        first = np.zeros(self.batches, dtype=np.intp)
        first[self.batch[::-1]] = self.tasting[::-1]
        many = np.bincount(first)[first] > MOST_TOGETHER
        alone = first.max() + 1 + np.arange(self.batches)
        return np.unique(np.where(many, alone, first), return_inverse=True)[1]

    @cached_property
    def codes(self) -> Mapping[str, Ints]:
        """Level of each row in every group, by name."""
        return {
            "batch": self.batch,
            "assessor": self.assessor,
            "tasting": self.tasting,
            "assessor:batch": _pairs(self.assessor, self.batch),
            "assessor:tasting": _pairs(self.assessor, self.tasting),
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

    def times(self, factor: float) -> Components:
        """Those of the scores times a factor."""
        return Components(
            variance={name: value * factor**2 for name, value in self.variance.items()},
            cov=self.cov * factor**4,
            status=self.status,
        )


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
        used=(*used, RESIDUAL),
    )


def estimate_components(layout: Layout, ys: Floats) -> list[Components]:
    """REML variance components with batch random, one per column of `ys` (n x responses)."""
    groups = {name: layout.codes[name] for name in layout.used if name != RESIDUAL}
    fixed = np.column_stack([np.ones(layout.n), layout.covariates])
    found = likeliest_variances(groups, fixed, ys)
    return [_components(layout.used, found, response) for response in range(ys.shape[1])]


def _components(used: tuple[str, ...], found: Found, response: int) -> Components:
    """Those of one response; what cannot be told apart stands as 0."""
    residual = float(found.residual[response])
    names = [*found.names, RESIDUAL]
    theta = np.array([*(found.ratios[response] * residual), residual])
    inside = theta > 0
    own = np.zeros((len(names), len(names)))
    own[np.ix_(inside, inside)] = linalg.pinvh(found.information[response][np.ix_(inside, inside)])
    place = [used.index(name) for name in names]
    cov = np.zeros((len(used), len(used)))
    cov[np.ix_(place, place)] = own
    known = dict(zip(names, theta.tolist(), strict=True))
    variance = {name: known.get(name, 0.0) for name in used}
    return Components(variance=variance, cov=cov, status=found.status[response])


def pieces(batch: Ints, tasting: Ints) -> int:
    """Into how many sets tastings fall that share no batch; 1 where all hang together."""
    shape = (int(batch.max()) + 1, int(tasting.max()) + 1)
    served = sparse.csr_matrix((np.ones(len(batch)), (batch, tasting)), shape=shape)
    alike = (served.T @ served).astype(bool)
    return int(csgraph.connected_components(alike, directed=False)[0])


def linked(batch: Ints, tasting: Ints) -> bool:
    """Whether all tastings hang together through batches served in more than one."""
    return pieces(batch, tasting) == 1


def _pairs(first: Ints, second: Ints) -> Ints:
    joined = first.astype(np.intp) * (int(second.max()) + 1) + second
    return np.asarray(pd.factorize(joined)[0], dtype=np.intp)
