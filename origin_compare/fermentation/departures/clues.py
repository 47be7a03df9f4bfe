"""What the sheets beside the log say of a departure: tests, yeast, sisters, valves, clocks.

Each clue carries its own sentence and how much it adds to or takes from a cause (natural log of
the odds; common practice, no source: 1 is a nudge, 3 is strong, 5 nearly settles it).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from origin_compare.answers import listed
from origin_compare.fermentation.curves.padding import to_degrees
from origin_compare.fermentation.departures.signatures import (
    CHILLED,
    CLOCK,
    DRIFTS,
    FROZEN_GRAVITY,
    FROZEN_TEMP,
    HOT,
    LESS_FERMENTABLE,
    OFFSETS,
    OVER_PITCH,
    POOR_YEAST,
    SLOW_LAG,
    STUCK,
)
from origin_compare.fermentation.house.band import HouseBand
from origin_compare.fermentation.house.course import HouseModel
from origin_compare.fermentation.logs import GRAVITY, TEMPERATURE, Log
from origin_compare.house import HouseRules, Window

LIVE_ENOUGH_PCT = 88.0
"""Viability below which pressed yeast is suspected (common practice, no source)."""
HIGH_END_DEG = 2.0
COULD_NOT = 2.0
"""Within this of the bench limit, degrees, the wort could ferment no lower."""
COULD = 3.5
TEMPERATURE_OFF_C = 1.5
STILL_WARMING_DEG = 3.0
WARMING_HIGH = 0.28
"""°C per degree of gravity fermented, at most [own arithmetic]."""
UNPAID_C = 1.8
"""A rise beyond what fermenting pays for by this is no reading error any more."""


@dataclass(frozen=True, slots=True)
class Clue:
    """One thing known beside the log: `adds` by cause, in natural log of the odds."""

    says: str
    adds: Mapping[str, float]


@dataclass(frozen=True)
class Beside:
    """`clues` for one batch and what is `missing` by cause."""

    clues: tuple[Clue, ...]
    missing: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def adds(self, cause: str) -> float:
        return sum(clue.adds.get(cause, 0.0) for clue in self.clues)

    def speak(self, cause: str, sign: int) -> tuple[str, ...]:
        """The sentences of the clues for (sign 1) or against (-1) a cause."""
        return tuple(clue.says for clue in self.clues if sign * clue.adds.get(cause, 0.0) > 0)


@dataclass(frozen=True)
class Scene:
    """What stands around one batch: its row, log, raw readings, the house, its sisters."""

    batch: dict
    log: Log
    readings: pd.DataFrame
    model: HouseModel
    band: HouseBand
    rules: HouseRules
    slow_sisters: tuple[str, ...]
    sisters: tuple[str, ...]
    neighbours: tuple[str, ...]
    from_h: float


def beside(scene: Scene) -> Beside:
    """Every clue the sheets hold on this batch."""
    clues: list[Clue] = []
    missing: dict[str, tuple[str, ...]] = {}
    for look in _LOOKS:
        found, lacking = look(scene)
        clues += found
        for cause, text in lacking.items():
            missing[cause] = (*missing.get(cause, ()), text)
    return Beside(tuple(clues), missing)


Found = tuple[Sequence[Clue], Mapping[str, str]]
_NOTHING: Found = ((), {})


def _limit_test(scene: Scene) -> Found:
    """Could the wort ferment? The bench limit test splits wort from yeast."""
    end = _end_of(scene.log)
    if not np.isfinite(end) or end - _house_end(scene) < HIGH_END_DEG:
        return _NOTHING
    limit = _number(scene.batch, "limit_sg")
    if not np.isfinite(limit):
        lacking = "a bench limit test of this wort"
        return (), {LESS_FERMENTABLE: lacking, STUCK: lacking, POOR_YEAST: lacking}
    gap = end - (limit - 1) * 1000
    said = f"the bench limit test reached {limit:.4f}, the vessel {1 + end / 1000:.4f}"
    if gap <= COULD_NOT:
        adds = {LESS_FERMENTABLE: 5.0, STUCK: -4.0, POOR_YEAST: -2.0, FROZEN_GRAVITY: -4.0}
        adds[OFFSETS[GRAVITY]] = -3.0
        return [Clue(f"{said}: the wort could go no lower", adds)], {}
    if gap >= COULD:
        adds = {LESS_FERMENTABLE: -6.0, STUCK: 0.5, POOR_YEAST: 0.5}
        return [Clue(f"{said}: the wort could have gone lower", adds)], {}
    return [Clue(f"{said}: too close to say which stopped", {LESS_FERMENTABLE: 1.0})], {}


def _yeast(scene: Scene) -> Found:
    """Was the yeast live? Age, storage and viability against the house's windows."""
    bad: list[str] = []
    good: list[str] = []
    viability = _number(scene.batch, "yeast_viability_pct")
    if np.isfinite(viability):
        (bad if viability < LIVE_ENOUGH_PCT else good).append(f"{viability:.0f} % viable")
    for column, name, said in (
        ("yeast_age_d", "yeast_age_d", "{:.0f} days old"),
        ("yeast_storage_c", "yeast_storage_c", "kept at {:.1f} °C"),
    ):
        value = _number(scene.batch, column)
        window = scene.rules.windows.get(name)
        if np.isfinite(value) and window is not None:
            (good if _holds(window, value) else bad).append(said.format(value))
    if bad:
        adds = min(1.0 + 1.5 * len(bad), 4.0)
        says = f"the yeast was {listed(bad)}"
        return [Clue(says, {POOR_YEAST: adds, SLOW_LAG: adds, OVER_PITCH: -2.0})], {}
    if good:
        return [Clue(f"the yeast was {listed(good)}", {POOR_YEAST: -1.0, SLOW_LAG: -0.7})], {}
    lacking = "age, storage and viability of the yeast"
    return (), {POOR_YEAST: lacking, SLOW_LAG: lacking}


