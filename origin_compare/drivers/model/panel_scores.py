"""What the panel says of a set of batches, and the covariance of its errors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from origin_compare.drivers.model.batch_model import Turned, turn_noise
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.usable_batches import ProfileLike


@dataclass(frozen=True)
class PanelScores:
    """`scores` n x A of n batches on A attributes; `noise` A x n x n, the covariance of the
    panel's errors in them. What all batches share, who sat on the panel, is centred out of the
    noise: only differences are asked about."""

    scores: Array
    noise: Array

    @cached_property
    def turned(self) -> Turned:
        """The noise in its own axes, as the batch model wants it: the costly step, made once.

        Centring emptied one direction; it is given an ordinary size there. The intercept takes
        that direction up, so no answer changes and V can always be inverted.
        """
        n = self.noise.shape[1]
        size = np.einsum("aii->a", self.noise) / (n - 1)
        return turn_noise(self.noise + size[:, None, None] / n)

    @property
    def panel_variance(self) -> Array:
        """The panel's own error variance per attribute (A), mean over the batches' differences."""
        return np.einsum("aii->a", self.noise) / (len(self.scores) - 1)

    def only(self, columns: Sequence[int]) -> PanelScores:
        """The same on some of the attributes, by their places."""
        return PanelScores(self.scores[:, list(columns)], self.noise[list(columns)])


def panel_scores(profile: ProfileLike, ids: pd.Index, attributes: Sequence[str]) -> PanelScores:
    """Scores of the batches `ids` on `attributes` and the covariance of their panel errors.

    A profile without covariances (`error_cov`) counts as having independent errors.
    """
    names = list(attributes)
    scores = profile.wide().loc[ids, names].to_numpy(dtype=float)
    centring = np.eye(len(ids)) - 1.0 / len(ids)
    whole = getattr(profile, "error_cov", None)
    errors = np.empty((len(names), len(ids), len(ids)))
    if whole is not None:
        for k, name in enumerate(names):
            errors[k] = whole(name).loc[ids, ids].to_numpy(dtype=float)
    else:
        variances = profile.wide_se().loc[ids, names].to_numpy(dtype=float) ** 2
        errors = variances.T[:, :, None] * np.eye(len(ids))
    return PanelScores(scores, centring @ errors @ centring)
