"""The fall of pH in its two parts: with the yeast, and later with lactic bacteria.

    pH(t) = p0 - a1 S((t - m1) / w1) - a2 S((t - m2) / w2),   S the logistic

The lactic fall begins where the tangent at its steepest point meets the level before it, m2 - 2 w2
(as the lag of gravity is read). Weak priors from practice (no source) keep apart what eight-hourly
readings alone would blur; a batch without a second fall says so by AICc. Acid may be there some
hours before pH moves, so the hour dates the fall, not the growth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import expit

from origin_compare.answers import count
from origin_compare.fermentation.curves.least_squares import Array, Index, Model, Prior, solve
from origin_compare.fermentation.curves.padding import Padded, pad

NAMES = ("start_ph", "yeast_fall", "yeast_mid_h", "log_w1", "lactic_fall", "lactic_mid_h", "log_w2")
CENTRE = np.array([5.3, 1.0, 30.0, np.log(6.0), 0.8, 72.0, np.log(11.0)])
SPREAD = np.array([0.4, 0.3, 12.0, 0.5, 0.5, 22.0, 0.5])
READING_SD = 0.04
"""What pH readings are worth beforehand (a meter is good to 0.05 at best)."""
FEWEST = 7
WIDEST_H = 12.0


@dataclass(frozen=True)
class AcidCurve:
    """`status`: `ok`, `one fall` (no lactic fall shown), `not_identified` with its `reason`.

    `lactic_from_h` and its standard error: where the lactic fall begins; `after_yeast_ph` the
    level between the falls; `parameters` by name (pH and hours; the widths as logs)."""

    status: str
    reason: str
    parameters: dict[str, float]
    lactic_from_h: float
    lactic_from_se_h: float
    after_yeast_ph: float
    lactic_fall: float
    n_readings: int

    def at(self, hours: ArrayLike) -> Array:
        """pH of the curve at `hours`."""
        theta = np.array([[self.parameters[name] for name in NAMES]])
        return _both(theta, np.asarray(hours, dtype=float)[None, :])[0][0]

    def sentence(self) -> str:
        if self.status == "not_identified":
            return f"When the lactic fall of pH began cannot be told: {self.reason}."
        if self.status == "one fall":
            return "pH fell once, with the yeast; a later lactic fall is not shown."
        return (
            f"pH came to {self.after_yeast_ph:.2f} with the yeast; the lactic fall began at about "
            f"{self.lactic_from_h:.0f} h (give or take {2 * self.lactic_from_se_h:.0f} h)."
        )

    def table(self) -> pd.DataFrame:
        """One row: the columns of `fit_acids` without batch_id."""
        return pd.DataFrame([_row(self)])

    def rests_on(self) -> str:
        return count(self.n_readings, "pH reading")


def fit_acid(hours: ArrayLike, ph: ArrayLike) -> AcidCurve:
    """Two falls through one batch's pH readings; `ValueError` if the lists differ in length."""
    at, values = np.asarray(hours, dtype=float), np.asarray(ph, dtype=float)
    if at.shape != values.shape or at.ndim != 1:
        raise ValueError(
            f"hours has shape {at.shape}, pH {values.shape}: give lists of one length."
        )
    frame = pd.DataFrame({"batch_id": "batch", "hours": at, "ph": values})
    fitted = acid_curves(frame)
    if "batch" not in fitted:
        raise ValueError("No reading has both an hour and a pH: nothing to fit.")
    return fitted["batch"]


def fit_acids(readings: pd.DataFrame) -> pd.DataFrame:
    """One row per batch with pH readings: batch_id, status, reason, start_ph, after_yeast_ph,
    lactic_fall, lactic_from_h, lactic_from_se_h, n_readings."""
    rows = [{"batch_id": name, **_row(one)} for name, one in acid_curves(readings).items()]
    return pd.DataFrame(rows, columns=["batch_id", *_COLUMNS])