def _amount(scene: Scene) -> Found:
    kilos, litres = _number(scene.batch, "yeast_kg"), _number(scene.batch, "wort_l")
    window = scene.rules.windows.get("yeast_g_l")
    if not (np.isfinite(kilos) and np.isfinite(litres)) or window is None:
        return (), {OVER_PITCH: "how much yeast went in", POOR_YEAST: "how much yeast went in"}
    pitched = 1000 * kilos / litres
    says = f"{pitched:.2f} g/L of yeast was pitched"
    if window.high is not None and pitched > window.high:
        return [Clue(f"{says}, more than the house's window", {OVER_PITCH: 4.0})], {}
    if window.low is not None and pitched < window.low:
        less = {POOR_YEAST: 3.0, SLOW_LAG: 3.0, OVER_PITCH: -3.0}
        return [Clue(f"{says}, less than the house's window", less)], {}
    return [Clue(f"{says}, as usual", {OVER_PITCH: -1.5})], {}


def _sisters(scene: Scene) -> Found:
    if not scene.sisters:
        return _NOTHING
    if scene.slow_sisters:
        says = f"{listed(scene.slow_sisters)} of the same yeast delivery ran slow too"
        return [Clue(says, {POOR_YEAST: 2.0, SLOW_LAG: 2.0})], {}
    says = f"{listed(scene.sisters)} of the same yeast delivery ran in style"
    return [Clue(says, {POOR_YEAST: -0.7, SLOW_LAG: -0.7})], {}


def _cooling(scene: Scene) -> Found:
    """The valve against the temperature: shut while hot, open while cold, or as it should be."""
    seen = scene.readings
    if "cooling_pct" not in seen or seen["cooling_pct"].isna().all():
        return (), {HOT: "the cooling log", CHILLED: "the cooling log"}
    both = seen.loc[seen["cooling_pct"].notna() & seen["temp_c"].notna()]
    both = both.loc[both["hours"] >= scene.from_h]
    if both.empty:
        return _NOTHING
    hours = both["hours"].to_numpy(float)
    off = both["temp_c"].to_numpy(float) - scene.model.course(hours, TEMPERATURE)
    valve = both["cooling_pct"].to_numpy(float)
    clues = []
    # a shut valve is no fault once there is nothing left to cool
    works = scene.model.course(hours, GRAVITY) > _house_end(scene) + STILL_WARMING_DEG
    hot, cold = (off > TEMPERATURE_OFF_C) & works, off < -TEMPERATURE_OFF_C
    if hot.any():
        at = int(np.argmax(np.where(hot, off, -np.inf)))
        clues.append(_hot_valve(off[at], float(valve[hot].max()), float(valve[at])))
    if cold.any() and valve[cold].max() >= 30:
        at = int(np.argmax(np.where(cold, valve, -1)))
        says = f"cooling stood {valve[at]:.0f} % open with the wash {-off[at]:.1f} °C below course"
        clues.append(Clue(says, {CHILLED: 4.0, STUCK: -1.0}))
    elif cold.any():
        widest = float(valve[cold].max())
        how = "was shut" if widest < 1 else f"stood at most {widest:.0f} % open"
        says = f"cooling {how} while the wash stood cold"
        clues.append(Clue(says, {CHILLED: -2.0, OFFSETS[TEMPERATURE]: 0.5}))
    return clues, {}


