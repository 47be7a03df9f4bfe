"""Readings of many batches as padded arrays, and gravity in degrees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.sheets.gravity_unit import GravityUnit

MANY = 300
"""Above this many readings a batch is thinned: a probe's minutes say no more than half hours."""


@dataclass(frozen=True)
class Padded:
    """`hours`, `values` (b, n) sorted by hour and padded; `weights` (b, n) is 0 on padding."""

    names: list[str]
    hours: Array
    values: Array
    weights: Array


def to_degrees(gravity: ArrayLike, unit: GravityUnit = "SG") -> Array:
    """Gravity as degrees: 1.065 SG is 65, of the same shape."""
    values = np.asarray(gravity, dtype=float)
    if unit == "SG":
        return (values - 1.0) * 1000.0
    return values - 1000.0 if unit == "SG x 1000" else values


def from_degrees(degrees: ArrayLike, unit: GravityUnit) -> Array:
    """Degrees back into the unit they came in."""
    values = np.asarray(degrees, dtype=float)
    if unit == "SG":
        return 1.0 + values / 1000.0
    return values + 1000.0 if unit == "SG x 1000" else values


def thin(hours: Array, values: Array, every_h: float = 0.5) -> tuple[Array, Array]:
    """Medians over bins of `every_h` hours: spikes of a probe go, its course stays."""
    bins = np.floor(hours / every_h)
    frame = pd.DataFrame({"bin": bins, "hours": hours, "value": values})
    middle = frame.groupby("bin").agg(hours=("hours", "mean"), value=("value", "median"))
    return middle["hours"].to_numpy(), middle["value"].to_numpy()


def pad(readings: pd.DataFrame, column: str) -> Padded:
    """Pad `readings` (batch_id, hours, `column`) into one row per batch, missing left out."""
    kept = readings.loc[readings[column].notna() & readings["hours"].notna()]
    kept = kept.sort_values(["batch_id", "hours"], kind="stable")
    names, hours, values = [], [], []
    for name, rows in kept.groupby("batch_id", sort=False):
        at, value = rows["hours"].to_numpy(float), rows[column].to_numpy(float)
        if len(at) > MANY:
            at, value = thin(at, value)
        names.append(str(name))
        hours.append(at)
        values.append(value)
    width = max((len(at) for at in hours), default=1)
    shape = (len(names), width)
    out = Padded(names, np.zeros(shape), np.zeros(shape), np.zeros(shape))
    for row, (at, value) in enumerate(zip(hours, values, strict=True)):
        out.hours[row, : len(at)], out.values[row, : len(at)] = at, value
        out.hours[row, len(at) :], out.values[row, len(at) :] = at[-1], value[-1]
        out.weights[row, : len(at)] = 1.0
    return out
