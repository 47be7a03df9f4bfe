"""Fermentations by differential equations, with faults planted: truth to hold the code against.

Nothing here is shared with the package: yeast grows and ferments (Monod, growth to a ceiling),
wort warms by what it ferments, a valve cools above a set point, acid falls with the yeast and
again with lactic growth. Constants are chosen to give the usual course (lag 14-20 h, 28-30 °C,
1.065 to about 1.000, 120-140 h, final pH under 3.5: common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from origin_compare.season.season import Season

STEP_H = 0.1

FAULTS = (
    "slow lag",
    "stuck",
    "poor fermentability",
    "poor yeast",
    "over-pitch",
    "hot",
    "cooling stuck",
    "early lactic",
    "wild yeast",
    "gravity offset",
    "gravity drift",
    "gravity frozen",
    "temperature offset",
    "temperature drift",
    "pH drift",
    "wrong reading",
    "clock",
    "uncorrected",
)


@dataclass
class Plant:
    """What is planted in one batch."""

    fault: str = ""
    onset_h: float = 0.0
    size: float = 0.0
    more: dict = field(default_factory=dict)


@dataclass
class Run:
    """One simulated batch: the true course on a fine grid."""

    hours: np.ndarray
    gravity: np.ndarray
    ph: np.ndarray
    temp: np.ndarray
    valve: np.ndarray
    og: float
    limit: float
    yeast_kg: float


def run(rng: np.random.Generator, plant: Plant, end_h: float = 136.0) -> Run:
    steps = int(end_h / STEP_H) + 1
    og = rng.normal(65.0, 1.2)
    limit = rng.normal(0.5, 0.7) + (plant.size if plant.fault == "poor fermentability" else 0)
    live, most = rng.lognormal(0.0, 0.10), 8.0 * rng.lognormal(0, 0.05)
    grow, ferment = 0.125 * rng.lognormal(0, 0.05), 0.40 * rng.lognormal(0, 0.05)
    if plant.fault == "slow lag":
        live *= 1 - plant.size
    if plant.fault == "poor yeast":
        live, most, ferment = live * 0.4, most * 0.75, ferment * (1 - plant.size)
    if plant.fault == "over-pitch":
        live *= plant.size
    temp, outside, set_c = rng.normal(21, 0.4), rng.normal(16, 2.0), rng.normal(29.2, 0.3)
    loss, wort_ph = rng.normal(0.008, 0.001), rng.normal(5.35, 0.05)
    bacteria = np.exp(rng.normal(-9.8, 0.55))
    bacteria_grow, acid_most = rng.normal(0.15, 0.008), rng.normal(0.95, 0.07)
    left, health, wild = og - limit, 1.0, 0.0
    out = np.zeros((5, steps))
    for at in range(steps):
        hour = at * STEP_H
        past = hour >= plant.onset_h
        warm = np.exp(0.065 * (min(temp, 35) - 28))
        if temp > 34:
            health *= np.exp(-0.05 * (temp - 34) * STEP_H)
        if plant.fault == "stuck" and past:
            health *= np.exp(-STEP_H / 3.0)
        if plant.fault == "early lactic" and abs(hour - plant.onset_h) < STEP_H / 2:
            bacteria = max(bacteria, 0.03 * plant.size)
        sour = bacteria / (1 + bacteria)
        slowed = 1 - (0.45 * sour if plant.fault == "early lactic" else 0.0)
        live += STEP_H * grow * warm * live * (1 - live / most) * health * slowed
        fall = STEP_H * ferment * warm * live * health * slowed * left / (6 + left)
        left -= fall
        if plant.fault == "wild yeast" and past:
            wild += STEP_H * 0.10 * (1 - wild / plant.size)
        done = 1 - left / (og - limit)
        bacteria *= np.exp(
            bacteria_grow
            * (2.0 if plant.fault == "early lactic" and past else 1)
            * np.exp(0.04 * (temp - 28))
            * STEP_H
        )
        bacteria = min(bacteria, 1e4)
        valve = float(np.clip((temp - set_c) / 1.0, 0, 1))
        works = valve
        if past and plant.fault == "hot":
            if valve > 0.02 and not plant.more.get("seen"):
                plant.onset_h = hour  # cooling that fails before it is asked for does nothing yet
                plant.more["seen"] = True
            works = 0.0
        if past and plant.fault == "cooling stuck" and hour < plant.onset_h + plant.more["for_h"]:
            works = plant.size
            valve = plant.size
        temp += 0.26 * fall - loss * (temp - outside) * STEP_H - 1.1 * works * STEP_H
        acid = acid_most * bacteria / (1 + bacteria)
        out[:, at] = (
            limit + left - wild,
            wort_ph - 1.05 * done**0.7 - acid,
            temp,
            100 * valve,
            hour,
        )
    kilos = 240.0 * rng.lognormal(0, 0.01)
    return Run(out[4], out[0], out[1], out[2], out[3], og, limit, kilos)


def read(rng: np.random.Generator, made: Run, plant: Plant, minutes: bool = False) -> pd.DataFrame:
    """Readings every eight hours by hand, or every minute by probe, with the plant's slips."""
    end = made.hours[-1]
    if minutes:
        hours = np.arange(0, end, 1 / 60)
    else:
        hours = np.arange(0, end + 0.1, 8.0)
        hours = np.clip(hours + rng.uniform(-0.5, 0.5, len(hours)), 0, end)
        hours = hours[(rng.random(len(hours)) > 0.03) | (hours < 1)]

    def seen(course: np.ndarray, sd: float) -> np.ndarray:
        return np.interp(hours, made.hours, course) + rng.normal(0, sd, len(hours))

    gravity, ph = seen(made.gravity, 0.4), seen(made.ph, 0.035)
    temp, valve = seen(made.temp, 0.15), np.interp(hours, made.hours, made.valve)
    past, since = hours >= plant.onset_h, np.maximum(hours - plant.onset_h, 0)
    fault, size = plant.fault, plant.size
    if fault == "gravity offset":
        gravity = gravity + size * past
    if fault == "gravity drift":
        gravity = gravity + size * since
    if fault == "gravity frozen" and past.any():
        gravity = np.where(past, gravity[max(int(past.argmax()) - 1, 0)], gravity)
    if fault == "temperature offset":
        temp = temp + size * past
    if fault == "temperature drift":
        temp = temp + size * since
    if fault == "pH drift":
        ph = ph + size * since
    if fault == "uncorrected":
        gravity = gravity - past * (0.0032 * (temp - 20) ** 2 + 0.22 * (temp - 20))
    gravity, ph, temp = np.round(gravity * 2) / 2, np.round(ph, 2), np.round(temp, 1)
    if fault == "wrong reading":
        at = int(np.argmin(np.abs(hours - plant.onset_h)))
        gravity[at] += size
        plant.onset_h = float(hours[at])
    if fault == "clock":
        hours = hours + size
    return pd.DataFrame(
        {
            "hours": hours,
            "sg": 1 + gravity / 1000,
            "ph": ph,
            "temp_c": temp,
            "cooling_pct": np.round(valve),
            "instrument": "probe" if minutes else "hand",
        }
    )


