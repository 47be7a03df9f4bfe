"""The curve through a batch's gravity readings, and what can be read off it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from origin_compare.answers import count
from origin_compare.fermentation.curves import forms
from origin_compare.fermentation.curves.borrowing import Cloud, borrow
from origin_compare.fermentation.curves.least_squares import Array, Solution, solve
from origin_compare.fermentation.curves.padding import Padded, from_degrees, pad, to_degrees
from origin_compare.sheets.gravity_unit import GravityUnit, gravity_unit, in_sg

Status = Literal["ok", "boundary", "not_converged", "not_identified"]
Form = Literal["four", "five", "evidence"]

FEWEST = 5
"""Readings at different hours below which four parameters leave nothing to judge the fit by."""
OPEN = ("not_identified", "not_converged")
READING_SD_DEG = 0.3
"""A reading's own doubt, degrees: even a curve through every point is not known better."""
LEAST_FALL_DEG = 3.0
WIDEST = {"Pe": 4.0, "M": 6.0}
WIDEST_RATE = 0.5


_PARAMETERS = {
    "Pe": "end Pe",
    "PD": "fall PD",
    "B": "rate B, per h",
    "M": "midpoint M, h",
    "s": "asymmetry s",
}
_READ_OFF = {
    "lag_h": "lag, h",
    "max_rate_deg_h": "steepest fall, degrees an hour",
    "max_rate_at_h": "hour of the steepest fall",
    "hour_90_pct": "hour of 90 % of the fall",
    "level_h": "hour gravity is level (within a degree of its end)",
}


@dataclass(frozen=True)
class Curve:
    """One batch's fall of gravity: P(t) = Pe + PD / (1 + exp(-B (t - M)))^s, s = 1 with four.

    `parameters` and `standard_errors`: Pe and PD in the unit of the readings given (`unit`),
    B per hour and **negative when gravity falls**, M in hours. `status` is `ok`, `boundary`
    (the end or the midpoint lies beyond the readings), `not_converged`, or `not_identified`
    (these readings leave a parameter open); `reason` says why in words.
    `lag_h`: the hour where the tangent at the steepest point meets the start; `level_h`: from when
    gravity is within a degree of its end. `borrowed_from`: how many batches steadied this curve,
    0 when it stands by its own readings. `errors`: standard errors of `forms.LANDMARKS`.
    """

    parameters: Mapping[str, float]
    standard_errors: Mapping[str, float]
    status: Status
    reason: str
    unit: GravityUnit
    form: str
    lag_h: float
    lag_se_h: float
    max_rate_deg_h: float
    max_rate_at_h: float
    hour_90_pct: float
    terminal_sg: float
    terminal_se_sg: float
    sd_deg: float
    n_readings: int
    last_h: float
    borrowed_from: int
    theta: Array = field(repr=False, compare=False)
    level_h: float = float("nan")
    errors: Mapping[str, float] = field(default_factory=dict)

    def figures(self) -> pd.DataFrame:
        """what, value, se: parameters and what is read off the curve, for people. Gravities in
        SG, hours, degrees an hour; se missing where the readings give none."""
        rows = [
            (says, self.parameters[name], self.standard_errors[name])
            for name, says in _PARAMETERS.items()
            if name in self.parameters
        ]
        rows += [
            (says, float(getattr(self, name)), self.errors.get(name, float("nan")))
            for name, says in _READ_OFF.items()
        ]
        return pd.DataFrame(rows, columns=["what", "value", "se"])

    def at(self, hours: ArrayLike) -> Array:
        """The curve at `hours`, in the unit of the readings."""
        hours = np.asarray(hours, dtype=float)
        return from_degrees(forms.gravity(self.theta[None, :], hours)[0], self.unit)

    def sentence(self) -> str:
        if self.status in OPEN:
            return f"No curve can be drawn through these readings: {self.reason}."
        helped = f"steadied by {count(self.borrowed_from, 'batch')}"
        said = "; ".join(one for one in (self.reason, helped if self.borrowed_from else "") if one)
        doubt = f" ({said})" if said else ""
        return (
            f"Gravity began to fall at {self.lag_h:.0f} h, fell fastest at "
            f"{self.max_rate_at_h:.0f} h ({self.max_rate_deg_h:.1f} degrees an hour) and heads "
            f"for {self.terminal_sg:.4f}{doubt}."
        )

    def table(self) -> pd.DataFrame:
        """One row: the columns of `fit_curves` without `batch_id`."""
        return pd.DataFrame([_row(self)])

    def rests_on(self) -> str:
        borrowed = (
            f", steadied by {count(self.borrowed_from, 'batch')}" if self.borrowed_from else ""
        )
        return (
            f"{count(self.n_readings, 'gravity reading')} up to {self.last_h:.0f} h, "
            f"{self.form} parameters, readings scatter {self.sd_deg:.2f} degrees about the curve"
            + borrowed
        )


