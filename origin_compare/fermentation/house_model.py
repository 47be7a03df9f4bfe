"""How batches in style run: mean course and its usual spread, over hours and across channels.

Gravity, pH and temperature of one batch are one draw of a Gaussian process: coefficients on cubic
B-splines are normal with a mean and covariance learned from the reference batches by expectation
and maximisation (functional principal analysis of sparse curves: James, Hastie and Sugar,
Biometrika 87 (2000) 587), the covariance pulled towards a smooth one since batches are few.
Gravity is scaled to the house's usual original gravity before anything is compared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline

from origin_compare.fermentation.least_squares import Array
from origin_compare.fermentation.logs import GRAVITY, MODELLED, Log

KNOTS = (0.0, 8.0, 16.0, 24.0, 32.0, 40.0, 50.0, 64.0, 84.0, 112.0, 144.0)
"""Closer where batches move, wider where they rest; hours past the last are read as the last."""
NOISE_FLOOR = np.array([0.25, 0.02, 0.1]) ** 2
"""No instrument is trusted better than this (degrees, pH, °C)."""
START_SPREAD = np.array([2.0, 0.08, 0.8])
SMOOTH_H = 20.0
WANDER = np.array([0.8, 0.04, 0.4])
"""How far a probe wanders (degrees, pH, °C) and, for the slope of a steep fall, how far hourly
detail departs from splines laid for eight-hourly readings."""
WANDER_H = 8.0
BORROWED = 8.0
"""How many batches' worth the smooth covariance counts for."""


@dataclass(frozen=True)
class HouseModel:
    """`mean` (k,), `covariance` (k, k) of the spline coefficients of all channels one after the
    other; `noise` (3,) variance of a reading; `og_deg` the usual original gravity; `names` of
    the reference batches with their posterior means `scores` (b, k) and covariances (b, k, k).
    """

    mean: Array
    covariance: Array
    noise: Array
    og_deg: float
    names: tuple[str, ...]
    scores: Array
    score_covariances: Array

    def design(self, log: Log) -> Array:
        """(n, k): what multiplies the coefficients to give the log's readings."""
        return design(log.hours, log.channel) * self.scale(log)[:, None]

    def scale(self, log: Log) -> Array:
        """(n,): the batch's original gravity over the house's, for gravity readings; 1 else."""
        share = log.og_deg / self.og_deg if np.isfinite(log.og_deg) else 1.0
        return np.where(log.channel == GRAVITY, share, 1.0)

    def expected(self, log: Log) -> Array:
        """(n,): the mean course at the log's readings."""
        return self.design(log) @ self.mean

    def spread(self, log: Log) -> Array:
        """(n, n): covariance of the log's readings about the mean course, noise included."""
        basis = self.design(log)
        own = np.diag(self.noise[log.channel]) + (_wander(log) if log.dense else 0.0)
        return basis @ self.covariance @ basis.T + own

    def course(self, hours: Array, channel: int) -> Array:
        """The mean of one channel at `hours`."""
        return design(hours, np.full(len(hours), channel)) @ self.mean

    def leaving_out(self, name: str) -> HouseModel:
        """The model as it would stand without one of its reference batches."""
        if name not in self.names or len(self.names) < 3:
            return self
        at, n = self.names.index(name), len(self.names)
        off = self.scores[at] - self.mean
        given = np.outer(off, off) + self.score_covariances[at]
        total = n + BORROWED
        return HouseModel(
            (n * self.mean - self.scores[at]) / (n - 1),
            (total * self.covariance - given) / (total - 1),
            self.noise,
            self.og_deg,
            self.names,
            self.scores,
            self.score_covariances,
        )


def _wander(log: Log) -> Array:
    """(n, n): a probe's own slow error. Its readings come many to the hour but not many times as
    true: what it is off by now it is mostly off by still, some hours on."""
    apart = np.abs(log.hours[:, None] - log.hours[None, :])
    same = log.channel[:, None] == log.channel[None, :]
    return np.where(same, np.exp(-apart / WANDER_H), 0.0) * (WANDER**2)[log.channel][:, None]


def design(hours: Array, channel: np.ndarray) -> Array:
    """(n, k) B-spline design, one block of columns per channel."""
    knots = np.concatenate([[KNOTS[0]] * 3, KNOTS, [KNOTS[-1]] * 3])
    at = np.clip(hours, KNOTS[0], KNOTS[-1])
    block = BSpline.design_matrix(at, knots, 3).toarray()
    width = block.shape[1]
    out = np.zeros((len(hours), width * len(MODELLED)))
    for place in range(len(MODELLED)):
        mine = channel == place
        out[np.ix_(mine, np.arange(place * width, (place + 1) * width))] = block[mine]
    return out


