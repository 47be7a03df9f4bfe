"""How a true course becomes a card: shifts, instruments, rounding, slips and missed nights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.faults.worlds.faults import Bias, Planted
from tests.faults.worlds.house import Card, Style

SHIFTS_H = (6, 14, 22)
NOISE = {"sg": 0.0004, "ph": 0.03, "temp_c": 0.15, "cooling_pct": 1.5}
PROBE_NOISE = {"sg": 0.0007, "ph": 0.015, "temp_c": 0.05, "cooling_pct": 0.5}
POSSIBLE = {"sg": (0.980, 1.140), "ph": (2.5, 7.0), "temp_c": (-5.0, 60.0)}
SLIP_SHARE = 0.0015
"""Share of figures written wrongly."""
PROBE_MINUTES = 5


@dataclass(frozen=True, slots=True)
class Written:
    """The readings of one batch, and how many of their figures were slips."""

    readings: pd.DataFrame
    slips: int


def write_down(
    rng: np.random.Generator,
    card: Card,
    course: pd.DataFrame,
    style: Style,
    planted: Planted | None,
    biases: Sequence[tuple[Bias, float]],
) -> Written:
    """The shift's readings of a batch: what stood in the vessel, as the hand wrote it."""
    hours = _hours(rng, card, style)
    true = _at(course, hours)
    read = _with_biases(true, biases, _shifts(card, hours))
    if planted is not None and planted.misreading is not None:
        read[planted.misreading.channel] += planted.misreading.off(hours)
    for name, sd in NOISE.items():
        read[name] += rng.normal(0, sd, len(hours))
    read = _rounded(read, style)
    slips = _slips(rng, read)
    read.insert(0, "read_at", _moments(card, hours, style.time_minutes, _clock_h(planted)))
    read.insert(0, "batch_id", card.batch_id)
    read["instrument"] = "hand"
    if not style.valve_logged:
        read = read.drop(columns="cooling_pct")
    return Written(read.drop_duplicates("read_at", ignore_index=True), slips)


def minute_log(
    rng: np.random.Generator, card: Card, course: pd.DataFrame, planted: Planted | None
) -> pd.DataFrame:
    """What a probe in the vessel wrote every few minutes, its own offset small and steady."""
    hours = np.arange(0.1, card.batch.length_h, PROBE_MINUTES / 60)
    read = _at(course, hours)
    for name, sd in PROBE_NOISE.items():
        read[name] += rng.normal(0, sd, len(hours))
    read["sg"] += rng.normal(0, 0.0002)
    digits = {"sg": 4, "ph": 2, "temp_c": 2, "cooling_pct": 0}
    read = read.round(digits).assign(cooling_pct=lambda t: t["cooling_pct"].clip(0, 100))
    read.insert(0, "read_at", _moments(card, hours, 1, _clock_h(planted)))
    read.insert(0, "batch_id", card.batch_id)
    return read.assign(instrument="probe").drop_duplicates("read_at", ignore_index=True)


def warm_reading_error(temp_c: np.ndarray) -> np.ndarray:
    """What a hydrometer of 20 °C reads too low in warm wash, as the density of water falls.

    Density of water by Tanaka et al., Metrologia 38 (2001) 301, from memory; glass left out.
    """
    t = np.asarray(temp_c, dtype=float)
    density = 999.97495 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))
    at_20 = 998.2067
    return density / at_20 - 1.0


def _clock_h(planted: Planted | None) -> float:
    return planted.clock_h if planted is not None else 0.0


def _hours(rng: np.random.Generator, card: Card, style: Style) -> np.ndarray:
    """Hours of the readings: one at pitch, one a shift, one at the end."""
    length = card.batch.length_h
    first = card.pitched_at.hour + card.pitched_at.minute / 60
    clock = [24 * day + shift for day in range(int(length / 24) + 2) for shift in SHIFTS_H]
    kept = []
    for hour in clock:
        missed = hour % 24 == SHIFTS_H[-1] and rng.random() < style.missed_nights
        since = hour - first + rng.normal(0, 0.35)
        if 2.0 < since < length - 2.0 and not missed:
            kept.append(since)
    return np.array([rng.uniform(0.1, 0.5), *kept, length - rng.uniform(0.1, 0.5)])


def _at(course: pd.DataFrame, hours: np.ndarray) -> pd.DataFrame:
    named = {"sg": "sg", "ph": "ph", "temp_c": "temp_c", "cooling_pct": "valve_pct"}
    return pd.DataFrame(
        {name: np.interp(hours, course["hours"], course[of]) for name, of in named.items()}
    )


def _shifts(card: Card, hours: np.ndarray) -> np.ndarray:
    """The shift nearest to each reading, by the hour it begins its round."""
    clock = (card.pitched_at.hour + card.pitched_at.minute / 60 + hours) % 24
    apart = np.abs(clock[:, None] - np.array(SHIFTS_H))
    return np.array(SHIFTS_H)[np.minimum(apart, 24 - apart).argmin(axis=1)]


def _with_biases(
    true: pd.DataFrame, biases: Sequence[tuple[Bias, float]], shifts: np.ndarray
) -> pd.DataFrame:
    read = true.copy()
    for bias, whole in biases:
        share = whole if bias.shift_h is None else whole * (shifts == bias.shift_h)
        if bias.warm:
            read["sg"] += bias.size * share * warm_reading_error(true["temp_c"].to_numpy())
        else:
            read[bias.channel] += bias.size * share
    return read


def _rounded(read: pd.DataFrame, style: Style) -> pd.DataFrame:
    steps = {"sg": style.gravity_step, "ph": style.ph_step, "temp_c": style.temp_step_c}
    made = read.copy()
    for name, step in steps.items():
        made[name] = ((read[name] / step).round() * step).round(4)
    made["cooling_pct"] = ((read["cooling_pct"] / 5).round() * 5).clip(0, 100)
    return made


def _slips(rng: np.random.Generator, read: pd.DataFrame) -> int:
    """Writes a digit wrongly here and there, never so that nobody could believe it."""
    made = 0
    for name, by in (("sg", 0.010), ("ph", 1.0), ("temp_c", 10.0)):
        low, high = POSSIBLE[name]
        for row in np.flatnonzero(rng.random(len(read)) < SLIP_SHARE).tolist():
            wrong = read.loc[row, name] + rng.choice([-by, by])
            if low <= wrong <= high:
                read.loc[row, name] = round(wrong, 4)
                made += 1
    return made


def _moments(card: Card, hours: np.ndarray, minutes: int, clock_h: float) -> pd.DatetimeIndex:
    at = pd.DatetimeIndex(card.pitched_at + pd.to_timedelta(hours + clock_h, "h"))
    return at.round(f"{minutes}min")
