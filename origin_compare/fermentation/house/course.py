"""How batches in style run: mean course and its usual spread, over hours and across channels.

Gravity, pH and temperature of one batch are one draw of a Gaussian process: coefficients on cubic
B-splines are normal with a mean and covariance learned from the reference batches by expectation
and maximisation (functional principal analysis of sparse curves: James, Hastie and Sugar,
Biometrika 87 (2000) 587), the covariance pulled towards a smooth one since batches are few.
Gravity is scaled to the house's usual original gravity before anything is compared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import BSpline
from scipy.optimize import nnls

from origin_compare.fermentation.curves.least_squares import Array
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
NEAR_H = 4.0
"""Batches in style run some hours early or late, so how steep one is then is known to this."""
BORROWED = 8.0
"""How many batches' worth the smooth covariance counts for."""


@dataclass(frozen=True)
class Noise:
    """Variance of a reading about its batch's own course: `level` (3,) on a flat course, and what
    a steep one adds, `clock_h2` (3,) hours squared times the squared slope. The second takes in
    minutes the clock is off and what splines laid for eight-hourly readings miss of a bend.
    `slope` (3, hours) is the root mean square slope of the usual course within `NEAR_H`, hourly.
    """

    level: Array
    clock_h2: Array
    slope: Array

    def at(self, hours: Array, channel: np.ndarray) -> Array:
        """(n,): the variance of readings at `hours` of `channel`."""
        return self.level[channel] + self.clock_h2[channel] * self.steep(hours, channel) ** 2

    def steep(self, hours: Array, channel: np.ndarray) -> Array:
        """(n,): how fast the usual course moves about then, per hour."""
        nearest = np.clip(np.rint(hours), 0, self.slope.shape[1] - 1).astype(int)
        return self.slope[channel, nearest]


@dataclass(frozen=True)
class HouseModel:
    """`mean` (k,), `covariance` (k, k) of the spline coefficients of all channels one after the
    other; `noise` what a reading is worth; `og_deg` the usual original gravity; `names` of
    the reference batches with their posterior means `scores` (b, k) and covariances (b, k, k).
    """

    mean: Array
    covariance: Array
    noise: Noise
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
        own = np.diag(self.doubt(log)) + (_wander(log) if log.dense else 0.0)
        return basis @ self.covariance @ basis.T + own

    def doubt(self, log: Log) -> Array:
        """(n,): variance of the log's readings about its own course."""
        return self.noise.at(log.hours, log.channel)

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
    designs = [_scaled(log, og) for log in logs]
    mean = _pooled_mean(designs, logs)
    noise = Noise(4 * NOISE_FLOOR, np.zeros(len(MODELLED)), _slopes(mean))
    covariance = _smooth_covariance(designs, logs, mean, noise)
    for _ in range(rounds):
        scores, errors, noise = _expect(designs, logs, mean, covariance, noise)
        mean = scores.mean(axis=0)
        off = scores - mean
        smooth = _smooth_covariance(designs, logs, mean, noise)
        covariance = (off.T @ off + errors.sum(axis=0) + BORROWED * smooth) / (len(logs) + BORROWED)
    names = tuple(log.batch_id for log in logs)
    return HouseModel(mean, covariance, noise, og, names, scores, errors)


def _scaled(log: Log, og: float) -> Array:
    share = log.og_deg / og if np.isfinite(log.og_deg) else 1.0
    return design(log.hours, log.channel) * np.where(log.channel == GRAVITY, share, 1.0)[:, None]


def _slopes(mean: Array) -> Array:
    """(3, hours): see `Noise`."""
    grid = np.arange(KNOTS[0], KNOTS[-1] + 1)
    out = []
    for place in range(len(MODELLED)):
        course = design(grid, np.full(len(grid), place)) @ mean
        square = np.gradient(course) ** 2
        near = np.abs(grid[:, None] - grid[None, :]) <= NEAR_H
        out.append(np.sqrt(near @ square / near.sum(axis=1)))
    return np.stack(out)


