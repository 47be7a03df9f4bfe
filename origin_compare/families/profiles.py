"""One way in for every function here: a panel profile, or a plain table of batches x attributes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from origin_compare.errors import NotEnoughData

if TYPE_CHECKING:
    from origin_compare.panel import Profile


@dataclass(frozen=True)
class Points:
    """Batches as points: `mean` and `error` (standard errors), both batches x attributes.

    `left_out` names the attributes not used, since the panel cannot tell batches apart on them;
    `incomplete` the batches left out for want of a score.
    """

    mean: pd.DataFrame
    error: pd.DataFrame
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
        mean, error = profile.astype(float), profile.astype(float) * 0.0
        left_out: tuple[str, ...] = ()
    else:
        told = list(profile.told)
        # What all batches share (who sat on the panel) cancels when batches are compared.
        mean, error = profile.wide()[told], profile.wide_se(comparing=True)[told]
        left_out = tuple(name for name in profile.attributes if name not in told)
    complete = mean.notna().all(axis=1) & error.notna().all(axis=1)
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
    return Points(mean[complete], error[complete], left_out, incomplete)
