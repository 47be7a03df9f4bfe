"""What happens in the vessel: gravity, pH and heat, with what goes wrong, then read every 8 h.

Gravity follows the four-parameter logistic that fits malt fermentations; temperature follows
from gravity by a heat balance; pH falls with the yeast and again, later, with the lactic flora.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from .chain import Batch
from .world import TIME_ZONE, Fault, Noise

STEP_H = 0.05
WARMING_PER_DEGREE = 0.265
"""°C for each degree of gravity (0.001) fermented, before losses [own arithmetic]."""
COOLING_C_H = 1.3
"""What the jacket takes out with the valve fully open, °C/h."""
LOSS_H = 260.0
"""Time constant of heat lost to the tun room, h."""
SHIFT_HOURS = (6, 14, 22)
STUCK_ABOVE_LIMIT = 0.008


@dataclass(frozen=True)
class Makings:
    """What a batch is like before anything goes wrong."""

    og_sg: float
    fg_sg: float
    limit_sg: float
    mid_h: float
    rate_per_h: float
    pitch_temp_c: float
    room_c: float
    cooling_from_h: float
    length_h: float
    ph_start: float
    ph_yeast: float
    late_depth: float
    late_mid_h: float


@dataclass(frozen=True)
class Course:
    """One batch's true course on a grid of `STEP_H` hours; no reading error in it."""

    batch: Batch
    drawn: Makings
    """As it would have been."""
    makings: Makings
    """As it was, its fault included."""
    fault: Fault | None
    fault_from_h: float | None
    hours: np.ndarray
    sg: np.ndarray
    ph: np.ndarray
    temp_c: np.ndarray
    shown_temp_c: np.ndarray
    """What the probe shows; differs from `temp_c` only where the probe drifts."""
    cooling_pct: np.ndarray

    @property
    def length_h(self) -> float:
        return float(self.hours[-1])

    @property
    def running(self) -> bool:
        return self.fault is not None and self.fault.kind == "still_fermenting"

    @property
    def ended_at(self) -> pd.Timestamp:
        return self.batch.pitched_at + pd.Timedelta(minutes=round(self.length_h * 60))

    @property
    def final_ph(self) -> float:
        return float(self.ph[-1])

    @property
    def peak_temp_c(self) -> float:
        return float(self.temp_c.max())

    def at(self, values: np.ndarray, hours: np.ndarray) -> np.ndarray:
        return np.interp(hours, self.hours, values)


def run_batches(
    rng: np.random.Generator, batches: Sequence[Batch], faults: Sequence[Fault]
) -> list[Course]:
    by_batch = {fault.batch_id: fault for fault in faults}
    return [run(batch, _draw(rng, batch), by_batch.get(batch.batch_id)) for batch in batches]


def _draw(rng: np.random.Generator, batch: Batch) -> Makings:
    limit = float(np.clip(rng.normal(0.9990, 0.0007), 0.9975, 1.0003))
    return Makings(
        og_sg=float(np.clip(rng.normal(1.065, 0.0009), 1.0632, 1.0668)),
        fg_sg=limit + abs(rng.normal(0.0008, 0.0003)),
        limit_sg=limit,
        mid_h=rng.normal(26.5, 1.1),
        rate_per_h=rng.normal(0.19, 0.008),
        pitch_temp_c=rng.normal(21.0, 0.35),
        room_c=rng.normal(_tun_room_c(batch), 1.0),
        cooling_from_h=rng.uniform(16.0, 18.0),
        length_h=batch.planned_h + rng.normal(0.0, 1.0),
        ph_start=rng.normal(5.30, 0.02),
        ph_yeast=rng.normal(1.08, 0.02),
        late_depth=rng.normal(0.90, 0.02),
        late_mid_h=rng.normal(92.0, 2.5),
    )


def run(batch: Batch, makings: Makings, fault: Fault | None) -> Course:
    """The batch's course, with its fault; without one it is what would have been."""
    kind = fault.kind if fault else ""
    made = _weakened(makings, kind)
    hours = np.arange(0.0, made.length_h + STEP_H / 2, STEP_H)
    fermented, from_h = _gravity(hours, made, fault)
    sg = made.og_sg - (made.og_sg - made.fg_sg) * fermented
    since = 0.0 if from_h is None else from_h
    cooling_to = since if kind == "hot" else np.inf
    temp, valve = _heat(hours, sg, made, batch.set_temp_c, cooling_to)
    drift = 0.14 * np.clip(hours - since, 0.0, None) if kind == "probe_drift" else 0.0
    return Course(
        batch=batch,
        drawn=makings,
        makings=made,
        fault=fault,
        fault_from_h=from_h,
        hours=hours,
        sg=sg,
        ph=_ph(hours, made, since if kind == "early_lactic" else None),
        temp_c=temp,
        shown_temp_c=temp + drift,
        cooling_pct=valve,
    )


