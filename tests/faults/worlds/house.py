"""Houses of different styles, their vessels, and a season's batches before anything goes wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from tests.faults.worlds.physics import Batch, Pitch, Plant, Wort

PRESSED_DRY_SHARE = 0.28
YEAR_FROM = pd.Timestamp(2025, 10, 2, 9, 0)
SEASON_DAYS = 262


@dataclass(frozen=True, slots=True)
class Style:
    """How a house ferments and how it writes its cards."""

    pitch_c: float
    set_c: float
    lengths_h: tuple[float, ...]
    bacteria_per_ml: float
    windows: Mapping[str, tuple[float, float]]
    vessels: Mapping[str, float] = field(
        default_factory=lambda: {"W1": 20000.0, "W2": 20000.0, "W3": 20000.0, "S1": 8000.0}
    )
    vigour: float = 1.0
    time_minutes: int = 1
    gravity_step: float = 0.0001
    ph_step: float = 0.01
    temp_step_c: float = 0.1
    valve_logged: bool = True
    missed_nights: float = 0.08

    @property
    def lactic(self) -> bool:
        """Whether the house waits for the late fall of pH."""
        return min(self.lengths_h) > 100


STYLES: Mapping[str, Style] = {
    "long": Style(
        20.5,
        29.0,
        (122.0, 126.0, 132.0),
        9.0e3,
        {"length_h": (112, 142), "peak_temp_c": (27, 31.5), "final_ph": (2.9, 3.75)},
    ),
    "card": Style(
        21.0,
        30.0,
        (118.0, 128.0),
        1.2e4,
        {"length_h": (108, 142), "peak_temp_c": (27, 32.5), "final_ph": (2.9, 3.75)},
        time_minutes=30,
        gravity_step=0.0005,
        ph_step=0.05,
        temp_step_c=0.5,
        missed_nights=0.2,
    ),
    "middle": Style(
        21.0,
        31.0,
        (84.0, 96.0, 108.0),
        1.5e4,
        {"length_h": (78, 116), "peak_temp_c": (28, 33.5), "final_ph": (3.2, 4.3)},
    ),
    "short": Style(
        23.0,
        32.0,
        (60.0, 66.0, 72.0),
        3.0e3,
        {
            "length_h": (55, 78),
            "peak_temp_c": (29, 34.5),
            "final_ph": (3.9, 4.5),
            "pitch_temp_c": (21, 25),
        },
        vigour=1.1,
        valve_logged=False,
    ),
}


@dataclass(frozen=True, slots=True)
class Card:
    """One batch as it was meant: what the card will say and what its course follows from."""

    batch_id: str
    vessel: str
    wort_l: float
    pitched_at: pd.Timestamp
    yeast_kg: float
    delivery_id: str
    batch: Batch


@dataclass(frozen=True, slots=True)
class Deliveries:
    """The yeast sheet, and the delivery and its age in days at a moment."""

    sheet: pd.DataFrame

    def at(self, moment: pd.Timestamp) -> tuple[str, float, float]:
        """Name, age in days and viability of the newest delivery in the house."""
        come = self.sheet[self.sheet["delivered_on"] <= moment.normalize()].iloc[-1]
        age = (moment - come["made_on"]) / pd.Timedelta(days=1)
        return str(come["delivery_id"]), float(age), float(come["viability_pct"])


def deliveries(rng: np.random.Generator) -> Deliveries:
    """A delivery of pressed yeast every six days or so."""
    days = np.cumsum(rng.integers(5, 8, 60)) - 10
    days = days[days < SEASON_DAYS + 5]
    made = YEAR_FROM.normalize() + pd.to_timedelta(days, "D")
    n = len(days)
    return Deliveries(
        pd.DataFrame(
            {
                "delivery_id": [f"Y{k + 1:02d}" for k in range(n)],
                "strain": "V-9",
                "form": "pressed",
                "made_on": made,
                "delivered_on": made + pd.Timedelta(days=1),
                "viability_pct": rng.normal(95, 1.0, n).clip(91, 98).round(1),
                "storage_temp_c": rng.normal(4.0, 0.4, n).clip(2.2, 4.9).round(1),
            }
        )
    )


def cards(rng: np.random.Generator, number: int, style: Style, yeast: Deliveries) -> list[Card]:
    """A season's batches in the order they were set, none of them at fault."""
    names = list(style.vessels)
    gap = pd.Timedelta(days=SEASON_DAYS / number)
    made = []
    for k in range(number):
        wander = pd.Timedelta(minutes=float(np.clip(rng.normal(0, 100), -240, 240)))
        pitched = (YEAR_FROM + k * gap).normalize() + pd.Timedelta(hours=12) + wander
        made.append(_card(rng, f"B{k + 1:03d}", names[k % len(names)], pitched, style, yeast))
    return made


def _card(
    rng: np.random.Generator,
    batch_id: str,
    vessel: str,
    pitched_at: pd.Timestamp,
    style: Style,
    yeast: Deliveries,
) -> Card:
    litres = style.vessels[vessel] * rng.normal(0.97, 0.008)
    delivery_id, age_d, viability = yeast.at(pitched_at)
    grams = rng.normal(2.75, 0.09)
    lively = viability / 100 * (1 - 0.012 * age_d)
    batch = Batch(
        _wort(rng),
        Pitch(
            live_g_l=grams * PRESSED_DRY_SHARE * lively,
            readiness=0.055 * np.exp(rng.normal(0, 0.22) - 0.015 * age_d),
            vigour=style.vigour * np.exp(rng.normal(0, 0.03)),
            temp_c=style.pitch_c + rng.normal(0, 0.35),
            bacteria_per_ml=style.bacteria_per_ml * np.exp(rng.normal(0, 0.6)),
        ),
        _plant(rng, litres, pitched_at, style),
        length_h=float(rng.choice(style.lengths_h)) + float(np.clip(rng.normal(0, 2), -5, 5)),
    )
    kilograms = round(grams * litres / 1000)
    return Card(batch_id, vessel, round(litres, -1), pitched_at, kilograms, delivery_id, batch)


def _wort(rng: np.random.Generator) -> Wort:
    return Wort(
        og_sg=1.065 + rng.normal(0, 0.0008),
        limit_sg=0.9987 + rng.normal(0, 0.0004),
        late_share=0.16 + rng.normal(0, 0.008),
        ph=5.25 + rng.normal(0, 0.03),
        buffer_mol_ph=0.023 * np.exp(rng.normal(0, 0.03)),
    )


def _plant(
    rng: np.random.Generator, litres: float, pitched_at: pd.Timestamp, style: Style
) -> Plant:
    """A smaller vessel has more wall and jacket for its wort; room and water follow the year."""
    smaller = (20000.0 / litres) ** (1 / 3)
    summer = 0.5 - 0.5 * np.cos(2 * np.pi * (pitched_at.day_of_year - 25) / 365.25)
    return Plant(
        set_c=style.set_c + rng.normal(0, 0.1),
        wall_per_h=0.003 * smaller,
        jacket_per_h=0.10 * smaller,
        room_c=9.0 + 11.0 * summer + rng.normal(0, 1.2),
        water_c=6.0 + 9.0 * summer + rng.normal(0, 0.5),
    )
