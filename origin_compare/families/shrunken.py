"""Profiles drawn towards the mean as far as the panel is in doubt, with the doubt that remains.

A batch picked because it looks near, or extreme, looks so partly by the panel's error. What is
said of the picked batch stays true when every profile is first drawn towards the mean of all
(Efron, Tweedie's formula and selection bias, JASA 106, 2011, 1602, from memory). Per attribute:

    estimate = batch + panel error,    batch ~ normal(mean, spread squared)

The mean is estimated, and the spread is averaged over what the data bear of it, with every spread
equally likely beforehand (Gelman, Bayesian Analysis 1, 2006, 515, from memory), so that a season
of few batches is not drawn further than it can know.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.families.profiles import Points

Floats = NDArray[np.float64]

_FEWEST = 3
"""Two batches say nothing of the spread of batches: they are left as they are."""
_SPREADS = 40
_WIDEST = 4.0
"""Spreads tried reach from 0 to this many standard deviations of the estimates or their error."""


@dataclass(frozen=True, slots=True)
class Shrunken:
    """`mean`: batches x attributes, score points; `cov`: attributes x batches x batches."""

    mean: pd.DataFrame
    cov: Floats

    def variance(self) -> Floats:
        """Variance of each batch's figure, batches x attributes."""
        return np.diagonal(self.cov, axis1=1, axis2=2).T

    def contrast(self, weights: Floats) -> tuple[Floats, Floats]:
        """Estimate and variance per attribute of a weighted sum of batches."""
        variance = np.einsum("i,aij,j->a", weights, self.cov, weights)
        return weights @ self.mean.to_numpy(), np.clip(variance, 0, None)


def shrunken(used: Points) -> Shrunken:
    """Every batch's profile drawn towards the mean of all; a table without errors stays as it is.

    Errors of different attributes count as independent.
    """
    means, covs = [], []
    for place, name in enumerate(used.mean.columns):
        mean, cov = _drawn(used.mean[name].to_numpy(), used.error_cov[place])
        means.append(mean)
        covs.append(cov)
    frame = pd.DataFrame(np.column_stack(means), used.mean.index, used.mean.columns)
    return Shrunken(frame, np.stack(covs))


def _drawn(seen: Floats, error: Floats) -> tuple[Floats, Floats]:
    """Mean and covariance of the batches' true figures, averaged over the spread."""
    if not error.any() or len(seen) < _FEWEST:
        return seen, error
    noise, axes = np.linalg.eigh(error)
    noise = np.clip(noise, 1e-9 * noise.max(), None)
    turned, ones = axes.T @ seen, axes.sum(axis=0)
    widest = _WIDEST * max(seen.std(ddof=1), float(np.sqrt(noise.mean())))
    spreads = np.linspace(0, widest, _SPREADS)
    fits = [_given(spread**2, turned, ones, noise) for spread in spreads]
    chance = np.exp([fit[0] - max(fit[0] for fit in fits) for fit in fits])
    chance /= chance.sum()
    each = np.stack([fit[1] for fit in fits])
    mean = chance @ each
    cov = sum(weight * fit[2] for weight, fit in zip(chance, fits, strict=True))
    cov = cov + (each - mean).T @ (chance[:, None] * (each - mean))
    return axes @ mean, axes @ cov @ axes.T


def _given(
    variance: float, seen: Floats, ones: Floats, noise: Floats
) -> tuple[float, Floats, Floats]:
    """Restricted log likelihood, mean and covariance at one spread, along the errors' axes.

    Best linear unbiased prediction with an estimated mean (Searle, Casella and McCulloch,
    Variance Components, 1992, ch. 7, from memory).
    """
    precision = 1 / (variance + noise)
    pull = precision * ones
    known = float(pull @ ones)
    left = seen - ones * float(pull @ seen) / known
    likelihood = 0.5 * float(np.log(precision).sum() - np.log(known) - precision @ left**2)
    mean = seen - noise * precision * left
    cov = np.diag(noise - noise**2 * precision) + np.outer(noise * pull, noise * pull) / known
    return likelihood, mean, cov
