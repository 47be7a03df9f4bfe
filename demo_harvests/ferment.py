"""What happens in the vessel: gravity, pH and heat, with what goes wrong, then read every 8 h.

Gravity follows the four-parameter logistic that fits malt fermentations; temperature follows
from gravity by a heat balance; pH falls with the yeast and again, later, with the lactic flora.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from .chain import Batch
from .world import TIME_ZONE, Fault, Noise

STEP_H = 0.05
WARMING_PER_DEGREE = 0.27
"""°C for each degree of gravity (0.001) fermented, before losses [own arithmetic]."""
COOLING_C_H = 1.3
"""What the jacket takes out with the valve fully open, °C/h."""
LOSS_H = 260.0
"""Time constant of heat lost to the tun room, h."""
SHIFT_HOURS = (6, 14, 22)
STUCK_ABOVE_LIMIT = 0.008


@dataclass(frozen=True)
class Course:
    """One batch's true course on a grid of `STEP_H` hours; no reading error in it."""

    batch: Batch
    fault: Fault | None
    og_sg: float
    fg_sg: float
    limit_sg: float
    mid_h: float
    rate_per_h: float
    cooling_from_h: float
    length_h: float
    fault_from_h: float | None
    hours: np.ndarray
    sg: np.ndarray
    ph: np.ndarray
    temp_c: np.ndarray
    shown_temp_c: np.ndarray
    """What the probe shows; differs from `temp_c` only where the probe drifts."""
    cooling_pct: np.ndarray

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
    return [_run(rng, batch, by_batch.get(batch.batch_id)) for batch in batches]


def _run(rng: np.random.Generator, batch: Batch, fault: Fault | None) -> Course:
    kind = fault.kind if fault else ""
    og = float(np.clip(rng.normal(1.065, 0.0009), 1.0632, 1.0668))
    limit = float(np.clip(rng.normal(0.9990, 0.0007), 0.9975, 1.0003))
    fg = limit + abs(rng.normal(0.0008, 0.0003))
    mid, rate = rng.normal(26.5, 1.1), rng.normal(0.19, 0.008)
    pitch_temp, ambient = rng.normal(21.0, 0.35), rng.normal(_tun_room_c(batch), 1.0)
    cooling_from = rng.uniform(16.0, 18.0)
    length = batch.planned_h + rng.normal(0.0, 1.0)
    ph_start, ph_yeast = rng.normal(5.30, 0.03), rng.normal(1.08, 0.03)
    late_depth, late_mid = rng.normal(0.88, 0.04), rng.normal(92.0, 4.0)
    if kind == "old_yeast":
        mid, rate, fg = mid + 11.0, rate * 0.66, fg + 0.0035
    if kind == "early_lactic":
        rate, fg = rate * 0.93, fg + 0.0020
    if kind == "hot":
        fg = fg + 0.0025
    if kind == "still_fermenting":
        length = 60.0
    hours = np.arange(0.0, length + STEP_H / 2, STEP_H)
    from_h = fault.from_h if fault else None
    fermented = _fermented(hours, mid, rate)
    if kind == "stuck":
        share = (og - (limit + STUCK_ABOVE_LIMIT)) / (og - fg)
        fermented, from_h = _stick(hours, fermented, mid, rate, share)
    if kind == "hot" and from_h is not None:
        # warmth hurries the yeast: hours after the failure count half as much again
        fermented = _fermented(hours + 0.5 * np.clip(hours - from_h, 0.0, None), mid, rate)
    sg = og - (og - fg) * fermented
    cooling_to = from_h if kind == "hot" and from_h is not None else np.inf
    temp, valve = _heat(
        hours, sg, pitch_temp, ambient, batch.set_temp_c, (cooling_from, cooling_to)
    )
    shown = temp
    if kind == "probe_drift" and from_h is not None:
        shown = temp + 0.14 * np.clip(hours - from_h, 0.0, None)
    acid = _logistic(hours, mid - 6.0, rate) * ph_yeast
    late = late_depth * _logistic(hours, late_mid, 1 / 16.0)
    ph = ph_start - acid - late
    if kind == "early_lactic" and from_h is not None:
        ph = ph - 0.55 * _logistic(hours, from_h + 8.0, 0.35) * (1 - 0.6 * late / late_depth)
    return Course(
        batch,
        fault,
        og,
        fg,
        limit,
        float(mid),
        float(rate),
        float(cooling_from),
        float(hours[-1]),
        from_h,
        hours,
        sg,
        ph,
        temp,
        shown,
        valve,
    )


def _tun_room_c(batch: Batch) -> float:
    day = batch.pitched_at.day_of_year
    return 13.0 - 3.0 * float(np.cos(2 * np.pi * (day - 20) / 365.25))


def _logistic(hours: np.ndarray, mid: float, rate: float) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-rate * (hours - mid)))


def _fermented(hours: np.ndarray, mid: float, rate: float) -> np.ndarray:
    """Share of the fall in gravity that is done."""
    return _logistic(hours, mid, rate)


def _stick(
    hours: np.ndarray, fermented: np.ndarray, mid: float, rate: float, share: float
) -> tuple[np.ndarray, float]:
    """The yeast gives up a little before `share` is done and creeps up to it."""
    gives_up = share - 0.03
    from_h = float(mid + np.log(gives_up / (1 - gives_up)) / rate)
    creep = share - 0.03 * np.exp(-np.clip(hours - from_h, 0.0, None) / 4.0)
    return np.where(hours < from_h, fermented, creep), from_h


def _heat(
    hours: np.ndarray,
    sg: np.ndarray,
    pitch_temp: float,
    ambient: float,
    set_temp: float,
    cooling: tuple[float, float],
) -> tuple[np.ndarray, np.ndarray]:
    """Temperature and valve: warmed by fermenting, cooled by the room and the jacket."""
    temp, valve = np.empty_like(hours), np.zeros_like(hours)
    temp[0] = pitch_temp
    falling = -np.gradient(sg, hours) * 1000
    for step in range(1, len(hours)):
        now, before = hours[step], temp[step - 1]
        if cooling[0] <= now < cooling[1]:
            trickle = 6.0 if falling[step] > 0.2 else 0.0
            valve[step] = np.clip(25.0 * (before - (set_temp - 2.2)), trickle, 100.0)
        change = WARMING_PER_DEGREE * falling[step]
        change -= (before - ambient) / LOSS_H + COOLING_C_H * valve[step] / 100
        temp[step] = before + change * STEP_H
    return temp, valve


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
) -> tuple[pd.DataFrame, list[dict[str, object]]]:
    """Every batch's readings with reading error, and the single wrong readings planted."""
    frames, wrong = [], []
    for course in courses:
        frame = _read(rng, course, np.sort(reading_hours(rng, course)), noise)
        if course.fault and course.fault.kind == "wrong_reading":
            wrong.append(_swap_digits(frame))
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


def _swap_digits(frame: pd.DataFrame) -> dict[str, object]:
    """Turn the second and third figures of one gravity round, as in 1.064 for 1.046."""
    sg, hours = frame["sg"].to_numpy(), frame["hours"].to_numpy()
    tens, units = np.divmod(np.round((sg - 1) * 10000).astype(int) // 10, 10)
    swapped = (sg + 0.009 * (units - tens)).round(4)
    steep = (hours > 18) & (hours < 45)
    at = int(np.argmax(np.where(steep, np.abs(swapped - sg), -1.0)))
    frame["sg"] = np.where(np.arange(len(frame)) == at, swapped, sg)
    return {
        "batch_id": str(frame["batch_id"].iloc[at]),
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