def _weakened(makings: Makings, kind: str) -> Makings:
    """What the fault does to the batch as a whole."""
    if kind == "old_yeast":
        return replace(
            makings,
            mid_h=makings.mid_h + 11.0,
            rate_per_h=makings.rate_per_h * 0.66,
            fg_sg=makings.fg_sg + 0.0035,
        )
    if kind == "early_lactic":
        return replace(makings, rate_per_h=makings.rate_per_h * 0.93, fg_sg=makings.fg_sg + 0.0020)
    if kind == "hot":
        return replace(makings, fg_sg=makings.fg_sg + 0.0025)
    if kind == "still_fermenting":
        return replace(makings, length_h=60.0)
    return makings


def _gravity(
    hours: np.ndarray, made: Makings, fault: Fault | None
) -> tuple[np.ndarray, float | None]:
    """Share of the fall in gravity that is done, and the hour the fault sets in."""
    from_h = fault.from_h if fault else None
    if fault and fault.kind == "stuck":
        return _stick(hours, made)
    if fault and fault.kind == "hot" and from_h is not None:
        # warmth hurries the yeast: hours after the failure count half as much again
        hours = hours + 0.5 * np.clip(hours - from_h, 0.0, None)
    return _logistic(hours, made.mid_h, made.rate_per_h), from_h


def _stick(hours: np.ndarray, made: Makings) -> tuple[np.ndarray, float]:
    """The yeast gives up a little short of the place where it stands still in the end."""
    fall = made.og_sg - made.fg_sg
    share = (made.og_sg - made.limit_sg - STUCK_ABOVE_LIMIT) / fall
    gives_up = share - 0.03
    from_h = float(made.mid_h + np.log(gives_up / (1 - gives_up)) / made.rate_per_h)
    creep = share - 0.03 * np.exp(-np.clip(hours - from_h, 0.0, None) / 4.0)
    usual = _logistic(hours, made.mid_h, made.rate_per_h)
    return np.where(hours < from_h, usual, creep), from_h


def _ph(hours: np.ndarray, made: Makings, early_from_h: float | None) -> np.ndarray:
    """The yeast's own acid, then the late lactic fall; an early one comes on top."""
    late = _logistic(hours, made.late_mid_h, 1 / 16.0)
    ph = made.ph_start - made.late_depth * late
    ph = ph - made.ph_yeast * _logistic(hours, made.mid_h - 6.0, made.rate_per_h)
    if early_from_h is None:
        return ph
    return ph - 0.55 * _logistic(hours, early_from_h + 8.0, 0.35) * (1 - late)


PLAIN_TO_SEE = {"sg": 0.002, "temp_c": 1.0, "ph": 0.15}
"""A departure counts as seen once it is this large, about four times a reading's error."""


def shows_from_h(course: Course) -> dict[str, float]:
    """For each channel the first hour at which the fault has moved it plainly; only those moved."""
    usual = run(course.batch, course.drawn, None)
    found = {}
    for channel, shown, wanted in (
        ("sg", course.sg, usual.sg),
        ("temp_c", course.shown_temp_c, usual.temp_c),
        ("ph", course.ph, usual.ph),
    ):
        length = min(len(shown), len(wanted))
        apart = np.abs(shown[:length] - wanted[:length]) > PLAIN_TO_SEE[channel]
        if apart.any():
            found[channel] = round(float(course.hours[np.argmax(apart)]), 2)
    return found


def _tun_room_c(batch: Batch) -> float:
    day = batch.pitched_at.day_of_year
    return 13.0 - 3.0 * float(np.cos(2 * np.pi * (day - 20) / 365.25))


def _logistic(hours: np.ndarray, mid: float, rate: float) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-rate * (hours - mid)))


def _heat(
    hours: np.ndarray, sg: np.ndarray, made: Makings, set_temp: float, cooling_to: float
) -> tuple[np.ndarray, np.ndarray]:
    """Temperature and valve: warmed by fermenting, cooled by the room and the jacket."""
    falling = -np.gradient(sg, hours) * 1000
    warming = WARMING_PER_DEGREE * falling * STEP_H
    trickle = np.where(falling > 0.2, 6.0, 0.0)
    jacket_on = (hours >= made.cooling_from_h) & (hours < cooling_to)
    temps, valves, temp = [made.pitch_temp_c], [0.0], made.pitch_temp_c
    for heat, least, on in zip(warming[1:], trickle[1:], jacket_on[1:], strict=True):
        asked = min(max(25.0 * (temp - (set_temp - 2.2)), least), 100.0)
        valve = asked if on else 0.0
        lost = (temp - made.room_c) / LOSS_H + COOLING_C_H * valve / 100
        temp += heat - lost * STEP_H
        temps.append(temp)
        valves.append(valve)
    return np.array(temps), np.array(valves)


