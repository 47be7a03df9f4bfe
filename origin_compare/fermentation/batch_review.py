"""One batch laid out for the eye: each channel with its band, what was set aside, what happened."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.fermentation.curves.acid import AcidCurve, acid_curves
from origin_compare.fermentation.curves.curve import OPEN, Curve, settled
from origin_compare.fermentation.departures.season_departures import departures
from origin_compare.fermentation.departures.verdict import Departure, Departures
from origin_compare.fermentation.doubtful_readings import CHANNEL_WORDS, CHANNELS, without
from origin_compare.fermentation.logs import DENSE, og_degrees
from origin_compare.season.season import Season


@dataclass(frozen=True)
class BatchReview:
    """`channels` by name (`sg`, `ph`, `temp_c`, `cooling_pct`): one row per reading with hours,
    value, low, mid, high (the band there, missing without one), set_aside, why.
    `bands` by name: hours (every hour), low, mid, high. `curve_line`: hours, sg of the fitted
    curve. `events`: hours, what, kind (`pitch`, `cooling`, `end`, `note`, `set
    aside`, `left`).
    `hour_zero`: what the hours of this batch count from.
    """

    batch_id: str
    vessel: str
    channels: Mapping[str, pd.DataFrame]
    bands: Mapping[str, pd.DataFrame]
    curve: Curve | None
    curve_line: pd.DataFrame
    events: pd.DataFrame
    departure: Departure
    in_band_from: str
    hour_zero: str = "yeast in"
    acid: AcidCurve | None = None

    def curves_said(self) -> tuple[str, ...]:
        """What the curves through gravity and pH say, a sentence each."""
        both = (self.curve, self.acid)
        return tuple(f"{one.sentence()} Rests on {one.rests_on()}." for one in both if one)

    def sentence(self) -> str:
        return self.departure.sentence()

    def table(self) -> pd.DataFrame:
        """channel, hours, value, low, mid, high, set_aside, why."""
        parts = [frame.assign(channel=CHANNEL_WORDS[name]) for name, frame in self.channels.items()]
        columns = ["channel", "hours", "value", "low", "mid", "high", "set_aside", "why"]
        return pd.concat(parts, ignore_index=True)[columns] if parts else pd.DataFrame()

    def readings(self) -> pd.DataFrame:
        """One row per hour read: hours, sg, ph, temp_c, cooling_pct (those there are), set_aside
        (which channels) and why.

        Where a probe writes many to the hour each row is one hour, with the median of what was
        read in it; readings set aside are left out of it unless there is nothing else.
        """
        if not self.channels:
            return pd.DataFrame(columns=["hours", "set_aside", "why"])
        by_probe = any(len(frame) > DENSE for frame in self.channels.values())
        columns = {}
        for name, frame in self.channels.items():
            at = np.floor(frame["hours"]) if by_probe else frame["hours"]
            kept = frame["value"].where(~frame["set_aside"])
            columns[name] = kept.groupby(at).median().fillna(frame["value"].groupby(at).median())
        table = pd.DataFrame(columns).rename_axis("hours").reset_index()
        return table.merge(self._set_aside(by_probe), how="left", on="hours").fillna(
            {"set_aside": "", "why": ""}
        )

    def _set_aside(self, by_probe: bool) -> pd.DataFrame:
        """hours, set_aside, why of the hours at which anything was set aside."""
        aside = [
            frame.loc[frame["set_aside"], ["hours", "why"]].assign(set_aside=CHANNEL_WORDS[name])
            for name, frame in self.channels.items()
        ]
        all_of = pd.concat(aside, ignore_index=True)
        if by_probe:
            all_of["hours"] = np.floor(all_of["hours"])
        return all_of.groupby("hours", as_index=False)[["set_aside", "why"]].agg(_told_once)

    def rests_on(self) -> str:
        read = sum(len(frame) for frame in self.channels.values())
        aside = sum(int(frame["set_aside"].sum()) for frame in self.channels.values())
        return f"{count(read, 'value')} read, {aside} set aside; {self.in_band_from}"


def review(season: Season, batch_id: str, verdicts: Departures | None = None) -> BatchReview:
    """Everything the figure of one batch shows. Raises `UnknownName` for no such batch.

    `verdicts` may hand over the result of `departures` for this season.
    """
    batches = season.batches
    mine = batches.loc[batches["batch_id"].astype(str) == str(batch_id)]
    if mine.empty:
        raise UnknownName(f"There is no batch {batch_id}. Choose one of the season's batches.")
    verdicts = verdicts or departures(season)
    verdict = verdicts.of(str(batch_id))
    log = season.sheets["readings"]
    log = log.loc[log["batch_id"].astype(str) == str(batch_id)].sort_values("hours")
    og_sg = 1 + og_degrees(mine)[str(batch_id)] / 1000
    present = [name for name in CHANNELS if name in log and log[name].notna().any()]
    last = float(log["hours"].max()) if len(log) else 0.0
    grid = np.arange(0.0, max(last, 1.0) + 1, 1.0)
    band = verdicts.bands.get(str(batch_id), verdicts.band)
    drawn = [*band.multiplier, "cooling_pct"] if band is not None else []
    bands = {
        name: band.at(grid, name, og_sg) for name in present if band is not None and name in drawn
    }
    channels = {name: _channel(log, name, verdict, bands.get(name)) for name in present}
    clean = log.copy()
    for one in verdict.aside:
        clean.loc[one.row, one.channel] = np.nan
    curve = _curve(clean, season, verdicts) if clean["sg"].notna().any() else None
    acid = acid_curves(clean).get(str(batch_id)) if clean["ph"].notna().any() else None
    return BatchReview(
        str(batch_id),
        verdict.vessel,
        channels,
        bands,
        curve,
        _line(curve, grid),
        _events(mine.iloc[0], log, verdict),
        verdict,
        verdicts.rests_on(),
        str(mine.iloc[0].get("hour_zero", "yeast in")),
        acid,
    )


def _curve(clean: pd.DataFrame, season: Season, verdicts: Departures) -> Curve:
    """The batch's own curve; only one its readings leave open asks the other batches."""
    (own,) = settled(clean).values()
    if own.status not in OPEN:
        return own
    log = season.sheets["readings"]
    others = log.loc[~log["batch_id"].isin(clean["batch_id"])]
    aside = (one for verdict in verdicts for one in verdict.aside)
    held = without(others, (one for one in aside if one.row in others.index))
    return settled(pd.concat([held, clean]))[str(clean["batch_id"].iloc[0])]


