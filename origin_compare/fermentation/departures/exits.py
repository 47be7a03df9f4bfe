"""When each channel left the band, and whether the readings resolve which left first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from origin_compare.answers import listed
from origin_compare.fermentation.doubtful_readings import CHANNEL_WORDS
from origin_compare.fermentation.house.band import HouseBand, outside
from origin_compare.fermentation.logs import MODELLED, Log


@dataclass(frozen=True, slots=True)
class Exit:
    """One channel's first reading outside the band (`first_out_h`) and its last one inside before
    (`last_in_h`, 0 if none): it left somewhere between."""

    channel: str
    last_in_h: float
    first_out_h: float


def exits(band: HouseBand, log: Log) -> tuple[Exit, ...]:
    """The channels that left the band, earliest first."""
    out = outside(band, log)
    found = []
    for name, rows in out.groupby("channel", sort=False):
        first = float(rows["hours"].iloc[0])
        hours = log.hours[log.channel == MODELLED.index(str(name))]
        before = hours[hours < first]
        found.append(
            Exit(CHANNEL_WORDS[str(name)], float(before[-1]) if len(before) else 0.0, first)
        )
    return tuple(sorted(found, key=lambda one: one.first_out_h))


def order(found: tuple[Exit, ...]) -> str:
    """Which channel left first, in words; intervals that overlap leave it open."""
    if len(found) < 2:
        return f"only {found[0].channel} left the band" if found else "no single reading left it"
    first, rest = found[0], found[1:]
    after = [one for one in rest if one.last_in_h >= first.first_out_h]
    if len(after) == len(rest):
        return f"{first.channel} left the band before {listed([one.channel for one in after])}"
    together = [one.channel for one in found if one.last_in_h < first.first_out_h]
    return f"{listed(together)} left within one reading: the order is not resolved"


def narrows(from_h: float, to_h: float, running: bool) -> str:
    """What extra reading would have placed the hour more closely."""
    if not np.isfinite(from_h) or to_h - from_h < 6 or running:
        return ""
    return f"a reading at about {(from_h + to_h) / 2:.0f} h would have halved the interval"