ALL_OR_NOTHING = ("stuck", "hot", "clock", "uncorrected", "gravity frozen")


def draw_plant(rng: np.random.Generator, fault: str, share: float = 1.0) -> Plant:
    """A fault of random hour and size; sizes a distiller would want to hear of, times `share`."""
    sign = rng.choice([-1.0, 1.0])
    early, anywhere = rng.uniform(6, 24), rng.uniform(10, 90)
    steep = rng.uniform(18, 40)
    sizes = {
        "slow lag": (0.0, rng.uniform(0.65, 0.85)),
        "stuck": (rng.uniform(18, 38), 1.0),
        "poor fermentability": (0.0, rng.uniform(6, 12)),
        "poor yeast": (0.0, rng.uniform(0.35, 0.6)),
        "over-pitch": (0.0, rng.uniform(2.5, 4)),
        "hot": (rng.uniform(20, 32), 1.0),
        "cooling stuck": (steep, rng.uniform(0.8, 1.0)),
        "early lactic": (early, rng.uniform(1, 3)),
        "wild yeast": (rng.uniform(50, 80), rng.uniform(4, 7)),
        "gravity offset": (anywhere, sign * rng.uniform(4, 8)),
        "gravity drift": (anywhere, sign * rng.uniform(0.08, 0.2)),
        "gravity frozen": (rng.uniform(16, 36), 0.0),
        "temperature offset": (anywhere, sign * rng.uniform(2.5, 5)),
        "temperature drift": (anywhere, sign * rng.uniform(0.06, 0.15)),
        "pH drift": (anywhere, sign * rng.uniform(0.008, 0.02)),
        "wrong reading": (rng.uniform(12, 110), sign * rng.uniform(9, 27)),
        "clock": (0.0, rng.choice([-12.0, 12.0])),
        "uncorrected": (rng.choice([0.0, anywhere]), 1.0),
    }
    onset, size = sizes[fault]
    if fault == "over-pitch":
        size = 1 + share * (size - 1)
    elif fault not in ALL_OR_NOTHING:
        size = share * size
    return Plant(fault, float(onset), float(size), {"for_h": rng.uniform(10, 24)})


