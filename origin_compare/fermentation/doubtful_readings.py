"""Is the reading true? Single readings which their own neighbours in the vessel contradict.

Only what cannot be is set aside here: gravity that jumps up and back, a temperature or pH alone
between two neighbours that agree. What moves for longer is for `departures` to judge.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.curves.padding import MANY, to_degrees

CHANNELS = ("sg", "ph", "temp_c", "cooling_pct")
CHANNEL_WORDS = {"sg": "gravity", "ph": "pH", "temp_c": "temperature", "cooling_pct": "cooling"}
ALONE = {"sg": 2.0, "ph": 0.3, "temp_c": 3.5}
"""How far one reading may stand outside both neighbours (degrees of gravity, pH, °C); common
practice, no source: some four times what reading twice would differ by."""
NEAR_H = 20.0


@dataclass(frozen=True, slots=True)
class SetAside:
    """One reading not used, and why; `row` is its index in the readings sheet."""

    row: int
    batch_id: str
    hours: float
    channel: str
    value: float
    why: str


def set_aside(readings: pd.DataFrame) -> list[SetAside]:
    """Every reading of `readings` (batch_id, hours and the channels) its neighbours contradict."""
    found: list[SetAside] = []
    for (batch, _), rows in _by_instrument(readings):
        for channel in ALONE:
            if channel not in rows or rows[channel].isna().all():
                continue
            held = rows.loc[rows[channel].notna() & rows["hours"].notna()].sort_values("hours")
            values = held[channel].to_numpy(float)
            if channel == "sg":
                values = to_degrees(values)
            lone = lone_points(held["hours"].to_numpy(float), values, channel)
            found.extend(_aside(batch, held, place, channel, values) for place in lone)
    return found


def without(readings: pd.DataFrame, aside: Iterable[SetAside]) -> pd.DataFrame:
    """`readings` with the values set aside emptied; the rows stay."""
    kept = readings.copy()
    for one in aside:
        kept.loc[one.row, one.channel] = np.nan
    return kept


def lone_points(hours: Array, values: Array, channel: str) -> list[int]:
    """Positions of single values which both neighbours contradict while these agree."""
    if len(values) > MANY:
        return _spikes(hours, values, ALONE[channel])
    found: list[int] = []
    for place in range(1, len(values) - 1):
        before, after = place - 1 if place - 1 not in found else place - 2, place + 1
        if before < 0 or hours[after] - hours[before] > NEAR_H:
            continue
        low, high = sorted((values[before], values[after]))
        outside = max(low - values[place], values[place] - high)
        if outside > _room(values, before, after, channel) and not _worse(values, place, channel):
            found.append(place)
    return found


def _room(values: Array, before: int, after: int, channel: str) -> float:
    """A reading between two far apart may lie a little outside both; a peak may be a true one."""
    if channel == "sg":
        return ALONE["sg"]
    return ALONE[channel] + 0.5 * abs(float(values[after] - values[before]))


def _worse(values: Array, place: int, channel: str) -> bool:
    """Whether a neighbour is the one that is off: it stands still further outside its own."""

    def outside(at: int) -> float:
        if not 0 < at < len(values) - 1:
            return 0.0
        low, high = sorted((values[at - 1], values[at + 1]))
        return float(max(low - values[at], values[at] - high, 0.0))

    return max(outside(place - 1), outside(place + 1)) > outside(place) + 1e-9


def _spikes(hours: Array, values: Array, room: float) -> list[int]:
    course = pd.Series(values).rolling(15, center=True, min_periods=5).median().to_numpy()
    off = np.abs(values - course)
    # among thousands of readings a few stand five spreads off by chance alone
    room = max(room, 6.0 * 1.4826 * float(np.median(off)))
    return [int(place) for place in np.flatnonzero(off > room)]


def _aside(batch: str, held: pd.DataFrame, place: int, channel: str, values: Array) -> SetAside:
    row, value = held.index[place], float(held[channel].iloc[place])
    hour = float(held["hours"].iloc[place])
    return SetAside(int(row), batch, hour, channel, value, why_alone(values, place, channel, value))


def why_alone(values: Array, place: int, channel: str, written: float) -> str:
    """What the reading may have been, in words."""
    expected = (values[place - 1] + values[place + 1]) / 2
    word = CHANNEL_WORDS[channel]
    if channel == "sg":
        for swapped in swaps(round(float(values[place]))):
            if (
                min(values[place - 1 : place + 2 : 2]) - 1.5
                <= swapped
                <= max(values[place - 1 : place + 2 : 2]) + 1.5
            ):
                return (
                    f"{word} {written:g} stands alone between its neighbours; two digits may be "
                    f"swapped, 1.{swapped:03d} would fit"
                )
        return (
            f"{word} {written:g} stands alone, its neighbours say about {1 + expected / 1000:.3f}"
        )
    return f"{word} {written:g} stands alone, its neighbours say about {expected:.1f}"


def swaps(degrees: int) -> list[int]:
    """The readings one gets by swapping neighbouring digits of 1.0dd or 1.ddd."""
    if not 0 <= degrees <= 999:
        return []
    text = f"{degrees:03d}"
    swapped = {
        int(text[:at] + text[at + 1] + text[at] + text[at + 2 :]) for at in range(len(text) - 1)
    }
    return sorted(swapped - {degrees})


def _by_instrument(readings: pd.DataFrame) -> Iterable[tuple[tuple[str, str], pd.DataFrame]]:
    instrument = (
        readings["instrument"].fillna("hand").astype(str)
        if "instrument" in readings
        else pd.Series("hand", index=readings.index)
    )
    for (batch, which), rows in readings.groupby([readings["batch_id"], instrument], sort=False):
        yield (str(batch), str(which)), rows