def acid_curves(readings: pd.DataFrame) -> dict[str, AcidCurve]:
    """Every batch of `readings` (batch_id, hours, ph) at once."""
    padded = pad(readings, "ph")
    if not padded.names:
        return {}
    start = np.repeat(CENTRE[None, :], len(padded.names), axis=0)
    first = padded.hours[:, 0] < 12
    start[first, 0] = padded.values[first, 0]
    precision = np.diag((READING_SD / SPREAD) ** 2)
    two = solve(
        _model(padded.hours), start, padded.values, padded.weights, Prior(CENTRE, precision)
    )
    one = solve(
        _single(padded.hours),
        start[:, :4],
        padded.values,
        padded.weights,
        Prior(CENTRE[:4], np.diag((READING_SD / (3 * SPREAD[:4])) ** 2)),
    )
    # what the priors settle is not paid for by the readings: parameters count as far as free
    free_two = 7 - np.einsum("bpq,qp->b", np.nan_to_num(two.inverse), precision)
    better = _aicc(two.rss, two.points, free_two) < _aicc(one.rss, one.points, np.full(1, 4.0))
    return {
        name: _curve(
            padded,
            row,
            two.parameters[row],
            two.inverse[row],
            float(two.rss[row]),
            bool(better[row]),
        )
        for row, name in enumerate(padded.names)
    }


def _curve(
    padded: Padded, row: int, theta: Array, inverse: Array, rss: float, two: bool
) -> AcidCurve:
    used = padded.weights[row] > 0
    hours = padded.hours[row][used]
    sd = max(float(np.sqrt(rss / max(len(hours) - 5, 1))), READING_SD / 2)
    width = np.exp(theta[6])
    begins = float(theta[5] - 2 * width)
    slope = np.array([0, 0, 0, 0, 0, 1.0, -2 * width])
    doubt = float(np.sqrt(max(slope @ inverse @ slope, 0.0)) * sd)
    status, reason = "ok", ""
    if len(np.unique(hours)) < FEWEST:
        have = count(len(np.unique(hours)), "pH reading")
        status, reason = "not_identified", f"{have} at different hours, at least {FEWEST} needed"
    elif hours[-1] < begins + 8:
        status, reason = (
            "not_identified",
            f"readings end at {hours[-1]:.0f} h, before it could show",
        )
    elif not two or theta[4] < 0.15:
        status = "one fall"
    elif doubt > WIDEST_H:
        status, reason = "not_identified", "the two falls run into one another"
    told = status == "ok"
    return AcidCurve(
        status,
        reason,
        dict(zip(NAMES, (float(value) for value in theta), strict=True)),
        begins if told else float("nan"),
        doubt if told else float("nan"),
        float(theta[0] - theta[1]),
        float(theta[4]) if told else float("nan"),
        len(hours),
    )


def _aicc(rss: Array, points: np.ndarray, free: Array) -> Array:
    n, k = points.astype(float), free + 1
    with np.errstate(divide="ignore", invalid="ignore"):
        value = n * np.log(np.maximum(rss / n, 1e-6)) + 2 * k + 2 * k * (k + 1) / (n - k - 1)
    return np.where(n > k + 1, value, np.inf)


def _fall(theta: Array, hours: Array, begin: int) -> tuple[Array, list[Array]]:
    size, mid, log_width = (theta[:, begin + place, None] for place in range(3))
    u = (hours - mid) * np.exp(-log_width)
    share = expit(u)
    bend = size * share * (1 - share)
    return size * share, [-share, bend * np.exp(-log_width), bend * u]


def _both(theta: Array, hours: Array) -> tuple[Array, Array]:
    first, slopes = _fall(theta, hours, 1)
    second, more = _fall(theta, hours, 4)
    jacobian = np.stack([np.ones_like(first), *slopes, *more], axis=2)
    return theta[:, 0, None] - first - second, jacobian


def _model(hours: Array) -> Model:
    def at(theta: Array, rows: Index) -> tuple[Array, Array]:
        return _both(theta, hours[rows])

    return at


def _single(hours: Array) -> Model:
    def at(theta: Array, rows: Index) -> tuple[Array, Array]:
        fall, slopes = _fall(theta, hours[rows], 1)
        return theta[:, 0, None] - fall, np.stack([np.ones_like(fall), *slopes], axis=2)

    return at


_COLUMNS = [
    "status",
    "reason",
    "start_ph",
    "after_yeast_ph",
    "lactic_fall",
    "lactic_from_h",
    "lactic_from_se_h",
    "n_readings",
]


def _row(curve: AcidCurve) -> dict[str, object]:
    row: dict[str, object] = {name: getattr(curve, name, None) for name in _COLUMNS}
    row["start_ph"] = curve.parameters["start_ph"]
    return row
