"""The panel's profile of each batch, with the panel's own noise beside every figure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.panel.profile.batch_effects import Solution
from origin_compare.panel.profile.components import Components

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Verdict:
    """Can the panel tell batches apart on one attribute.

    `f`, `df_batch`, `df_error`, `p`: test of batches against the assessors' disagreement on them
    (Fai and Cornelius' several-df form of Satterthwaite's, J. Stat. Comput. Simul. 54, 1996, 363,
    from memory); `p_adjusted` by Benjamini and Hochberg over the attributes.
    `reliability`: share of the spread of the estimates that is the batches' own, 0 to 1.
    """

    attribute: str
    told_apart: bool
    f: float
    df_batch: int
    df_error: float
    p: float
    p_adjusted: float
    reliability: float
    components: Components


@dataclass(frozen=True)
class Profile:
    """Adjusted mean per batch and attribute on the panel's scale, standard errors beside.

    `estimates`: batch_id, attribute, estimate, se, df, low, high (95 %), n_scores, n_assessors,
        told_apart, se_compare, df_compare. `se` is that of the level itself (it holds the
        assessors' common habit); `se_compare` that of the batch against the mean of all batches,
        where habits cancel.
    `verdicts`: one per attribute, best told apart first. `unusable`: attribute, cause, rows.
    `notes`: what a reader must know before the figures. `solutions`: the fits behind them.
    """

    estimates: pd.DataFrame
    verdicts: tuple[Verdict, ...]
    scale: str
    batches: tuple[str, ...]
    controls: tuple[str, ...]
    unusable: pd.DataFrame
    notes: tuple[str, ...]
    counts: Mapping[str, int]
    solutions: Mapping[str, tuple[Solution, tuple[str, ...]]] = field(repr=False)

    @property
    def attributes(self) -> tuple[str, ...]:
        """All attributes, the one the panel tells apart best first."""
        return tuple(verdict.attribute for verdict in self.verdicts)

    @property
    def told(self) -> tuple[str, ...]:
        """The attributes on which the panel tells batches apart."""
        return tuple(verdict.attribute for verdict in self.verdicts if verdict.told_apart)

    def verdict(self, attribute: str) -> Verdict:
        """The verdict on one attribute; `UnknownName` if it was not scored."""
        for verdict in self.verdicts:
            if verdict.attribute == attribute:
                return verdict
        raise UnknownName(
            f"attribute {attribute}: not in this profile. It holds {listed(self.attributes, 20)}."
        )

    def table(self) -> pd.DataFrame:
        return self.estimates.copy()

    def wide(self) -> pd.DataFrame:
        """Estimates, batch x attribute (NaN where a batch was not scored on an attribute)."""
        return self._spread("estimate")

    def wide_se(self, comparing: bool = False) -> pd.DataFrame:
        """Standard errors, batch x attribute; `comparing` for those against the mean batch."""
        return self._spread("se_compare" if comparing else "se")

    def error_cov(self, attribute: str, comparing: bool = False) -> pd.DataFrame:
        """Covariance of the panel's errors of the batch estimates, batch x batch.

        Batches not scored on the attribute are absent. With `comparing` the error shared by all
        batches (who sat on the panel) is taken out by centring; use it when only differences count.
        """
        self.verdict(attribute)
        solution, ids = self.solutions[attribute]
        scored = [name for name in ids if name in set(self.batches)]
        cov = pd.DataFrame(solution.cov, list(ids), list(ids)).loc[scored, scored]
        if not comparing:
            return cov
        centred = centring(len(cov)) @ cov.to_numpy() @ centring(len(cov))
        return pd.DataFrame(centred, cov.index, cov.columns)

    def shrunken(self) -> pd.DataFrame:
        """Estimates drawn towards the mean as far as the panel is unreliable, batch x attribute.

        The best linear unbiased prediction of each batch; use it for ranking, not for testing.
        """
        drawn = {}
        for verdict in self.verdicts:
            cov = self.error_cov(verdict.attribute)
            est = self.wide()[verdict.attribute].loc[cov.index].to_numpy()
            between = verdict.components.variance["batch"] * np.eye(len(cov))
            inverse = np.linalg.pinv(between + cov.to_numpy(), hermitian=True)
            mean = inverse.sum(axis=0) @ est / inverse.sum()
            drawn[verdict.attribute] = pd.Series(
                mean + between @ inverse @ (est - mean), index=cov.index
            )
        return pd.DataFrame(drawn).reindex(list(self.batches)).rename_axis("batch_id")

    def components(self) -> pd.DataFrame:
        """Variance components: attribute, component, variance, sd, status."""
        rows = [
            (v.attribute, name, variance, variance**0.5, v.components.status)
            for v in self.verdicts
            for name, variance in v.components.variance.items()
        ]
        return pd.DataFrame(rows, columns=["attribute", "component", "variance", "sd", "status"])

    def slopes(self) -> pd.DataFrame:
        """What scores were adjusted for: attribute, covariate, slope (points per unit), se."""
        rows = [
            (name, term, slope, variance**0.5)
            for name in self.attributes
            for solution in [self.solutions[name][0]]
            for term, slope, variance in zip(
                solution.layout.terms, solution.slopes, np.diag(solution.slopes_cov), strict=True
            )
        ]
        return pd.DataFrame(rows, columns=["attribute", "covariate", "slope", "se"])

    def reliability(self) -> pd.DataFrame:
        """One row per attribute: told_apart, f, df_batch, df_error, p, p_adjusted, reliability."""
        fields = ["attribute", "told_apart", "f", "df_batch", "df_error", "p", "p_adjusted"]
        return pd.DataFrame(
            [{name: getattr(v, name) for name in [*fields, "reliability"]} for v in self.verdicts]
        )

    def sentence(self) -> str:
        batches = count(len(self.batches), "batch")
        if not self.told:
            return (
                f"This panel cannot tell the {batches} apart on any of "
                f"{count(len(self.verdicts), 'attribute')}: what differs between batches is "
                "no larger than what differs between assessors."
            )
        return (
            f"The panel tells the {batches} apart on {len(self.told)} of "
            f"{count(len(self.verdicts), 'attribute')}: {listed(self.told, 20)}."
        )

    def rests_on(self) -> str:
        c = self.counts
        parts = [
            f"{count(c['scores'], 'score')} by {count(c['assessors'], 'assessor')} on "
            f"{count(len(self.batches), 'batch')} in {count(c['tastings'], 'tasting')}"
        ]
        return "; ".join([*parts, *self.notes]) + "."

    def _spread(self, column: str) -> pd.DataFrame:
        wide = self.estimates.pivot(index="batch_id", columns="attribute", values=column)
        wide = wide.reindex(index=list(self.batches), columns=list(self.attributes))
        return wide.rename_axis(index="batch_id", columns=None)


def centring(n: int) -> Floats:
    """The n x n matrix that takes the mean out."""
    return np.eye(n) - 1.0 / n