def _pooled_mean(designs: list[Array], logs: Sequence[Log]) -> Array:
    """Least squares through all readings, held smooth where few fall (second differences)."""
    stacked = np.concatenate(designs)
    values = np.concatenate([log.values for log in logs])
    rough = np.diff(np.eye(width()), 2, axis=0)
    penalty = np.kron(np.eye(len(MODELLED)), rough.T @ rough)
    ridge = 1e-2 * penalty + 1e-8 * np.eye(len(penalty))
    return np.linalg.solve(stacked.T @ stacked + ridge, stacked.T @ values)


def _smooth_covariance(
    designs: list[Array], logs: Sequence[Log], mean: Array, noise: Noise
) -> Array:
    """A covariance with the spread seen at each hour and a usual smoothness, channels apart."""
    hours = np.concatenate([log.hours for log in logs])
    channel = np.concatenate([log.channel for log in logs])
    off = np.concatenate(
        [log.values - basis @ mean for log, basis in zip(logs, designs, strict=True)]
    )
    # what the readings themselves are off by is no difference between batches
    square = off**2 - noise.at(hours, channel)
    at = centres()
    alike = np.exp(-((at[:, None] - at[None, :]) ** 2) / (2 * SMOOTH_H**2))
    out = np.zeros((len(mean), len(mean)))
    for place in range(len(MODELLED)):
        mine = channel == place
        near = np.exp(-((at[:, None] - hours[mine][None, :]) ** 2) / (2 * 8.0**2))
        prior = START_SPREAD[place] ** 2
        seen = (near @ square[mine] + prior) / (near.sum(axis=1) + 1.0)
        spread = np.sqrt(np.maximum(seen, NOISE_FLOOR[place]))
        block = slice(place * width(), (place + 1) * width())
        out[block, block] = alike * np.outer(spread, spread)
    return out + 1e-9 * np.eye(len(mean))


def _expect(
    designs: list[Array], logs: Sequence[Log], mean: Array, covariance: Array, noise: Noise
) -> tuple[Array, Array, Noise]:
    scores, errors, squares = [], [], []
    for basis, log in zip(designs, logs, strict=True):
        doubt = noise.at(log.hours, log.channel)
        score, error = posterior(basis, log.values, doubt, mean, covariance)
        scores.append(score)
        errors.append(error)
        left = log.values - basis @ score
        squares.append(left**2 + np.einsum("nk,kl,nl->n", basis, error, basis))
    hours = np.concatenate([log.hours for log in logs])
    channel = np.concatenate([log.channel for log in logs])
    noise = replace(noise, slope=_slopes(mean))
    return (
        np.stack(scores),
        np.stack(errors),
        _noise(noise, hours, channel, np.concatenate(squares)),
    )


def _noise(noise: Noise, hours: Array, channel: np.ndarray, squares: Array) -> Noise:
    """Both parts of the noise from squared residuals, channel by channel: one step of weighted
    least squares (the square of a normal residual has a variance of twice its own squared)."""
    level, clock = noise.level.copy(), noise.clock_h2.copy()
    weight, steep = 1 / noise.at(hours, channel), noise.steep(hours, channel) ** 2
    for place in np.unique(channel):
        mine = channel == place
        parts = np.column_stack([weight[mine], steep[mine] * weight[mine]])
        aim = squares[mine] * weight[mine]
        level[place] = max(float(nnls(parts, aim)[0][0]), NOISE_FLOOR[place])
        rest = aim - parts[:, 0] * level[place]
        size = max(float(parts[:, 1] @ parts[:, 1]), 1e-12)
        clock[place] = max(float(parts[:, 1] @ rest) / size, 0.0)
    return Noise(level, clock, noise.slope)


def posterior(
    basis: Array, values: Array, noise: Array, mean: Array, covariance: Array
) -> tuple[Array, Array]:
    """Mean (k,) and covariance (k, k) of the coefficients given readings (n,)."""
    turned = covariance @ basis.T
    spread = basis @ turned + np.diag(noise)
    gain = np.linalg.solve(spread, turned.T).T
    error = covariance - gain @ turned.T
    return mean + gain @ (values - basis @ mean), (error + error.T) / 2
