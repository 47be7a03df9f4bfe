"""Every vessel at a glance for the shift: where each stands, where it is heading, what to watch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare import measures
from origin_compare.answers import count, listed
from origin_compare.errors import NotEnoughData
from origin_compare.fermentation.departures.causes import SURE_ENOUGH
from origin_compare.fermentation.departures.verdict import Departure, Departures
from origin_compare.fermentation.doubtful_readings import CHANNEL_WORDS
from origin_compare.fermentation.forecast import Forecast, forecast, in_hundred
from origin_compare.fermentation.house.band import outside
from origin_compare.fermentation.house.season_house import Judged
from origin_compare.season.season import Season
from origin_compare.sheets.frames import looked_up

READ = ("sg", "ph", "temp_c")
POOR_CHANCE = 0.5
M3_PER_KG = 0.55
"""Carbon dioxide at 20 °C and 1 atm: 8.314 x 293.15 / (101325 x 0.04401)."""
SEED = 20
_NAN = float("nan")


@dataclass(frozen=True, slots=True)
class Vessel:
    """One batch in its vessel: the last kept reading of each channel, kilograms of CO2 given off
    by the gravity lost so far (NaN without volume or original gravity), `due_at` the moment the
    next reading is due by the house's own window (NaT where there is none). A running batch has a
    `forecast`, or `untold` says why not."""

    batch_id: str
    vessel: str
    status: str
    running: bool
    so_far_h: float
    sg: float
    ph: float
    temp_c: float
    co2_kg: float
    read_at: pd.Timestamp
    due_at: pd.Timestamp
    forecast: Forecast | None
    untold: str

    def gas(self) -> str:
        """The carbon dioxide given off so far, in kilograms and as gas; "" if not known."""
        if not np.isfinite(self.co2_kg):
            return ""
        return (
            f"about {self.co2_kg:,.0f} kg of CO2 given off so far, "
            f"some {M3_PER_KG * self.co2_kg:,.0f} m³ of gas"
        )

    def line(self) -> str:
        """Where it stands and where it is heading, in one line."""
        place = f" in {self.vessel}" if self.vessel else ""
        gas = self.gas()
        and_gas = gas and f"; {gas}"
        here = f"{self.batch_id}{place}, {self.so_far_h:.0f} h"
        ahead = self.forecast
        if ahead is None:
            return f"{here}: no forecast. {self.untold}{gas and f' {gas[0].upper()}{gas[1:]}.'}"
        if not ahead.holds:
            return f"{here}: has left the band, so the house is no guide to its end{and_gas}."
        low, likely, high = ahead.final_sg
        return (
            f"{here}: gravity {_heading(ahead)} {likely:.4f} ({low:.4f} to {high:.4f}); "
            f"pH {ahead.final_ph[1]:.2f} ({ahead.final_ph[0]:.2f} to {ahead.final_ph[2]:.2f}) at "
            f"{ahead.end_h:.0f} h; {ahead.chance_words()} such batches end in style{and_gas}."
        )


def _heading(ahead: Forecast) -> str:
    first, likely, last = ahead.terminal_h
    if likely <= ahead.so_far_h:
        return "is level already, at"
    span = f" ({first:.0f} to {last:.0f} h)" if last > first else ""
    return f"level from about {likely:.0f} h{span} at"


@dataclass(frozen=True, slots=True)
class Watched:
    """One thing for the shift: `kind` is `overdue`, `leaving`, `outside`, `chance`, `set aside`
    or `probe`; `says` what was seen, `do` the next step."""

    batch_id: str
    vessel: str
    kind: str
    says: str
    do: str


@dataclass(frozen=True)
class Watch:
    """`vessels` all batches, running ones first; `items` what to watch, most pressing first.
    Overdue is counted from `latest_at`, the latest reading on record, not from the clock."""

    vessels: tuple[Vessel, ...]
    items: tuple[Watched, ...]
    latest_at: pd.Timestamp
    gap_words: str

    @property
    def running(self) -> tuple[Vessel, ...]:
        return tuple(one for one in self.vessels if one.running)

    def sentence(self) -> str:
        if not self.running and not self.items:
            return "No batch is fermenting and nothing calls for watching."
        on = count(len(self.running), "batch")
        verb = "is" if len(self.running) == 1 else "are"
        seen = count(len(self.items), "thing") if self.items else "nothing"
        return f"{on} {verb} fermenting; {seen} to watch."

    def table(self) -> pd.DataFrame:
        """One row per batch: batch_id, vessel, status, so_far_h, sg, ph, temp_c, co2_kg, next_due,
        end_sg, end_sg_low, end_sg_high, level_from_h, end_ph, chance_in_style."""
        return pd.DataFrame([_row(one) for one in self.vessels])

    def rests_on(self) -> str:
        if pd.isna(self.latest_at):
            return "no reading on record carries a moment, so nothing is said of what is overdue"
        at = f"{self.latest_at:%Y-%m-%d %H:%M} ({self.latest_at.tz})"
        return (
            f"the latest reading on record, {at}; what is overdue is counted from it, not from the "
            f"clock on the wall; {self.gap_words}"
        )


def watch(
    season: Season,
    verdicts: Departures,
    judged: Judged | None = None,
    seed: int = SEED,
) -> Watch:
    """Where every batch stands by its last readings, and what the shift should look at.

    `judged` is the result of `judge_season`; without it running batches get no forecast.
    """
    log = _in_order(season)
    window = season.rules.windows.get("reading_gap_h")
    gap_h = window.high if window is not None and window.high is not None else _NAN
    latest = pd.Timestamp(log["at"].max())
    by_batch = dict(iter(log.groupby(log["batch_id"].astype(str), sort=False)))
    batches = season.batches.to_dict("records")
    vessels, items = [], []
    for batch in batches:
        name = str(batch["batch_id"])
        verdict, mine = verdicts.of(name), by_batch.get(name, log.iloc[:0])
        one = _vessel(season, batch, verdict, mine, judged, gap_h, seed)
        vessels.append(one)
        if verdict.running:
            items += _of_running(one, verdict, mine, judged, latest, gap_h)
    items += _probes(batches, verdicts)
    words = (
        f"{window.says}: {window.words()} ({window.source})"
        if window is not None
        else "the house holds to no hours between readings"
    )
    in_order = sorted(vessels, key=lambda one: not one.running)
    pressing = sorted(items, key=lambda one: _ORDER.index(one.kind))
    return Watch(tuple(in_order), tuple(pressing), _there(latest, season), words)


_ORDER = ("leaving", "overdue", "outside", "chance", "set aside", "probe")


def _in_order(season: Season) -> pd.DataFrame:
    """The readings with `at`, the moment of each, from read_at or hour zero and hours; by hour."""
    log = season.sheets["readings"]
    log = log.loc[log["hours"].notna()]
    zero = season.batches.set_index(season.batches["batch_id"].astype(str))
    begun = zero["hour_zero_at"] if "hour_zero_at" in zero else zero["pitched_at"]
    at = looked_up(log["batch_id"].astype("str"), begun) + pd.to_timedelta(log["hours"], unit="h")
    if "read_at" in log:
        at = log["read_at"].fillna(at)
    return log.assign(at=at).sort_values("hours", kind="stable")


def _vessel(
    season: Season,
    batch: dict,
    verdict: Departure,
    log: pd.DataFrame,
    judged: Judged | None,
    gap_h: float,
    seed: int,
) -> Vessel:
    kept = log.copy()
    for one in verdict.aside:
        if one.row in kept.index:
            kept.loc[one.row, one.channel] = np.nan
    sg, ph, temp = (_last(kept, channel) for channel in READ)
    ahead, untold = None, ""
    if verdict.running:
        ahead, untold = _ahead(season, verdict.batch_id, judged, seed)
    read_at = _there(pd.Timestamp(log["at"].max()), season)
    asked = verdict.running and gap_h > 0
    due = read_at + (pd.Timedelta(hours=gap_h) if asked else pd.Timedelta("NaT"))
    return Vessel(
        verdict.batch_id,
        verdict.vessel,
        verdict.status,
        verdict.running,
        float(log["hours"].max()) if len(log) else 0.0,
        sg,
        ph,
        temp,
        _co2(batch, sg),
        read_at,
        due,
        ahead,
        untold,
    )


def _there(moment: pd.Timestamp, season: Season) -> pd.Timestamp:
    return moment.tz_convert(season.rules.time_zone) if pd.notna(moment) else moment


def _last(log: pd.DataFrame, channel: str) -> float:
    if channel not in log:
        return _NAN
    seen = log[channel].dropna()
    return float(seen.iloc[-1]) if len(seen) else _NAN


def _co2(batch: dict, sg: float) -> float:
    """Kilograms given off by what has fermented so far."""
    wort_l, og_sg = batch.get("wort_l"), batch.get("og_sg")
    if pd.isna(wort_l) or pd.isna(og_sg) or not np.isfinite(sg) or sg > og_sg:
        return _NAN
    try:
        return float(measures.co2_kg(wort_l, og_sg, sg))
    except ValueError:  # a gravity no wash can have is told by the intake, not here
        return _NAN


def _ahead(
    season: Season, name: str, judged: Judged | None, seed: int
) -> tuple[Forecast | None, str]:
    if judged is None:
        return None, "There are too few batches in style for a house band."
    try:
        return forecast(season, name, seed, judged), ""
    except NotEnoughData as few:
        return None, str(few)


def _of_running(
    one: Vessel,
    verdict: Departure,
    log: pd.DataFrame,
    judged: Judged | None,
    latest: pd.Timestamp,
    gap_h: float,
) -> list[Watched]:
    items = []
    if verdict.status == "left":
        check = verdict.causes[0].next_check if verdict.causes else "read again, by hand"
        items.append(Watched(one.batch_id, one.vessel, "leaving", verdict.sentence(), check))
    elif says := _last_outside(one.batch_id, judged):
        items.append(Watched(one.batch_id, one.vessel, "outside", says, "read again, by hand"))
    if says := _overdue(one.batch_id, log, latest, gap_h):
        items.append(Watched(one.batch_id, one.vessel, "overdue", says, "read it now"))
    ahead = one.forecast
    if ahead is not None and ahead.holds and ahead.chance_in_style < POOR_CHANCE:
        says = (
            f"{one.batch_id}: as it runs now, {in_hundred(ahead.chance_in_style)} such batches "
            "end in style."
        )
        items.append(Watched(one.batch_id, one.vessel, "chance", says, "watch pH and cooling"))
    return items + [
        Watched(
            one.batch_id,
            one.vessel,
            "set aside",
            f"{one.batch_id} at {aside.hours:.0f} h, set aside: {aside.why}.",
            "read again, by hand",
        )
        for aside in verdict.aside[:3]
    ]


def _last_outside(name: str, judged: Judged | None) -> str:
    """Whether the newest reading of a batch still held in style lies outside the band."""
    found = None if judged is None else judged.found.get(name)
    if judged is None or found is None:
        return ""
    out = outside(judged.band_of(name), found.log)
    words = []
    for channel, place in zip(READ, range(len(READ)), strict=True):
        hours = found.log.hours[found.log.channel == place]
        last = out.loc[(out["channel"] == channel) & (out["hours"] == hours.max(initial=-1.0))]
        if len(last):
            words.append(CHANNEL_WORDS[channel])
    if not words:
        return ""
    return (
        f"{name}: the newest {listed(words)} reading lies outside the band; one reading alone is "
        "no departure."
    )


def _overdue(name: str, log: pd.DataFrame, latest: pd.Timestamp, gap_h: float) -> str:
    """Which channels were last read longer ago than the house allows, seen from `latest`."""
    if pd.isna(latest) or not gap_h > 0:
        return ""
    waits: list[tuple[str, float]] = []
    for channel in READ:
        seen = log.loc[log[channel].notna(), "at"] if channel in log else log["at"].iloc[:0]
        if len(seen):
            waits.append((CHANNEL_WORDS[channel], (latest - seen.max()).total_seconds() / 3600))
    late = [(word, wait) for word, wait in waits if wait > gap_h]
    if not late:
        return ""
    if len({round(wait, 1) for _, wait in late}) == 1:
        what = "it" if len(late) == len(waits) else listed([word for word, _ in late])
        verb = "was" if len(late) in (1, len(waits)) else "were"
        said = f"{what} {verb} last read {late[0][1]:.0f} h"
    else:
        said = listed([f"{word} was last read {wait:.0f} h" for word, wait in late])
    return f"{name}: {said} before the latest reading on record; the house reads every {gap_h:g} h."


def _probes(batches: Sequence[dict], verdicts: Departures) -> list[Watched]:
    """Instruments doubted in the newest batch of a vessel, so likely still on it."""
    newest = {
        verdicts.of(str(batch["batch_id"])).vessel: str(batch["batch_id"])
        for batch in batches
        if pd.notna(batch.get("vessel"))
    }
    items = []
    for vessel, name in newest.items():
        one = verdicts.of(name)
        if one.status != "left" or not one.questions or one.running:
            continue
        if one.questions[0].share >= SURE_ENOUGH:
            says = f"{vessel}: in its newest batch, {name}, the readings were doubted: {one.named}."
            items.append(Watched(name, vessel, "probe", says, one.causes[0].next_check))
    return items


def _row(one: Vessel) -> dict[str, object]:
    ahead = one.forecast if one.forecast is not None and one.forecast.holds else None
    low, likely, high = ahead.final_sg if ahead else (_NAN,) * 3
    return {
        "batch_id": one.batch_id,
        "vessel": one.vessel,
        "status": one.status,
        "so_far_h": one.so_far_h,
        "sg": one.sg,
        "ph": one.ph,
        "temp_c": one.temp_c,
        "co2_kg": one.co2_kg,
        "next_due": one.due_at,
        "end_sg": likely,
        "end_sg_low": low,
        "end_sg_high": high,
        "level_from_h": ahead.terminal_h[1] if ahead else _NAN,
        "end_ph": ahead.final_ph[1] if ahead else _NAN,
        "chance_in_style": ahead.chance_in_style if ahead else _NAN,
    }