def fit_curve(hours: ArrayLike, sg: ArrayLike, form: Form = "four") -> Curve:
    """Fit one batch: `hours` since yeast in and gravity (SG, SG x 1000 or degrees), equal length.

    `form`: `four`, `five`, or `evidence` (five only where AICc asks for it). Raises
    `ValueError` when the two differ in length or hold no reading. Form: see `forms`.
    """
    unit = gravity_unit(sg)
    at, values = np.asarray(hours, dtype=float), to_degrees(sg, unit)
    if at.shape != values.shape or at.ndim != 1:
        raise ValueError(
            f"hours has shape {at.shape}, gravity {values.shape}: give two lists of one length."
        )
    if not (np.isfinite(at) & np.isfinite(values)).any():
        raise ValueError("No reading has both an hour and a gravity: nothing to fit.")
    frame = pd.DataFrame({"batch_id": "batch", "hours": at, "sg": values})
    return curves(pad(frame, "sg"), unit, form)["batch"]


def fit_curves(
    readings: pd.DataFrame, form: Form = "four", borrowing: bool = False
) -> pd.DataFrame:
    """Fit every batch of `readings` (batch_id, hours, sg) at once; one row per batch.

    `sg` as SG, SG x 1000 or degrees, the whole column in one of them.

    `borrowing`: steady curves of few readings by the other batches (four parameters; see
    `borrowing`), which shrinks what is odd about a batch and so is for description, not for
    finding faults.

    Columns: batch_id, status, reason, form, end_sg, fall_sg, rate_b_h, midpoint_h, asymmetry,
    their `_se`, lag_h, lag_se_h, max_rate_deg_h, max_rate_at_h, hour_90_pct, level_h,
    terminal_sg, terminal_se_sg, sd_deg, n_readings, last_h, borrowed_from.
    Batches without gravity readings are left out.
    """
    fitted = fit_all(readings.assign(sg=in_sg(readings["sg"])), form, borrowing)
    rows = [{"batch_id": name, **_row(curve)} for name, curve in fitted.items()]
    return pd.DataFrame(rows, columns=["batch_id", *_COLUMNS])


def fit_all(
    readings: pd.DataFrame, form: Form = "four", borrowing: bool = False
) -> dict[str, Curve]:
    """The `Curve` of every batch of `readings` (batch_id, hours, sg in SG)."""
    degrees = readings.assign(sg=to_degrees(readings["sg"]))
    return curves(pad(degrees, "sg"), "SG", form, borrowing)


def settled(readings: pd.DataFrame) -> dict[str, Curve]:
    """The curve of every batch as the house would read it: four or five parameters by evidence,
    and one that its own readings leave open steadied by the other batches, which it says
    (`borrowed_from`)."""
    own = fit_all(readings, "evidence")
    left_open = [name for name, one in own.items() if one.status in OPEN]
    if not left_open:
        return own
    steadied = fit_all(readings, borrowing=True)
    return own | {name: steadied[name] for name in left_open if steadied[name].status == "ok"}


