"""The house band: where the readings of a batch in style lie, hour by hour, all at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.answers import count
from origin_compare.estimates import LEVEL
from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.doubtful_readings import CHANNEL_WORDS
from origin_compare.fermentation.house.course import HouseModel
from origin_compare.fermentation.house.examples import FEWEST_BATCHES, Reference
from origin_compare.fermentation.logs import GRAVITY, MODELLED, Log


@dataclass(frozen=True)
class HouseBand:
    """The band of each channel over hours.

    It is simultaneous: of batches in style, the share `level` keeps *all* its readings of a
    channel inside. `multiplier` by channel is how many standard deviations that takes;
    `coverage` by channel is the share of the reference batches that lie wholly inside a band
    drawn from the others.
    """

    model: HouseModel
    reference: Reference
    multiplier: Mapping[str, float]
    coverage: Mapping[str, float]
    level: float
    last_h: float
    cooling: pd.DataFrame

    def at(self, hours: Array, channel: str, og_sg: float = float("nan")) -> pd.DataFrame:
        """hours, low, mid, high of `channel` (`sg` in SG); `og_sg` is the batch's own."""
        hours = np.asarray(hours, dtype=float)
        if channel == "cooling_pct":
            return _interpolated(self.cooling, hours)
        place = MODELLED.index(channel)
        log = Log(
            "",
            hours,
            hours,
            np.full(len(hours), place),
            np.full(len(hours), -1),
            (og_sg - 1) * 1000,
            False,
        )
        mid = self.model.expected(log)
        wide = self.multiplier[channel] * np.sqrt(np.diag(self.model.spread(log)))
        low, high = mid - wide, mid + wide
        if channel == "sg":
            low, mid, high = (1 + value / 1000 for value in (low, mid, high))
        return pd.DataFrame({"hours": hours, "low": low, "mid": mid, "high": high})

    def sentence(self) -> str:
        covered = ", ".join(
            f"{CHANNEL_WORDS[name]} {100 * share:.0f} %" for name, share in self.coverage.items()
        )
        return (
            f"The band is drawn from {count(len(self.reference.names), 'batch')} in style; each, "
            f"held against the others, stays wholly inside: {covered}."
        )

    def table(self) -> pd.DataFrame:
        """channel, hours (every 2 h), low, mid, high."""
        grid = np.arange(0.0, self.last_h + 1, 2.0)
        parts = [
            self.at(grid, channel).assign(channel=CHANNEL_WORDS[channel])
            for channel in (*self.multiplier, *(["cooling_pct"] if len(self.cooling) else []))
        ]
        return pd.concat(parts, ignore_index=True)[["channel", "hours", "low", "mid", "high"]]

    def rests_on(self) -> str:
        named = "named by the house" if self.reference.given else "proposed, please check"
        out = count(len(self.reference.left_out), "batch")
        return f"{count(len(self.reference.names), 'batch')} in style ({named}), {out} left out"


def of_model(
    model: HouseModel,
    examples: Sequence[Log],
    reference: Reference,
    readings: pd.DataFrame,
    level: float,
) -> HouseBand:
    """The band about a model learned from `examples`; `readings` carry their cooling."""
    furthest = furthest_out(model, examples)
    multiplier, coverage = {}, {}
    for place, name in enumerate(MODELLED):
        mine = furthest[np.isfinite(furthest[:, place]), place]
        if len(mine) < FEWEST_BATCHES:
            continue
        multiplier[name] = _upper(mine, level)
        coverage[name] = float(
            np.mean([one <= _upper(np.delete(mine, at), level) for at, one in enumerate(mine)])
        )
    last = float(np.median([log.hours.max() for log in examples]))
    cooling = _cooling(readings, reference.names)
    return HouseBand(model, reference, multiplier, coverage, level, last, cooling)


def furthest_out(model: HouseModel, examples: Sequence[Log]) -> Array:
    """(b, 3): the largest standardised reading of each batch and channel, the batch left out."""
    out = np.full((len(examples), len(MODELLED)), np.nan)
    for row, log in enumerate(examples):
        held = model.leaving_out(log.batch_id)
        score = np.abs(log.values - held.expected(log)) / np.sqrt(np.diag(held.spread(log)))
        for place in range(len(MODELLED)):
            mine = log.channel == place
            if mine.any():
                out[row, place] = score[mine].max()
    return out


def _upper(values: Array, level: float) -> float:
    """The value the share `level` of future batches stays below: the order statistic
    (n + 1) level where there is one, beyond the largest a normal tail's step."""
    ordered, n = np.sort(values), len(values)
    rank = (n + 1) * level
    if rank <= n:
        return float(np.interp(rank, np.arange(1, n + 1), ordered))
    return float(ordered[-1] + 0.5 * np.std(ordered, ddof=1) * (rank - n))


def _cooling(readings: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Cooling is shut or open: its band is what the examples did within four hours."""
    if "cooling_pct" not in readings:
        return pd.DataFrame(columns=["hours", "low", "mid", "high"])
    seen = readings.loc[
        readings["batch_id"].astype(str).isin(names) & readings["cooling_pct"].notna()
    ]
    rows = []
    for hour in np.arange(0.0, 145.0, 4.0):
        near = seen.loc[(seen["hours"] - hour).abs() <= 4, "cooling_pct"].to_numpy(float)
        if len(near) >= FEWEST_BATCHES:
            rows.append((hour, *np.quantile(near, [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2])))
    return pd.DataFrame(rows, columns=["hours", "low", "mid", "high"])


def _interpolated(frame: pd.DataFrame, hours: Array) -> pd.DataFrame:
    columns = {
        name: np.interp(hours, frame["hours"], frame[name], left=np.nan, right=np.nan)
        if len(frame)
        else np.full(len(hours), np.nan)
        for name in ("low", "mid", "high")
    }
    return pd.DataFrame({"hours": hours, **columns})


def outside(band: HouseBand, log: Log) -> pd.DataFrame:
    """Readings of `log` outside the band: hours, channel (name), value, low, high, how_far."""
    mid, spread = band.model.expected(log), np.sqrt(np.diag(band.model.spread(log)))
    factor = np.array([band.multiplier.get(name, np.inf) for name in MODELLED])[log.channel]
    score = (log.values - mid) / spread
    out = np.abs(score) > factor
    frame = pd.DataFrame(
        {
            "hours": log.hours,
            "channel": np.array(MODELLED)[log.channel],
            "value": log.values,
            "low": mid - factor * spread,
            "high": mid + factor * spread,
            "how_far": score,
        }
    )
    gravity = log.channel == GRAVITY
    for name in ("value", "low", "high"):
        frame.loc[gravity, name] = 1 + frame.loc[gravity, name] / 1000
    return frame.loc[out].reset_index(drop=True)