def _heat_balance(scene: Scene) -> Found:
    """Wash warms by what it ferments: a rise that gravity does not pay for is an instrument's."""
    both = scene.readings.loc[scene.readings["sg"].notna() & scene.readings["temp_c"].notna()]
    if len(both) < 4:
        return _NOTHING
    every = max(len(both) // 100, 1)
    degrees = to_degrees(both["sg"])[::every]
    temp, hours = both["temp_c"].to_numpy(float)[::every], both["hours"].to_numpy(float)[::every]
    stored = temp + WARMING_HIGH * degrees
    unpaid = np.triu(stored[None, :] - stored[:, None])
    a, b = np.unravel_index(int(np.argmax(unpaid)), unpaid.shape)
    rise, fell = temp[b] - temp[a], degrees[a] - degrees[b]
    if unpaid[a, b] < UNPAID_C or rise < UNPAID_C:
        return _NOTHING
    says = (
        f"between {hours[a]:.0f} and {hours[b]:.0f} h temperature rose {rise:.1f} °C while gravity "
        f"fell {max(fell, 0):.0f} degrees, which can warm it {max(WARMING_HIGH * fell, 0):.1f} °C"
    )
    probe = {OFFSETS[TEMPERATURE]: 2.0, DRIFTS[TEMPERATURE]: 3.0, FROZEN_GRAVITY: 2.0}
    return [Clue(says, {**probe, DRIFTS[GRAVITY]: 1.0, HOT: -5.0, STUCK: -3.0, CHILLED: -3.0})], {}


def _hot_valve(off: float, widest: float, then: float) -> Clue:
    if widest < 5:
        says = f"cooling stayed shut with the wash {off:.1f} °C above course"
        return Clue(says, {HOT: 2.5})
    if then > 90:
        return Clue(f"cooling fully open, yet the wash {off:.1f} °C above course", {HOT: 2.5})
    return Clue(f"cooling at work ({then:.0f} % open) while it read hot", {HOT: -0.5})


def _digits(scene: Scene) -> Found:
    """A frozen probe repeats itself; a living one, however still, does not."""
    clues = []
    for column, channel, cause in (
        ("sg", GRAVITY, FROZEN_GRAVITY),
        ("temp_c", TEMPERATURE, FROZEN_TEMP),
    ):
        seen = scene.readings.loc[scene.readings[column].notna()]
        late = seen.loc[seen["hours"] > scene.from_h + 8.0, column].to_numpy(float)
        if len(late) < 4:
            continue
        word = "gravity" if channel == GRAVITY else "temperature"
        if np.ptp(late) == 0:
            clues.append(Clue(f"{word} repeats the same digits {len(late)} times", {cause: 2.0}))
        else:
            clues.append(Clue(f"{word} readings still vary", {cause: -8.0}))
    return clues, {}


def _clock(scene: Scene) -> Found:
    first = float(scene.log.hours.min())
    if -1.0 <= first <= 3.0:
        return [Clue(f"the first reading stands at {first:.1f} h, as it should", {CLOCK: -6.0})], {}
    says = f"the first reading stands at {first:.1f} h"
    return [Clue(says, {CLOCK: 2.0, SLOW_LAG: -1.0, OVER_PITCH: -1.0})], {}


def _pitch(scene: Scene) -> Found:
    value, window = _number(scene.batch, "pitch_temp_c"), scene.rules.windows.get("pitch_temp_c")
    if window is None or not np.isfinite(value) or _holds(window, value):
        return _NOTHING
    if window.low is not None and value < window.low:
        return [Clue(f"pitched cold, at {value:.1f} °C", {SLOW_LAG: 2.0})], {}
    return [Clue(f"pitched warm, at {value:.1f} °C", {HOT: 1.5, OVER_PITCH: 1.0})], {}


def _others(scene: Scene) -> Found:
    if not scene.neighbours:
        return _NOTHING
    says = f"{listed(scene.neighbours)} in another vessel departed within the same hours"
    shared = {HOT: 1.0, CHILLED: 1.0, CLOCK: 1.0}
    return [Clue(f"{says}: look for a shared utility or clock", shared)], {}


def _end_of(log: Log) -> float:
    late = log.values[(log.channel == GRAVITY) & (log.hours >= 72)]
    return float(np.median(late[-3:])) if len(late) else float("nan")


def _house_end(scene: Scene) -> float:
    share = scene.log.og_deg / scene.model.og_deg if np.isfinite(scene.log.og_deg) else 1.0
    return float(scene.model.course(np.array([120.0]), GRAVITY)[0] * share)


def _number(batch: dict, column: str) -> float:
    value = batch.get(column)
    return float(value) if value is not None and pd.notna(value) else float("nan")


def _holds(window: Window, value: float) -> bool:
    return window.holds(value)


_LOOKS = (
    _limit_test,
    _yeast,
    _amount,
    _sisters,
    _cooling,
    _heat_balance,
    _digits,
    _clock,
    _pitch,
    _others,
)