def reading_hours(rng: np.random.Generator, course: Course) -> np.ndarray:
    """Just after yeast-in, at each shift by the site's clock, and at the end."""
    start = course.batch.pitched_at
    local = start.tz_convert(TIME_ZONE)
    days = pd.date_range(local.normalize().tz_localize(None), periods=9, freq="D")
    shifts = pd.DatetimeIndex(
        [day + pd.Timedelta(hours=hour) for day in days for hour in SHIFT_HOURS]
    )
    late = pd.to_timedelta(rng.integers(-12, 13, len(shifts)), unit="min")
    moments = (shifts + late).tz_localize(TIME_ZONE).tz_convert("UTC")
    hours = np.asarray((moments - start) / pd.Timedelta(hours=1))
    hours = hours[(hours > 0.75) & (hours < course.length_h - 0.5)]
    ends = [] if course.running else [course.length_h]
    return np.concatenate([[0.25], hours, _night_of_the_clocks(course), ends])


def _night_of_the_clocks(course: Course) -> np.ndarray:
    """In the first autumn the hour that comes twice was read twice: 01:20, and 01:05 after it."""
    change = pd.Timestamp("2024-10-27 01:00", tz="UTC")
    twice = [change - pd.Timedelta(minutes=40), change + pd.Timedelta(minutes=5)]
    hours = np.array(
        [(moment - course.batch.pitched_at) / pd.Timedelta(hours=1) for moment in twice]
    )
    return hours[(hours > 0) & (hours < course.length_h)]


def hand_readings(
    rng: np.random.Generator, courses: Sequence[Course], noise: Noise
) -> tuple[pd.DataFrame, dict[str, dict[str, Any]]]:
    """Every batch's readings with reading error, and by batch the wrong reading planted."""
    frames, wrong = [], {}
    for course in courses:
        frame = _read(rng, course, np.sort(reading_hours(rng, course)), noise)
        if course.fault and course.fault.kind == "wrong_reading":
            wrong[course.batch.batch_id] = _swap_digits(frame)
        frames.append(frame)
    return pd.concat(frames, ignore_index=True), wrong


def _read(
    rng: np.random.Generator, course: Course, hours: np.ndarray, noise: Noise
) -> pd.DataFrame:
    moments = course.batch.pitched_at + pd.to_timedelta(hours, unit="h")
    moments = moments.round("min")
    hours = np.asarray((moments - course.batch.pitched_at) / pd.Timedelta(hours=1))
    size = len(hours)
    return pd.DataFrame(
        {
            "batch_id": course.batch.batch_id,
            "read_at": moments,
            "hours": hours,
            "sg": (course.at(course.sg, hours) + rng.normal(0, noise.sg, size)).round(4),
            "ph": (course.at(course.ph, hours) + rng.normal(0, noise.ph, size)).round(2),
            "temp_c": (
                course.at(course.shown_temp_c, hours) + rng.normal(0, noise.temp_c, size)
            ).round(1),
            "cooling_pct": course.at(course.cooling_pct, hours).round(0),
            "instrument": "hand",
        }
    )


def _swap_digits(frame: pd.DataFrame) -> dict[str, Any]:
    """Turn the second and third figures of one gravity round, as in 1.064 for 1.046."""
    sg, hours = frame["sg"].to_numpy(), frame["hours"].to_numpy()
    tens, units = np.divmod(np.round((sg - 1) * 10000).astype(int) // 10, 10)
    swapped = (sg + 0.009 * (units - tens)).round(4)
    jump = np.abs(swapped - sg)
    likely = (hours > 18) & (hours < 45) & (jump < 0.028)
    at = int(np.argmax(np.where(likely, jump, -1.0)))
    frame["sg"] = np.where(np.arange(len(frame)) == at, swapped, sg)
    return {
        "hours": round(float(hours[at]), 4),
        "true_sg": float(sg[at]),
        "written_sg": float(swapped[at]),
    }


def minute_log(rng: np.random.Generator, course: Course) -> pd.DataFrame:
    """One row a minute from the vessel's own probes, with their finer but drifting error."""
    minutes = np.arange(0, int(course.length_h * 60) + 1)
    hours = minutes / 60.0
    size = len(minutes)
    foam = np.convolve(rng.normal(0, 0.0006, size), np.ones(9) / 9, mode="same")
    return pd.DataFrame(
        {
            "batch_id": course.batch.batch_id,
            "read_at": course.batch.pitched_at + pd.to_timedelta(minutes, unit="min"),
            "hours": hours,
            "sg": (course.at(course.sg, hours) + foam).round(4),
            "temp_c": (course.at(course.temp_c, hours) + rng.normal(0, 0.05, size)).round(2),
            "cooling_pct": course.at(course.cooling_pct, hours).round(0),
            "instrument": "probe",
        }
    )
