"""One way in for every function here: a panel profile, or a plain table of batches x attributes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.errors import NotEnoughData

if TYPE_CHECKING:
    from origin_compare.panel import Profile


@dataclass(frozen=True)
class Points:
    """Batches as points: `mean` and `error` (standard errors), both batches x attributes.

    `error_cov`: attributes x batches x batches, covariance of the panel's errors, what all batches
    share taken out. `left_out` names the attributes not used, since the panel cannot tell batches
    apart on them; `incomplete` the batches left out for want of a score.
    """

    mean: pd.DataFrame
    error: pd.DataFrame
    error_cov: NDArray[np.float64]
    left_out: tuple[str, ...]
    incomplete: tuple[str, ...]

    def spread(self) -> np.ndarray:
        """Standard deviation of each attribute over batches; attributes that never vary give 1."""
        deviation = self.mean.std(ddof=1).to_numpy()
        return np.where(deviation > 0, deviation, 1.0)


def points(profile: Profile | pd.DataFrame, fewest: int = 4) -> Points:
    """The batches as points with their errors.

    A `Profile` gives its attributes told apart and their standard errors; a plain frame gives
    all its columns and no error. Raises `NotEnoughData` below `fewest` complete batches.
    """
    if isinstance(profile, pd.DataFrame):
        mean, covs = profile.astype(float), {}
        left_out: tuple[str, ...] = ()
    else:
        told = list(profile.told)
        # What all batches share (who sat on the panel) cancels when batches are compared.
        mean, covs = profile.wide()[told], _error_covs(profile)
        left_out = tuple(name for name in profile.attributes if name not in told)
    complete = mean.notna().all(axis=1)
    if mean.shape[1] == 0:
        raise NotEnoughData(
            "The panel cannot tell these batches apart on any attribute, so there is nothing to "
            "group or match them by. More assessors or replicates would be needed."
        )
    if int(complete.sum()) < fewest:
        raise NotEnoughData(
            f"Only {int(complete.sum())} batches have a score on every attribute; "
            f"{fewest} are needed before likeness can be judged. Score more batches."
        )
    incomplete = tuple(str(batch) for batch in mean.index[~complete])
    return _with_errors(mean[complete], covs, left_out, incomplete)


def _error_covs(profile: Profile) -> dict[str, pd.DataFrame]:
    return {name: profile.error_cov(name, comparing=True) for name in profile.told}


def _with_errors(
    mean: pd.DataFrame,
    covs: Mapping[str, pd.DataFrame],
    left_out: tuple[str, ...],
    incomplete: tuple[str, ...],
) -> Points:
    rows = len(mean)
    stacked = np.zeros((mean.shape[1], rows, rows))
    for place, name in enumerate(mean.columns):
        if name in covs:
            stacked[place] = covs[name].loc[mean.index, mean.index].to_numpy()
    error = np.sqrt(np.clip(np.diagonal(stacked, axis1=1, axis2=2).T, 0, None))
    return Points(
        mean, pd.DataFrame(error, mean.index, mean.columns), stacked, left_out, incomplete
    )
