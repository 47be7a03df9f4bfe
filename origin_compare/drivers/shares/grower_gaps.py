"""Each grower against the mean of all, tested: lots within growers are the error where there are
several, batches where not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import fdtrc

from origin_compare.drivers.model.batch_model import fit_batches
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.study import Study
from origin_compare.estimates import ALPHA, Estimates, quantile

POWER = 0.80


@dataclass(frozen=True)
class GrowerGaps:
    """`gaps`: q growers x A attributes, each grower less the mean of all, not drawn to it; `f`,
    `p` (A): do any of them differ at all."""

    gaps: Estimates
    f: Array
    p: Array

    def smallest_seen(self, told: NDArray[np.bool_]) -> Array:
        """The gap seen four times in five on each attribute (A), all told gaps tested together:
        Bonferroni's bound, which no false-discovery bound falls short of."""
        many = max(int(told.sum()) * len(self.gaps.value), 1)
        edge = quantile(1 - ALPHA / (2 * many), self.gaps.df) + quantile(POWER, self.gaps.df)
        return np.median(edge * self.gaps.se, axis=0)


def grower_gaps(study: Study, codes: NDArray[np.intp], columns: list[int]) -> GrowerGaps | None:
    """Growers as fixed columns beside `columns` of the layout, lots random where several.

    None where the columns take up nearly all batches or cannot be told from the growers.
    """
    member = np.eye(int(codes.max()) + 1)[codes]
    own = member[:, :-1] - member[:, -1:]
    X = np.hstack([study.layout.X[:, columns], own])
    if len(X) - X.shape[1] < 3 or np.linalg.matrix_rank(X) < X.shape[1]:
        return None
    fit = fit_batches(study.panel.scores, X, study.lots, study.panel.turned)
    first = len(columns)
    beta, cov = fit.beta[:, first:], fit.cov[:, first:, first:]
    value = np.hstack([beta, -beta.sum(axis=1, keepdims=True)])
    variance = np.hstack([np.einsum("aii->ai", cov), cov.sum(axis=(1, 2))[:, None]])
    df = fit.df[:, first:]
    df = np.hstack([df, df.min(axis=1, keepdims=True)])
    solved = np.linalg.solve(cov, beta[:, :, None])[:, :, 0]
    f = (beta * solved).sum(axis=1) / beta.shape[1]
    p = fdtrc(beta.shape[1], np.median(df, axis=1), f)
    return GrowerGaps(Estimates(value.T, np.sqrt(variance.T), df.T), f, p)


def tested_against_lots(study: Study, shares: pd.DataFrame) -> pd.DataFrame:
    """The growers' shares (see `origin_shares`) with the test of `grower_gaps` where lots are the
    error: it bears lots of unequal size, as the pivots of the shares do not. A share whose test
    does not reach 2.5 % may be nothing, so its line starts there."""
    if not len(study.lots):
        return shares
    table = shares.copy()
    for name, low, columns in (
        ("", "low", list(range(study.layout.X.shape[1]))),
        ("total_", "total_low", study.layout.base),
    ):
        found = grower_gaps(study, study.layout.groups, columns)
        if found is not None:
            table[f"{name}f"], table[f"{name}p"] = found.f, found.p
            table.loc[found.p > ALPHA / 2, low] = 0.0
    return table