def curves(
    padded: Padded, unit: GravityUnit, form: Form = "four", borrowing: bool = False
) -> dict[str, Curve]:
    """Fit padded degrees; `unit` is the one the curves speak."""
    if not padded.names:
        return {}
    four = fit_padded(padded)
    fitted = {name: _curve(padded, four, row, unit) for row, name in enumerate(padded.names)}
    if borrowing:
        sound = np.array([fitted[name].status == "ok" for name in padded.names])
        steadied = borrow(padded, four, sound)
        if steadied is not None:
            fit, cloud = steadied
            return {
                name: _curve(padded, fit, row, unit, cloud) for row, name in enumerate(padded.names)
            }
    if form == "four":
        return fitted
    begin = np.column_stack([four.parameters, np.zeros(len(padded.names))])
    five = solve(forms.model(padded.hours), begin, padded.values, padded.weights)
    wants = _aicc(five) < _aicc(four) if form == "evidence" else np.ones(len(begin), bool)
    for row, name in enumerate(padded.names):
        if wants[row]:
            asymmetric = _curve(padded, five, row, unit)
            if form == "five" or asymmetric.status == "ok":
                fitted[name] = asymmetric
    return fitted


def fit_padded(padded: Padded) -> Solution:
    """Four parameters per batch, from the common start of `forms.start`."""
    begin = forms.start(padded.hours, padded.values, padded.weights)
    return solve(forms.model(padded.hours), begin, padded.values, padded.weights)


def _aicc(fit: Solution) -> Array:
    """Akaike's criterion with the correction for few readings (Hurvich and Tsai, 1989)."""
    n, k = fit.points, fit.parameters.shape[1] + 1
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.maximum(fit.rss / n, 1e-9)
        value = n * np.log(spread) + 2 * k + 2 * k * (k + 1) / (n - k - 1)
    return np.where(n > k + 1, value, np.inf)


def _curve(
    padded: Padded, fit: Solution, row: int, unit: GravityUnit, cloud: Cloud | None = None
) -> Curve:
    used = padded.weights[row] > 0
    hours, values = padded.hours[row][used], padded.values[row][used]
    theta, inverse = fit.parameters[row], fit.inverse[row]
    free = max(len(hours) - len(theta), 0)
    sd = float(np.sqrt(fit.rss[row] / free)) if free else float("nan")
    # an exact fit has no scatter; a parameter's doubt then stays what the readings bear
    covariance = inverse * (sd**2 if free else np.nan)
    if cloud is not None:
        covariance = inverse * cloud.sd_deg**2
    errors = np.sqrt(np.diag(covariance))
    converged = bool(fit.converged[row])
    status, reason = (
        _verdict(hours, values, theta, inverse, sd, converged)
        if cloud is None
        else _steadied(theta, errors, converged)
    )
    marks = forms.landmarks(theta[None, :])[0]
    mark_errors = forms.landmark_errors(theta[None, :], covariance[None, :, :])[0]
    if status in OPEN:
        marks, mark_errors = np.full(6, np.nan), np.full(6, np.nan)
    return Curve(
        _named(theta, unit, level=True),
        _named(np.where(np.isfinite(errors), errors, np.nan), unit, level=False, at=theta),
        status,
        reason,
        unit,
        "four" if len(theta) == 4 else "five",
        float(marks[0]),
        float(mark_errors[0]),
        float(marks[1]),
        float(marks[2]),
        float(marks[3]),
        1 + float(marks[4]) / 1000,
        float(mark_errors[4]) / 1000,
        sd,
        len(hours),
        float(hours[-1]),
        cloud.batches if cloud is not None else 0,
        theta,
        float(marks[5]),
        dict(zip(forms.LANDMARKS, map(float, mark_errors), strict=True)),
    )