def width() -> int:
    """Coefficients per channel."""
    return len(KNOTS) + 2


def centres() -> Array:
    """The hour each coefficient of a channel speaks for (Greville abscissae)."""
    knots = np.concatenate([[KNOTS[0]] * 3, KNOTS, [KNOTS[-1]] * 3])
    return np.array([knots[place + 1 : place + 4].mean() for place in range(width())])


def learn(logs: Sequence[Log], rounds: int = 15) -> HouseModel:
    """The model of these batches; they must all be in style. Raises `ValueError` below three."""
    if len(logs) < 3:
        raise ValueError(f"{len(logs)} batches are too few to learn a house course from.")
    known = [log.og_deg for log in logs if np.isfinite(log.og_deg)]
    og = float(np.median(known)) if known else 60.0
    bare = HouseModel(
        np.zeros(1), np.zeros((1, 1)), NOISE_FLOOR, og, (), np.zeros((0, 1)), np.zeros((0, 1, 1))
    )
    designs = [bare.design(log) for log in logs]
    mean = _pooled_mean(designs, logs)
    smooth = _smooth_covariance(designs, logs, mean)
    covariance, noise = smooth.copy(), 4 * NOISE_FLOOR
    for _ in range(rounds):
        scores, errors, noise = _expect(designs, logs, mean, covariance, noise)
        mean = scores.mean(axis=0)
        off = scores - mean
        covariance = (off.T @ off + errors.sum(axis=0) + BORROWED * smooth) / (len(logs) + BORROWED)
    names = tuple(log.batch_id for log in logs)
    return HouseModel(mean, covariance, noise, og, names, scores, errors)


def _pooled_mean(designs: list[Array], logs: Sequence[Log]) -> Array:
    """Least squares through all readings, held smooth where few fall (second differences)."""
    stacked = np.concatenate(designs)
    values = np.concatenate([log.values for log in logs])
    rough = np.diff(np.eye(width()), 2, axis=0)
    penalty = np.kron(np.eye(len(MODELLED)), rough.T @ rough)
    ridge = 1e-2 * penalty + 1e-8 * np.eye(len(penalty))
    return np.linalg.solve(stacked.T @ stacked + ridge, stacked.T @ values)


def _smooth_covariance(designs: list[Array], logs: Sequence[Log], mean: Array) -> Array:
    """A covariance with the spread seen at each hour and a usual smoothness, channels apart."""
    hours = np.concatenate([log.hours for log in logs])
    channel = np.concatenate([log.channel for log in logs])
    off = np.concatenate(
        [log.values - basis @ mean for log, basis in zip(logs, designs, strict=True)]
    )
    at = centres()
    alike = np.exp(-((at[:, None] - at[None, :]) ** 2) / (2 * SMOOTH_H**2))
    out = np.zeros((len(mean), len(mean)))
    for place in range(len(MODELLED)):
        mine = channel == place
        near = np.exp(-((at[:, None] - hours[mine][None, :]) ** 2) / (2 * 8.0**2))
        prior = START_SPREAD[place] ** 2
        seen = (near @ off[mine] ** 2 + prior) / (near.sum(axis=1) + 1.0)
        spread = np.sqrt(np.maximum(seen, NOISE_FLOOR[place]))
        block = slice(place * width(), (place + 1) * width())
        out[block, block] = alike * np.outer(spread, spread)
    return out + 1e-9 * np.eye(len(mean))


def _expect(
    designs: list[Array], logs: Sequence[Log], mean: Array, covariance: Array, noise: Array
) -> tuple[Array, Array, Array]:
    scores, errors = [], []
    left, counted = np.zeros(len(MODELLED)), np.zeros(len(MODELLED))
    for basis, log in zip(designs, logs, strict=True):
        score, error = posterior(basis, log.values, noise[log.channel], mean, covariance)
        scores.append(score)
        errors.append(error)
        square = (log.values - basis @ score) ** 2 + np.einsum("nk,kl,nl->n", basis, error, basis)
        left += np.bincount(log.channel, square, len(MODELLED))
        counted += np.bincount(log.channel, minlength=len(MODELLED))
    variance = (left + NOISE_FLOOR) / (counted + 1.0)
    return np.stack(scores), np.stack(errors), np.maximum(variance, NOISE_FLOOR)


def posterior(
    basis: Array, values: Array, noise: Array, mean: Array, covariance: Array
) -> tuple[Array, Array]:
    """Mean (k,) and covariance (k, k) of the coefficients given readings (n,)."""
    turned = covariance @ basis.T
    spread = basis @ turned + np.diag(noise)
    gain = np.linalg.solve(spread, turned.T).T
    error = covariance - gain @ turned.T
    return mean + gain @ (values - basis @ mean), (error + error.T) / 2
