"""The shapes a fall of gravity is described by, with derivatives and landmarks.

Four parameters (ASBC Methods of Analysis, Yeast-14, form from memory; the parameters as in
Speers, Rogers and Smith, J. Inst. Brew. 109 (2003) 229):

    P(t) = Pe + PD / (1 + exp(-B (t - M)))

`Pe` is the end, `PD` the fall (positive), `M` the midpoint, and **B is negative when gravity
falls**: P runs from Pe + PD at early hours to Pe at late ones. With five parameters the
denominator is raised to s > 0, which sets the steepest point off the middle; s = 1 is the
four-parameter form. Here gravity is in degrees (thousandths of specific gravity), time in hours.
"""

from __future__ import annotations

import numpy as np

from origin_compare.fermentation.curves.least_squares import Array, Index, Model

FOUR = ("Pe", "PD", "B", "M")
FIVE = (*FOUR, "s")
LANDMARKS = ("lag_h", "max_rate_deg_h", "max_rate_at_h", "hour_90_pct", "terminal_deg", "level_h")
LEVEL_DEG = 1.0
"""Gravity within this of its end counts as level: what a hydrometer can be read to."""


def gravity(theta: Array, hours: Array) -> Array:
    """Degrees at `hours` (n,) or (b, n) for parameters (b, 4) or (b, 5); s is fitted as its log."""
    end, fall, rate, middle = (theta[:, place, None] for place in range(4))
    power = np.exp(theta[:, 4, None]) if theta.shape[1] == 5 else 1.0
    with np.errstate(over="ignore"):
        return end + fall * np.exp(-power * np.logaddexp(0.0, -rate * (hours - middle)))


def model(hours: Array) -> Model:
    """The model of `least_squares.solve` for readings at `hours` (b, n), by the width of theta."""

    def at(theta: Array, rows: Index) -> tuple[Array, Array]:
        away = hours[rows] - theta[:, 3, None]
        fall, rate = theta[:, 1, None], theta[:, 2, None]
        if theta.shape[1] == 4:
            return _four(theta, away, fall, rate)
        power = np.exp(np.clip(theta[:, 4, None], -20, 20))
        exponent = -rate * away
        spread = np.logaddexp(0.0, exponent)
        share = np.exp(-power * spread)
        still = 1.0 - np.exp(-spread)  # exp(u) / (1 + exp(u))
        slope = power * fall * share * still
        columns = [np.ones_like(away), share, slope * away, -slope * rate]
        columns.append(-fall * share * spread * power)
        return theta[:, 0, None] + fall * share, np.stack(columns, axis=2)

    return at


def _four(theta: Array, away: Array, fall: Array, rate: Array) -> tuple[Array, Array]:
    """The same for s = 1, which needs one exponential only."""
    share = 1.0 / (1.0 + np.exp(np.clip(-rate * away, -500.0, 500.0)))
    slope = fall * share * (1.0 - share)
    jacobian = np.empty((*away.shape, 4))
    jacobian[..., 0], jacobian[..., 1] = 1.0, share
    np.multiply(slope, away, out=jacobian[..., 2])
    np.multiply(slope, -rate, out=jacobian[..., 3])
    return theta[:, 0, None] + fall * share, jacobian


def landmarks(theta: Array) -> Array:
    """(b, 6): `LANDMARKS`: lag, steepest rate (degrees/h, positive), its hour, hour of 90 % of the
    fall, end, and the hour from which gravity is within `LEVEL_DEG` of its end.

    Lag is where the tangent at the steepest point meets the start Pe + PD.
    """
    end, fall, rate, middle = (theta[:, place] for place in range(4))
    power = np.exp(theta[:, 4]) if theta.shape[1] == 5 else np.ones(len(theta))
    steep = np.abs(rate)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        at_steepest = middle - np.log(power) / steep
        level = (1.0 + 1.0 / power) ** -power
        slope = steep * (1.0 + 1.0 / power) ** (-power - 1.0)
        lag = at_steepest - (1.0 - level) / slope
        # 10 % of the fall is left where (1 + exp(u))^-s = 0.1
        nearly_done = middle + np.log(0.1 ** (-1.0 / power) - 1.0) / steep
        share = np.minimum(LEVEL_DEG / np.abs(fall), 0.5)
        level_from = middle + np.log(share ** (-1.0 / power) - 1.0) / steep
    return np.stack([lag, np.abs(fall) * slope, at_steepest, nearly_done, end, level_from], axis=1)


def landmark_errors(theta: Array, covariance: Array) -> Array:
    """Standard errors (b, 6) of the landmarks by the delta method."""
    slopes = []
    for place in range(theta.shape[1]):
        width = 1e-5 * np.maximum(np.abs(theta[:, place]), 1e-3)
        up, down = theta.copy(), theta.copy()
        up[:, place] += width
        down[:, place] -= width
        slopes.append((landmarks(up) - landmarks(down)) / (2 * width)[:, None])
    gradient = np.stack(slopes, axis=2)
    variance = np.einsum("blp,bpq,blq->bl", gradient, covariance, gradient)
    return np.sqrt(np.maximum(variance, 0.0))


def start(hours: Array, degrees: Array, weights: Array) -> Array:
    """First guess (b, 4): ends from the extremes, midpoint and steepness from the crossings
    of three quarters, half and one quarter of the fall. Rows must be sorted by hour."""
    used = weights > 0
    low = np.where(used, degrees, np.inf).min(axis=1)
    high = np.where(used, degrees, -np.inf).max(axis=1)
    fall = np.maximum(high - low, 0.5)
    quarter, half, rest = (
        _crossing(hours, degrees, used, low + share * fall) for share in (0.75, 0.5, 0.25)
    )
    rate = -2.0 * np.log(3.0) / np.maximum(rest - quarter, 1.0)
    return np.stack([low, fall, rate, half], axis=1)


def _crossing(hours: Array, degrees: Array, used: np.ndarray, level: Array) -> Array:
    """The hour, between two readings, at which each row first falls below its level."""
    below = used & (degrees <= level[:, None])
    after = np.where(below.any(axis=1), below.argmax(axis=1), used.sum(axis=1) - 1)
    after = np.maximum(after, 0)
    before = np.maximum(after - 1, 0)
    rows = np.arange(len(hours))
    drop = degrees[rows, before] - degrees[rows, after]
    share = np.where(drop > 0, (degrees[rows, before] - level) / np.where(drop > 0, drop, 1), 1.0)
    span = hours[rows, after] - hours[rows, before]
    return hours[rows, before] + np.clip(share, 0, 1) * span