def _verdict(
    hours: Array, values: Array, theta: Array, inverse: Array, sd: float, converged: bool
) -> tuple[Status, str]:
    """Whether these readings bear this curve, in words."""
    needed, different = max(FEWEST, len(theta) + 1), len(np.unique(hours))
    if different < needed:
        have = count(different, "reading")
        return "not_identified", f"{have} at different hours, at least {needed} are needed"
    if np.ptp(values) < LEAST_FALL_DEG:
        return "not_identified", f"gravity moved by only {np.ptp(values):.1f} degrees"
    if not np.isfinite(inverse).all():
        return "not_identified", "different curves go through these readings equally well"
    doubt = np.sqrt(np.diag(inverse)) * max(sd, READING_SD_DEG)
    if doubt[2] > WIDEST_RATE * abs(theta[2]) or doubt[3] > WIDEST["M"]:
        return "not_identified", "too few readings on the steep part to say how fast it fell"
    if not converged:
        return "not_converged", "the search for the curve did not settle"
    return _edge(hours, theta, float(doubt[0]))


def _steadied(theta: Array, errors: Array, converged: bool) -> tuple[Status, str]:
    """The verdict on a curve the other batches helped to draw."""
    if not converged:
        return "not_converged", "the search for the curve did not settle"
    if errors[2] > WIDEST_RATE * abs(theta[2]) or errors[3] > WIDEST["M"]:
        return "not_identified", "even with the other batches these readings leave the curve open"
    return "ok", ""


def _edge(hours: Array, theta: Array, end_doubt: float) -> tuple[Status, str]:
    """Whether the curve's midpoint and end lie within what was read."""
    if not hours[0] - 1 <= theta[3] <= hours[-1]:
        return "boundary", "the midpoint lies outside the readings"
    left = forms.gravity(theta[None, :], hours[-1:])[0, 0] - theta[0]
    if end_doubt > WIDEST["Pe"] or left > 0.15 * abs(theta[1]):
        return "boundary", "the readings end before the fall does, so the end is a guess"
    return "ok", ""


def _named(
    theta: Array, unit: GravityUnit, level: bool, at: Array | None = None
) -> dict[str, float]:
    """Parameters (or their errors) by name, the gravities in `unit`; s is fitted as its log."""
    names = forms.FOUR if len(theta) == 4 else forms.FIVE
    scale = 1e-3 if unit == "SG" else 1.0
    named = dict(zip(names, (float(value) for value in theta), strict=True))
    named["PD"] *= scale
    named["Pe"] = float(from_degrees(theta[0], unit)) if level else named["Pe"] * scale
    if "s" in named:
        asymmetry = float(np.exp((theta if at is None else at)[4]))
        named["s"] = asymmetry if level else named["s"] * asymmetry
    return named


_COLUMNS = [
    "status",
    "reason",
    "form",
    "end_sg",
    "fall_sg",
    "rate_b_h",
    "midpoint_h",
    "asymmetry",
    "end_se_sg",
    "fall_se_sg",
    "rate_b_se_h",
    "midpoint_se_h",
    "asymmetry_se",
    "lag_h",
    "lag_se_h",
    "max_rate_deg_h",
    "max_rate_at_h",
    "hour_90_pct",
    "level_h",
    "terminal_sg",
    "terminal_se_sg",
    "sd_deg",
    "n_readings",
    "last_h",
    "borrowed_from",
]


def _row(curve: Curve) -> dict[str, object]:
    values, errors = curve.parameters, curve.standard_errors
    scale = 1.0 if curve.unit == "SG" else 1e-3
    end = float(from_degrees(curve.theta[0], "SG"))
    row: dict[str, object] = {name: getattr(curve, name, None) for name in _COLUMNS}
    row |= {"end_sg": end, "fall_sg": values["PD"] * scale, "rate_b_h": values["B"]}
    row |= {"midpoint_h": values["M"], "asymmetry": values.get("s", 1.0)}
    row |= {"end_se_sg": errors["Pe"] * scale, "fall_se_sg": errors["PD"] * scale}
    row |= {"rate_b_se_h": errors["B"], "midpoint_se_h": errors["M"]}
    row |= {"asymmetry_se": errors.get("s", float("nan"))}
    return row
