"""What goes wrong in a vessel, at its instruments or on its card, planted with hour and size."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd

from tests.faults.worlds.house import Card, Style
from tests.faults.worlds.physics import Change

Channel = Literal["sg", "ph", "temp_c"]
EVERY_VESSEL = "every vessel"


@dataclass(frozen=True, slots=True)
class Misreading:
    """An instrument off within one batch: from an hour on, by a step and by so much an hour."""

    channel: Channel
    from_h: float
    step: float = 0.0
    per_h: float = 0.0

    def off(self, hours: np.ndarray) -> np.ndarray:
        late = hours - self.from_h
        return np.where(late >= 0, self.step + self.per_h * late, 0.0)


@dataclass(frozen=True, slots=True)
class Planted:
    """One fault in one batch. `onset_h` is when it begins, whether it can be seen yet or not."""

    kind: str
    where: Literal["process", "wort", "instrument", "card"]
    onset_h: float
    size: float
    card: Card
    misreading: Misreading | None = None
    clock_h: float = 0.0
    aged_d: float = 0.0
    """Days the yeast sheet shows the delivery to be older than usual."""


Plant = Callable[[np.random.Generator, Card, Style], Planted]


def _changed(card: Card, change: Change) -> Card:
    return replace(card, batch=replace(card.batch, changes=(change,)))


def _pitched(card: Card, **values: float) -> Card:
    return replace(card, batch=replace(card.batch, pitch=replace(card.batch.pitch, **values)))


def _yeast_stops(low: float, high: float, kind: str) -> Plant:
    def plant(rng: np.random.Generator, card: Card, style: Style) -> Planted:
        hour, factor = rng.uniform(23, 36) / style.vigour, rng.uniform(low, high)
        changed = _changed(card, Change(hour, yeast_factor=factor))
        return Planted(kind, "process", hour, factor, changed)

    return plant


def _valve_held(at: float, from_h: float, to_h: float, kind: str) -> Plant:
    def plant(rng: np.random.Generator, card: Card, style: Style) -> Planted:
        hour = rng.uniform(from_h, to_h) / style.vigour
        changed = _changed(card, Change(hour, held_valve_pct=at))
        return Planted(kind, "process", hour, at, changed)

    return plant


def _valve_stuck(rng: np.random.Generator, card: Card, style: Style) -> Planted:
    hour = rng.uniform(35, 42) / style.vigour
    return Planted(
        "valve stuck", "process", hour, 0.0, _changed(card, Change(hour, freeze_valve=True))
    )


def _hot(rng: np.random.Generator, card: Card, style: Style) -> Planted:
    hour, above = rng.uniform(4, 34) / style.vigour, rng.uniform(3.0, 5.0)
    return Planted("hot", "process", hour, above, _changed(card, Change(hour, set_shift_c=above)))


def _cold_pitch(rng: np.random.Generator, card: Card, style: Style) -> Planted:
    below = rng.uniform(3.5, 5.5)
    cold = _pitched(card, temp_c=card.batch.pitch.temp_c - below)
    return Planted("cold pitch", "process", 0.0, -below, cold)


def _pitch_rate(low: float, high: float, kind: str) -> Plant:
    def plant(rng: np.random.Generator, card: Card, style: Style) -> Planted:
        factor = rng.uniform(low, high)
        off = _pitched(card, live_g_l=card.batch.pitch.live_g_l * factor)
        if rng.random() < 0.5:  # half the cards own up to it
            off = replace(off, yeast_kg=round(off.yeast_kg * factor))
        return Planted(kind, "process", 0.0, factor, off)

    return plant


def _old_yeast(rng: np.random.Generator, card: Card, style: Style) -> Planted:
    live = rng.uniform(0.45, 0.65)
    pitch = card.batch.pitch
    tired = _pitched(
        card, live_g_l=pitch.live_g_l * live, readiness=pitch.readiness * rng.uniform(0.25, 0.4)
    )
    return Planted("old yeast", "process", 0.0, live, tired, aged_d=float(rng.uniform(13, 24)))


def _early_infection(rng: np.random.Generator, card: Card, style: Style) -> Planted:
    number = float(np.exp(rng.uniform(np.log(2e7), np.log(1e8))))
    return Planted(
        "early infection", "process", 0.0, number, _pitched(card, bacteria_per_ml=number)
    )


def _no_lactic(rng: np.random.Generator, card: Card, style: Style) -> Planted:
    return Planted("no lactic fall", "process", 0.0, 0.0, _pitched(card, bacteria_per_ml=1e-6))


def _poor_wort(rng: np.random.Generator, card: Card, style: Style) -> Planted:
    above = rng.uniform(0.004, 0.009)
    wort = card.batch.wort
    poor = replace(
        card, batch=replace(card.batch, wort=replace(wort, limit_sg=wort.limit_sg + above))
    )
    return Planted("poor wort", "wort", 0.0, above, poor)


def _off(
    kind: str, channel: Channel, step: tuple[float, float], per_h: tuple[float, float]
) -> Plant:
    def plant(rng: np.random.Generator, card: Card, style: Style) -> Planted:
        hour = rng.uniform(6, 0.6 * card.batch.length_h)
        sign = rng.choice([-1.0, 1.0])
        wrong = Misreading(
            channel, float(hour), sign * rng.uniform(*step), sign * rng.uniform(*per_h)
        )
        size = wrong.step or wrong.per_h
        return Planted(kind, "instrument", float(hour), float(size), card, misreading=wrong)

    return plant


def _clock(rng: np.random.Generator, card: Card, style: Style) -> Planted:
    late = float(rng.choice([-1.0, 1.0]) * rng.uniform(4, 9))
    return Planted("clock error", "card", 0.0, late, card, clock_h=late)


KINDS: Mapping[str, Plant] = {
    "stuck": _yeast_stops(0.01, 0.05, "stuck"),
    "slow from an hour": _yeast_stops(0.22, 0.38, "slow from an hour"),
    "valve shut": _valve_held(0.0, 22, 32, "valve shut"),
    "valve open": _valve_held(100.0, 20, 38, "valve open"),
    "valve stuck": _valve_stuck,
    "hot": _hot,
    "cold pitch": _cold_pitch,
    "over-pitch": _pitch_rate(1.8, 2.5, "over-pitch"),
    "under-pitch": _pitch_rate(0.35, 0.55, "under-pitch"),
    "old yeast": _old_yeast,
    "early infection": _early_infection,
    "no lactic fall": _no_lactic,
    "poor wort": _poor_wort,
    "thermometer step": _off("thermometer step", "temp_c", (1.8, 3.5), (0, 0)),
    "thermometer drift": _off("thermometer drift", "temp_c", (0, 0), (0.05, 0.10)),
    "pH drift": _off("pH drift", "ph", (0, 0), (0.006, 0.012)),
    "gravity step": _off("gravity step", "sg", (0.003, 0.006), (0, 0)),
    "clock error": _clock,
}


@dataclass(frozen=True, slots=True)
class Bias:
    """An instrument of one vessel (or `EVERY_VESSEL`) that is off over many batches.

    `course` says how: from the first batch (`steady`), from batch number `from_no` on (`from a
    date`), or growing evenly to `size` at the last (`drifting`). `warm` is a hydrometer read in
    the warm wash and not corrected; `size` is then the share of the correction left out.
    """

    vessel: str
    channel: Channel
    size: float
    course: Literal["steady", "from a date", "drifting"] = "steady"
    from_no: int = 1
    warm: bool = False
    shift_h: int | None = None
    """Only what the shift of this hour reads, or what all read."""

    def touches(self, vessel: str) -> bool:
        return self.vessel in (vessel, EVERY_VESSEL)

    def share(self, number: int, batches: int) -> float:
        """How much of `size` stands in batch `number` (from 1) of `batches`."""
        if self.course == "steady":
            return 1.0
        if self.course == "from a date":
            return float(number >= self.from_no)
        return (number - 1) / max(batches - 1, 1)

    def name(self) -> str:
        instrument = {"sg": "hydrometer", "ph": "pH meter", "temp_c": "thermometer"}[self.channel]
        whose = "" if self.shift_h is None else f" of the {self.shift_h} h shift"
        return f"{instrument}{whose} {'read warm' if self.warm else self.course}"


def usual(style: Style) -> dict[str, float]:
    """A quarter of the batches at fault, all kinds the style can show alike."""
    kinds = [kind for kind in KINDS if style.lactic or kind != "no lactic fall"]
    return dict.fromkeys(kinds, 0.25 / len(kinds))


def plant(
    rng: np.random.Generator, made: list[Card], style: Style, shares: Mapping[str, float]
) -> dict[str, Planted]:
    """Faults by batch. `shares` gives, for each kind, the share of batches it strikes."""
    unknown = sorted(set(shares) - set(KINDS))
    if unknown:
        raise ValueError(f"No such fault: {', '.join(unknown)}. Known are: {', '.join(KINDS)}.")
    order, planted, taken = rng.permutation(len(made)), {}, 0
    expected = np.cumsum([share * len(made) for share in shares.values()])
    ends = np.floor(expected + rng.random()).astype(int)
    kinds = list(shares)
    rng.shuffle(kinds)
    for kind, end in zip(kinds, ends, strict=True):
        for which in order[taken : min(end, len(made))]:
            struck = made[which]
            planted[struck.batch_id] = KINDS[kind](rng, struck, style)
        taken = max(taken, min(int(end), len(made)))
    return planted


def aged(
    sheet: pd.DataFrame, planted: Mapping[str, Planted]
) -> tuple[pd.DataFrame, dict[str, str]]:
    """The yeast sheet with the old deliveries added, and which batch had which of them."""
    extra, whose = [], {}
    for batch_id, fault in planted.items():
        if fault.aged_d:
            usual_row = sheet[sheet["delivery_id"] == fault.card.delivery_id].iloc[0]
            name = f"Y9{batch_id[1:]}"
            older = pd.Timedelta(days=round(fault.aged_d))
            extra.append(
                {
                    **usual_row,
                    "delivery_id": name,
                    "made_on": usual_row["made_on"] - older,
                    "delivered_on": usual_row["delivered_on"] - older,
                    "storage_temp_c": 7.5,
                }
            )
            whose[batch_id] = name
    added = pd.DataFrame(extra, columns=sheet.columns)
    return (pd.concat([sheet, added], ignore_index=True) if extra else sheet), whose