def _told_once(words: pd.Series) -> str:
    """Each once, in order; past three the rest is counted."""
    return listed(list(dict.fromkeys(words)), most=3)


def _channel(
    log: pd.DataFrame, name: str, verdict: Departure, band: pd.DataFrame | None
) -> pd.DataFrame:
    seen = log.loc[log[name].notna()]
    values = seen[name].to_numpy(float)
    frame = pd.DataFrame({"hours": seen["hours"].to_numpy(float), "value": values})
    for edge in ("low", "mid", "high"):
        frame[edge] = (
            np.interp(frame["hours"], band["hours"], band[edge]) if band is not None else np.nan
        )
    why = {one.row: one.why for one in verdict.aside if one.channel == name}
    frame["set_aside"] = [row in why for row in seen.index]
    frame["why"] = [why.get(row, "") for row in seen.index]
    return frame


def _line(curve: Curve | None, grid: np.ndarray) -> pd.DataFrame:
    if curve is None or curve.status in OPEN:
        return pd.DataFrame({"hours": [], "sg": []}, dtype=float)
    return pd.DataFrame({"hours": grid, "sg": curve.at(grid)})


def _events(batch: pd.Series, log: pd.DataFrame, verdict: Departure) -> pd.DataFrame:
    zero = batch.get("hour_zero_at", batch.get("pitched_at"))
    rows: list[tuple[float, str, str]] = []
    for name, what, kind in (("pitched_at", "yeast in", "pitch"), ("ended_at", "ended", "end")):
        if pd.notna(batch.get(name)) and pd.notna(zero):
            since = pd.Timestamp(batch[name]) - pd.Timestamp(zero)
            rows.append((since.total_seconds() / 3600, what, kind))
    if "note" in log:
        noted = log.loc[log["note"].notna() & (log["note"].astype(str).str.strip() != "")]
        rows += [
            (float(hour), str(note), "note")
            for hour, note in zip(noted["hours"], noted["note"], strict=True)
        ]
    rows += _cooled(log)
    rows += [(one.hours, one.why, "set aside") for one in verdict.aside]
    if verdict.status == "left":
        rows.append((verdict.likely_h, f"left the band in {verdict.channel}", "left"))
    return (
        pd.DataFrame(rows, columns=["hours", "what", "kind"])
        .sort_values("hours")
        .reset_index(drop=True)
    )


def _cooled(log: pd.DataFrame) -> list[tuple[float, str, str]]:
    """When cooling was first and last seen open."""
    if "cooling_pct" not in log:
        return []
    open_at = log.loc[log["cooling_pct"] > 0, "hours"].dropna()
    if open_at.empty:
        return []
    first, last = float(open_at.iloc[0]), float(open_at.iloc[-1])
    seen = [(first, "cooling first seen open", "cooling")]
    return [*seen, (last, "cooling last seen open", "cooling")] if last > first else seen
