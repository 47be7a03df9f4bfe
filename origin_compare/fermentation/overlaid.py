"""Up to six batches beside one another, by the clock or by how far each has fermented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from origin_compare import measures
from origin_compare.answers import count, listed
from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.curves.padding import thin, to_degrees
from origin_compare.fermentation.departures.verdict import Departure, Departures
from origin_compare.fermentation.doubtful_readings import CHANNELS
from origin_compare.fermentation.logs import DENSE, DENSE_H, hour_zero, og_degrees
from origin_compare.season.season import Season

MOST = 6
HALF_PCT = 50.0
By = Literal["hours", "attenuation"]
_NAN = float("nan")


@dataclass(frozen=True)
class Comparison:
    """`lines`: batch_id, channel, at, value, one row per reading kept; `at` is hours since hour
    zero, or apparent attenuation in % (`by`), and then channel `hours` says how long it took.
    `rows`: what `table` gives; `hour_zero`: what their hours count from.
    """

    batch_ids: tuple[str, ...]
    by: By
    lines: pd.DataFrame
    rows: pd.DataFrame
    unread: tuple[str, ...]
    n_aside: int
    hour_zero: str

    def sentence(self) -> str:
        half = self.rows.dropna(subset=["half_way_h"]).sort_values("half_way_h")
        if len(half) < 2:
            return f"{listed(self.batch_ids)} side by side."
        first, last = half.iloc[0], half.iloc[-1]
        peaks = self.rows.dropna(subset=["peak_temp_c"]).sort_values("peak_temp_c")
        said = (
            f"{first['batch_id']} was half fermented first, at {first['half_way_h']:.0f} h, "
            f"{last['batch_id']} last, at {last['half_way_h']:.0f} h"
        )
        if len(peaks) > 1:
            cold, hot = peaks.iloc[0], peaks.iloc[-1]
            said += (
                f"; {hot['batch_id']} ran hottest ({hot['peak_temp_c']:.1f} °C recorded), "
                f"{cold['batch_id']} coolest ({cold['peak_temp_c']:.1f} °C)"
            )
        return f"{said}."

    def table(self) -> pd.DataFrame:
        """One row per batch: batch_id, vessel, status, og_sg, half_way_h (hour at 50 % apparent
        attenuation, read between readings), peak_temp_c (recorded), last_h, last_sg, last_ph,
        attenuation_pct (apparent, at the last gravity)."""
        return self.rows.copy()

    def rests_on(self) -> str:
        unread = f"; no readings of {listed(self.unread)}" if self.unread else ""
        shown = count(len(self.lines), "value")
        return (
            f"{shown} of {count(len(self.batch_ids), 'batch')}, {self.n_aside} set aside{unread}; "
            "attenuation between readings is drawn straight; probes by the minute are read as "
            f"medians of {DENSE_H:.0f} h for it"
        )


def side_by_side(
    season: Season, batch_ids: Sequence[str], verdicts: Departures, by: By = "hours"
) -> Comparison:
    """Align two to six batches by hours, or by apparent attenuation reached.

    Readings the verdicts set aside are left out. Raises `ValueError` for more than six,
    `UnknownName` for no such batch, `NotEnoughData` where fewer than two have readings.
    """
    names = tuple(dict.fromkeys(str(name) for name in batch_ids))
    if len(names) > MOST:
        raise ValueError(f"{len(names)} batches are too many to compare; choose at most {MOST}.")
    known = season.batches["batch_id"].astype(str)
    strange = [name for name in names if name not in set(known)]
    if strange:
        raise UnknownName(f"There is no batch {strange[0]}. Choose one of the season's batches.")
    log = season.sheets["readings"]
    log = log.loc[log["batch_id"].astype(str).isin(names) & log["hours"].notna()]
    read = set(log["batch_id"].astype(str))
    held = [name for name in names if name in read]
    if len(held) < 2:
        raise NotEnoughData("Choose at least two batches with readings to compare them.")
    og = og_degrees(season.batches)
    parts, rows, n_aside = [], [], 0
    for name in held:
        verdict = verdicts.of(name)
        mine = _kept(log.loc[log["batch_id"].astype(str) == name], verdict)
        n_aside += len(verdict.aside)
        hours, reached = _attenuation(mine, og[name])
        parts.append(_lines(name, mine, hours, reached, by))
        rows.append(_row(verdict, mine, og[name], hours, reached))
    unread = tuple(name for name in names if name not in read)
    lines = pd.concat(parts, ignore_index=True)
    zero = hour_zero(season.batches.loc[known.isin(held)])
    return Comparison(tuple(held), by, lines, pd.DataFrame(rows), unread, n_aside, zero)


def _kept(log: pd.DataFrame, verdict: Departure) -> pd.DataFrame:
    """The log in order, the readings set aside emptied."""
    kept = log.sort_values("hours").copy()
    for one in verdict.aside:
        if one.row in kept.index:
            kept.loc[one.row, one.channel] = np.nan
    return kept


def _attenuation(log: pd.DataFrame, og_deg: float) -> tuple[Array, Array]:
    """Hours and the apparent attenuation reached by then, %, which never falls back."""
    seen = log.loc[log["sg"].notna()]
    hours, degrees = seen["hours"].to_numpy(float), to_degrees(seen["sg"])
    if len(hours) > DENSE:
        hours, degrees = thin(hours, degrees, DENSE_H)
    if not len(hours) or not (np.isfinite(og_deg) and og_deg > 0):
        return np.array([]), np.array([])
    return hours, np.maximum.accumulate(np.maximum(100 * (1 - degrees / og_deg), 0.0))


def _lines(name: str, log: pd.DataFrame, hours: Array, reached: Array, by: By) -> pd.DataFrame:
    parts = []
    for channel in CHANNELS:
        if channel not in log or (by == "attenuation" and channel == "sg"):
            continue
        seen = log.loc[log[channel].notna(), ["hours", channel]]
        at = seen["hours"].to_numpy(float)
        if by == "attenuation":
            # beyond the gravity readings nothing says how far the batch was
            inside = (at >= hours[0]) & (at <= hours[-1]) if len(hours) else np.zeros(len(at), bool)
            seen, at = seen[inside], at[inside]
            at = np.interp(at, hours, reached) if len(hours) else at
        parts.append(pd.DataFrame({"channel": channel, "at": at, "value": seen[channel]}))
    if by == "attenuation":
        parts.insert(0, pd.DataFrame({"channel": "hours", "at": reached, "value": hours}))
    return pd.concat(parts, ignore_index=True).assign(batch_id=name)


def _row(
    verdict: Departure, log: pd.DataFrame, og_deg: float, hours: Array, reached: Array
) -> dict[str, object]:
    gravity, ph = log["sg"].dropna(), log["ph"].dropna() if "ph" in log else pd.Series(dtype=float)
    temp = log["temp_c"].dropna() if "temp_c" in log else pd.Series(dtype=float)
    half = _NAN
    if len(reached) and reached[0] <= HALF_PCT <= reached[-1]:
        half = float(np.interp(HALF_PCT, reached, hours))
    done = _NAN
    if len(gravity) and np.isfinite(og_deg):
        done = 100 * _apparent(1 + og_deg / 1000, float(gravity.iloc[-1]))
    return {
        "batch_id": verdict.batch_id,
        "vessel": verdict.vessel,
        "status": verdict.status,
        "og_sg": 1 + og_deg / 1000,
        "half_way_h": half,
        "peak_temp_c": float(temp.max()) if len(temp) else _NAN,
        "last_h": float(log["hours"].max()),
        "last_sg": float(gravity.iloc[-1]) if len(gravity) else _NAN,
        "last_ph": float(ph.iloc[-1]) if len(ph) else _NAN,
        "attenuation_pct": done,
    }


def _apparent(og_sg: float, sg: float) -> float:
    try:
        return float(measures.apparent_attenuation(og_sg, sg))
    except ValueError:  # a gravity no wash can have: said elsewhere, not here
        return _NAN