def season_of(
    seed: int, plants: list[Plant], minutes: bool = False, limit_tests: bool = True
) -> Season:
    """A season with one batch per plant; `Plant()` is a good one. Three batches share a yeast."""
    rng = np.random.default_rng(seed)
    rows, readings, begin = [], [], pd.Timestamp("2025-10-06 06:00", tz="UTC")
    for at, plant in enumerate(plants):
        end_h = rng.uniform(124, 138)
        made = run(rng, plant, end_h)
        name, pitched = f"B{at + 1:03d}", begin + pd.Timedelta(hours=72 * at)
        log = read(rng, made, plant, minutes)
        log.insert(0, "batch_id", name)
        log["read_at"] = pitched + pd.to_timedelta(log["hours"], unit="h")
        readings.append(log)
        over = plant.fault == "over-pitch"
        weak = plant.fault in ("poor yeast", "slow lag")
        rows.append(
            {
                "batch_id": name,
                "season": 2025,
                "status": "ended",
                "vessel": f"V{at % 3 + 1}",
                "pitched_at": pitched,
                "ended_at": pitched + pd.Timedelta(hours=end_h),
                "pitch_temp_c": log["temp_c"].iloc[0],
                "wort_l": 85000.0,
                "og_sg": round(1 + (made.og + rng.normal(0, 0.3)) / 1000, 4),
                "yeast_kg": round(made.yeast_kg * (plant.size if over else 1)),
                "delivery_id": f"Y{at // 3 + 1:02d}",
                "planned_h": 130.0,
                "yeast_form": "pressed",
                "yeast_viability_pct": rng.normal(72, 3) if weak else rng.normal(95, 1),
                "yeast_age_d": rng.uniform(16, 22) if weak else rng.uniform(2, 10),
                "yeast_storage_c": 4.0,
                "limit_sg": round(1 + (made.limit + rng.normal(0, 0.4)) / 1000, 4)
                if limit_tests
                else np.nan,
                "grist_kg": 18000.0,
                "new_make_l": 10300.0,
                "new_make_abv_pct": 68.0,
                "note": "",
            }
        )
    table = pd.concat(readings, ignore_index=True)
    batches = pd.DataFrame(rows)
    return Season(
        {"readings": table, "fermentations": batches}, batches, pd.DataFrame(), pd.DataFrame()
    )
