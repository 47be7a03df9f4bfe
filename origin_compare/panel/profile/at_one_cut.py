"""The profile at one strength of cut: how much of the batches' gaps goes with the still's cut.

The cut belongs to the whole batch, so it is no covariate of single scores: batches are compared by
a line on the cut, each batch counting once, the panel's error and the spread between batches as
error (a mixed meta-regression; Raudenbush, in Cooper, Hedges and Valentine, Handbook of Research
Synthesis, 2nd ed. 2009, ch. 16, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, optimize, stats

from origin_compare.answers import count, listed
from origin_compare.errors import NotEnoughData
from origin_compare.estimates import ALPHA, false_discovery
from origin_compare.panel.profile.profile import Profile

Floats = NDArray[np.float64]

CUTS = ("cut_on_abv_pct", "cut_off_abv_pct")
SAME_CUT = 0.5
"""Cuts that spread no further than this (sd, % vol) count as one (common practice)."""
FEW_BATCHES = 10
"""Fewest batches for each cut looked at (the usual rule of thumb)."""
SLOPES = ["attribute", "cut", "slope", "se", "df", "low", "high", "p", "p_adjusted", "goes_with"]


@dataclass(frozen=True)
class AtOneCut:
    """Batches at the mean cut.

    `slopes`: `SLOPES`; points per % vol of cut, 95 % interval, `p_adjusted` by Benjamini and
        Hochberg over all.
    `estimates`: batch_id, attribute, estimate, se, low, high at the mean cut; `se` holds the
        panel's error and the doubt of the slopes.
    `means`: the mean cut, % vol. `left_out`: batches without a cut on record. `constant`: cuts
        that hardly changed.
    """

    slopes: pd.DataFrame
    estimates: pd.DataFrame
    means: pd.Series
    left_out: tuple[str, ...]
    constant: tuple[str, ...]

    def sentence(self) -> str:
        mean = listed([f"{_plain(name)} {value:.1f} % vol" for name, value in self.means.items()])
        sure = self.slopes[self.slopes["goes_with"]]
        if sure.empty:
            return (
                f"No attribute demonstrably goes with the strength of the cut (mean {mean}); "
                f"{count(len(self.slopes), 'slope')} looked at."
            )
        told = [
            f"{row['attribute']} ({row['slope']:+.2f} points per % vol of {_plain(row['cut'])})"
            for row in sure.to_dict("records")
        ]
        return f"With the strength of the cut goes {listed(told, 4)}; profiles stand at {mean}."

    def table(self) -> pd.DataFrame:
        return self.slopes.copy()

    def rests_on(self) -> str:
        batches = self.estimates["batch_id"].nunique()
        out = f" Without a cut on record: {listed(self.left_out)}." if self.left_out else ""
        same = [_plain(name) for name in self.constant]
        kept = f" {listed(same).capitalize()} hardly changed." if same else ""
        return (
            f"{count(batches, 'batch')}, each counting once; {count(len(self.slopes), 'slope')} "
            "allowed for all of them. What else went along with the cut, such as origin or "
            f"length, is not taken apart here.{kept}{out}"
        )

    def wide(self) -> pd.DataFrame:
        """Estimates at the mean cut, batch x attribute."""
        return self.estimates.pivot(index="batch_id", columns="attribute", values="estimate")


def at_one_cut(profile: Profile, batches: pd.DataFrame, cuts: Sequence[str] = CUTS) -> AtOneCut:
    """The profile with the strength of the cut as covariate between batches.

    `batches`: batch_id and the columns `cuts`, % vol, one row per batch. Raises `NotEnoughData`
    with fewer than `FEW_BATCHES` batches for each cut that changed, or where none did.
    """
    known = batches.set_index("batch_id").reindex(list(profile.batches))
    known = known.reindex(columns=list(cuts)).astype(float)
    named = [name for name in cuts if known[name].notna().any()]
    known = known[named].dropna()
    changed = [name for name in named if known[name].std() > SAME_CUT]
    if not changed or len(known) < FEW_BATCHES * len(changed):
        raise NotEnoughData(
            f"{count(len(known), 'tasted batch')} with a cut on record, of which "
            f"{listed([_plain(name) for name in changed]) or 'none'} changed by more than "
            f"{SAME_CUT} % vol: what goes with the cut cannot be told. {FEW_BATCHES} batches "
            "are needed for each cut that changed."
        )
    off = known[changed] - known[changed].mean()
    fits = [_fit(profile, name, off) for name in profile.attributes]
    slopes = pd.concat([slope for slope, _ in fits], ignore_index=True)
    slopes["p_adjusted"] = false_discovery(slopes["p"])
    slopes["goes_with"] = slopes["p_adjusted"].lt(ALPHA)
    return AtOneCut(
        slopes=slopes[SLOPES],
        estimates=pd.concat([estimate for _, estimate in fits], ignore_index=True),
        means=known[changed].mean(),
        left_out=tuple(name for name in profile.batches if name not in known.index),
        constant=tuple(name for name in named if name not in changed),
    )


def _fit(profile: Profile, attribute: str, off: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Slopes and adjusted estimates of one attribute."""
    error = profile.error_cov(attribute)
    names = [name for name in error.index if name in off.index]
    noise = error.loc[names, names].to_numpy()
    y = profile.wide()[attribute].loc[names].to_numpy()
    x = off.loc[names].to_numpy()
    design = np.column_stack([np.ones(len(names)), x])
    inverse = linalg.pinvh(noise + _between(y, design, noise) * np.eye(len(names)))
    cov = linalg.pinvh(design.T @ inverse @ design)
    pull = (cov @ design.T @ inverse)[1:]  # cuts x batches
    beta, df = pull @ y, len(names) - design.shape[1]
    se, reach = np.sqrt(np.diag(cov)[1:]), float(stats.t.ppf(1 - ALPHA / 2, df))
    slopes = pd.DataFrame(
        {
            "attribute": attribute,
            "cut": list(off.columns),
            "slope": beta,
            "se": se,
            "df": df,
            "low": beta - reach * se,
            "high": beta + reach * se,
            "p": 2 * stats.t.sf(np.abs(beta) / se, df),
        }
    )
    shared = x @ pull @ noise  # the panel's error sits in the slopes too
    variance = np.diag(noise - shared - shared.T + x @ cov[1:, 1:] @ x.T)
    at_mean, spread = y - x @ beta, np.sqrt(variance)
    estimates = pd.DataFrame(
        {
            "batch_id": names,
            "attribute": attribute,
            "estimate": at_mean,
            "se": spread,
            "low": at_mean - reach * spread,
            "high": at_mean + reach * spread,
        }
    )
    return slopes, estimates


def _between(y: Floats, design: Floats, noise: Floats) -> float:
    """Variance between batches that neither cut nor panel explains, by restricted likelihood."""

    def criterion(variance: float) -> float:
        cov = noise + variance * np.eye(len(y))
        inverse = linalg.pinvh(cov)
        information = design.T @ inverse @ design
        rest = y - design @ linalg.solve(information, design.T @ inverse @ y, assume_a="pos")
        sizes = np.linalg.slogdet(cov)[1] + np.linalg.slogdet(information)[1]
        return float(sizes + rest @ inverse @ rest)

    most = 4 * float(np.var(y)) + 1e-9
    found = optimize.minimize_scalar(criterion, bounds=(0.0, most), method="bounded")
    return float(found.x) if found.fun < criterion(0.0) else 0.0


def _plain(name: object) -> str:
    return str(name).removesuffix("_abv_pct").replace("_", "-")
