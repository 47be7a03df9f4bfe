"""A batch's log as the house model reads it: hours, values and channels in flat arrays."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import listed
from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.curves.padding import thin, to_degrees

GRAVITY, PH, TEMPERATURE = 0, 1, 2
MODELLED = ("sg", "ph", "temp_c")
DENSE = 60
"""More readings of one channel than this come from a probe: medians over `DENSE_H` are read."""
DENSE_H = 2.0


@dataclass(frozen=True)
class Log:
    """`hours`, `values`, `channel` (0 gravity in degrees, 1 pH, 2 °C) and `row` (index in the
    readings sheet, -1 where several were joined), all (n,), sorted by hour; `og_deg` or NaN."""

    batch_id: str
    hours: Array
    values: Array
    channel: NDArray[np.int64]
    row: NDArray[np.int64]
    og_deg: float
    dense: bool

    def __len__(self) -> int:
        return len(self.hours)

    def only(self, keep: NDArray[np.bool_]) -> Log:
        """The same log with some readings left out."""
        return replace(
            self,
            hours=self.hours[keep],
            values=self.values[keep],
            channel=self.channel[keep],
            row=self.row[keep],
        )

    def times(self) -> Array:
        """The different hours at which anything was read."""
        return np.unique(self.hours)


def logs(readings: pd.DataFrame, batches: pd.DataFrame) -> dict[str, Log]:
    """One log per batch of `batches` that has readings, values set aside already emptied."""
    degrees = to_degrees(readings["sg"])
    usable = readings.assign(sg=degrees).loc[readings["hours"].notna()]
    og = og_degrees(batches)
    by_batch = dict(iter(usable.groupby(usable["batch_id"].astype(str), sort=False)))
    return {
        name: _log(name, by_batch[name].sort_values("hours"), og[name])
        for name in batches["batch_id"].astype(str)
        if name in by_batch
    }


def og_degrees(batches: pd.DataFrame) -> dict[str, float]:
    """By batch: its original gravity in degrees, NaN where it is missing."""
    degrees = to_degrees(batches["og_sg"])
    return dict(zip(batches["batch_id"].astype(str), degrees, strict=True))


def _log(name: str, rows: pd.DataFrame, og: float) -> Log:
    parts: list[tuple[Array, Array, int, NDArray[np.int64]]] = []
    dense = False
    for place, column in enumerate(MODELLED):
        seen = rows.loc[rows[column].notna()]
        hours, values = seen["hours"].to_numpy(float), seen[column].to_numpy(float)
        index = np.asarray(seen.index, dtype=np.int64)
        if len(hours) > DENSE:
            hours, values = thin(hours, values, DENSE_H)
            index, dense = np.full(len(hours), -1, np.int64), True
        parts.append((hours, values, place, index))
    hours, values = _joined(part[0] for part in parts), _joined(part[1] for part in parts)
    channel = np.concatenate([np.full(len(part[0]), part[2]) for part in parts]).astype(np.int64)
    index = np.concatenate([part[3] for part in parts]).astype(np.int64)
    order = np.argsort(hours, kind="stable")
    start = og if np.isfinite(og) and og > 10 else _first_gravity(hours, values, channel)
    return Log(name, hours[order], values[order], channel[order], index[order], start, dense)


def _joined(parts: Iterable[Array]) -> Array:
    return np.concatenate(list(parts)).astype(float)


def _first_gravity(hours: Array, values: Array, channel: NDArray[np.int64]) -> float:
    """Gravity at the pitch, when the batch sheet does not give it."""
    early = (channel == GRAVITY) & (hours <= 4)
    return float(values[early].max()) if early.any() else float("nan")


def hour_zero(batches: pd.DataFrame) -> str:
    """What the hours of these batches count from; several things where they differ."""
    if "hour_zero" not in batches:
        return "yeast in"
    return listed(list(dict.fromkeys(batches["hour_zero"].dropna().astype(str)))) or "yeast in"
