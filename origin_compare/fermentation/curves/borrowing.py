"""Curves of few readings, steadied by the distillery's other batches.

Empirical Bayes: the parameters of all batches are one normal cloud whose centre and spread are
learned from the batches themselves by expectation and maximisation (the two-stage linearisation
of Lindstrom and Bates, Biometrics 46 (1990) 673); each curve is then drawn towards it as far as
its own readings leave it open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from origin_compare.fermentation.curves import forms
from origin_compare.fermentation.curves.least_squares import Array, Prior, Solution, solve
from origin_compare.fermentation.curves.padding import Padded

ROUNDS = 12
FEWEST = 6
"""Batches with curves of their own below which there is nothing to borrow from."""
LEAST_SD = np.array([0.1, 0.1, 0.002, 0.2])
"""The cloud is never thought narrower than this (degrees, degrees, per h, h)."""


@dataclass(frozen=True)
class Cloud:
    """Centre (4,) and covariance (4, 4) of Pe, PD, B, M over batches (degrees, hours), and the
    standard deviation of a reading about its curve, degrees; `batches` it was learned from."""

    centre: Array
    covariance: Array
    sd_deg: float
    batches: int


def borrow(padded: Padded, own: Solution, sound: np.ndarray) -> tuple[Solution, Cloud] | None:
    """Every curve again, each steadied by the cloud of all; None with too few `sound` (b,) ones."""
    if int(sound.sum()) < FEWEST:
        return None
    cloud = _first(own, sound)
    model = forms.model(padded.hours)
    begin = np.where(sound[:, None], own.parameters, cloud.centre)
    for _ in range(ROUNDS):
        precision = np.asarray(np.linalg.inv(cloud.covariance), dtype=np.float64)
        prior = Prior(cloud.centre, precision * cloud.sd_deg**2)
        fit = solve(model, begin, padded.values, padded.weights, prior)
        begin = fit.parameters
        cloud = _again(fit, cloud)
    return fit, cloud


def _first(own: Solution, sound: np.ndarray) -> Cloud:
    """Medians and robust spreads of the curves that stand by themselves."""
    held = own.parameters[sound]
    centre = np.median(held, axis=0)
    spread = np.maximum(1.4826 * np.median(np.abs(held - centre), axis=0), LEAST_SD)
    free = np.maximum(own.points[sound] - 4, 1)
    sd = float(np.sqrt(np.median(own.rss[sound] / free)))
    return Cloud(centre, np.diag(spread**2), max(sd, 0.05), int(sound.sum()))


def _again(fit: Solution, cloud: Cloud) -> Cloud:
    known = np.isfinite(fit.inverse).all(axis=(1, 2)) & fit.converged
    theta, errors = fit.parameters[known], fit.inverse[known] * cloud.sd_deg**2
    # a curve far from all others is not allowed to widen the cloud for the rest
    off = theta - np.median(theta, axis=0)
    scale = np.maximum(1.4826 * np.median(np.abs(off), axis=0), LEAST_SD)
    near = (np.abs(off) / scale < 4).all(axis=1)
    centre = theta[near].mean(axis=0)
    off = theta[near] - centre
    covariance = (off.T @ off + errors[near].sum(axis=0)) / near.sum() + np.diag(LEAST_SD**2)
    # each curve's readings less the parameters they really settled
    settled = 4 - np.einsum("bpq,qp->b", errors[near], np.linalg.inv(cloud.covariance))
    free = np.maximum(fit.points[known][near] - np.clip(settled, 0, 4), 0.0)
    sd = float(np.sqrt(fit.rss[known][near].sum() / max(free.sum(), 1.0)))
    return Cloud(centre, covariance, max(sd, 0.05), int(near.sum()))
