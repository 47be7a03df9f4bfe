"""How flavour batches are made: process figures, tied or free, and the cards that tell of them."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

MIDDLE = {"length_h": 126.0, "peak_temp_c": 29.8, "final_ph": 3.55, "cut_off_abv_pct": 63.5}
SPREAD = {"length_h": 7.0, "peak_temp_c": 0.9, "final_ph": 0.10, "cut_off_abv_pct": 0.7}
STEP = {"length_h": 10.0, "peak_temp_c": 1.0, "final_ph": 0.1, "cut_off_abv_pct": 1.0}
"""What a slope is stated per."""
VESSELS = ("W1", "W2", "W3")
FIRST = pd.Timestamp(2025, 10, 6, 9, 0)
OG_SG, END_SG, PITCH_C, WORT_PH, AFTER_YEAST_PH = 1.065, 0.9988, 20.5, 5.25, 4.22

Tie = Literal["none", "pair", "broken", "by grower", "by lot"]


@dataclass(frozen=True, slots=True)
class Cards:
    """How the process figures come to be known: what the readings miss or have wrong."""

    every_h: float = 8.0
    temp_sd_c: float = 0.1
    ph_sd: float = 0.02
    thermometer_sd_c: float = 0.0
    """Offset of the thermometer, another one in each batch."""
    ph_drift: float = 0.0
    """How far the pH meter has crept by the last batch."""


def process(rng: np.random.Generator, dealt: pd.DataFrame, tie: Tie, r: float) -> pd.DataFrame:
    """True process figures, one row per batch.

    `pair` ties length to final pH at a correlation of -r; `broken` does, but for every tenth
    batch, made on purpose against the tie; `by grower` gives each grower its length and `by lot`
    each lot its peak temperature, of which a share r^2 of the variance is so given.
    """
    n = len(dealt)
    free = pd.DataFrame(rng.normal(0, 1, (n, len(MIDDLE))), columns=list(MIDDLE))
    if tie in ("pair", "broken"):
        free["final_ph"] = -r * free["length_h"] + np.sqrt(1 - r**2) * free["final_ph"]
    if tie == "broken":
        against = rng.choice(n, max(n // 10, 2), replace=False)
        sign = np.where(np.arange(len(against)) % 2 == 0, 1.3, -1.3)
        free.loc[against, "length_h"] = sign
        free.loc[against, "final_ph"] = sign
    if tie in ("by grower", "by lot"):
        name, columns = (
            ("length_h", ["grower"]) if tie == "by grower" else ("peak_temp_c", ["grower", "lot"])
        )
        group = dealt.groupby(columns).ngroup().to_numpy()
        given = rng.normal(0, 1, group.max() + 1)[group]
        free[name] = r * given + np.sqrt(1 - r**2) * free[name]
    return pd.DataFrame({k: MIDDLE[k] + SPREAD[k] * free[k].clip(-2.6, 2.6) for k in MIDDLE})


def fermentations(rng: np.random.Generator, made: pd.DataFrame) -> pd.DataFrame:
    """The batches' cards; `made` has `batch_id` and the true process figures."""
    n = len(made)
    wander = pd.to_timedelta(rng.normal(0, 60, n).round(), "min")
    pitched = FIRST + pd.to_timedelta(np.arange(n) * 72, "h") + wander
    return pd.DataFrame(
        {
            "batch_id": made["batch_id"],
            "vessel": [VESSELS[k % len(VESSELS)] for k in range(n)],
            "pitched_at": pitched,
            "pitch_temp_c": (PITCH_C + rng.normal(0, 0.2, n)).round(1),
            "wort_l": rng.normal(19500, 150, n).round(-1),
            "og_sg": (OG_SG + rng.normal(0, 0.0007, n)).round(4),
            "yeast_kg": rng.normal(54, 1, n).round(),
            "delivery_id": [f"Y{k // 2 + 1:02d}" for k in range(n)],
            "ended_at": pitched + pd.to_timedelta((made["length_h"] * 60).round(), "min"),
        }
    )


def yeasts(cards: pd.DataFrame) -> pd.DataFrame:
    """One fresh delivery for every two batches."""
    first = cards.groupby("delivery_id")["pitched_at"].min().dt.normalize()
    return pd.DataFrame(
        {
            "delivery_id": first.index,
            "strain": "V-9",
            "form": "pressed",
            "made_on": (first - pd.Timedelta(days=3)).to_numpy(),
            "delivered_on": (first - pd.Timedelta(days=2)).to_numpy(),
            "viability_pct": 95.0,
            "storage_temp_c": 4.0,
        }
    )


def readings(
    rng: np.random.Generator, made: pd.DataFrame, cards: pd.DataFrame, kept: Cards
) -> pd.DataFrame:
    """What was read of each batch. Between readings the peak may pass unseen."""
    creeping = np.linspace(0, kept.ph_drift, len(made))
    parts = []
    for k, (true, card) in enumerate(
        zip(made.to_dict("records"), cards.to_dict("records"), strict=True)
    ):
        hours = _hours(rng, true["length_h"], kept.every_h)
        sg, ph, temp = curves(rng, hours, true, card["og_sg"])
        offset = rng.normal(0, kept.thermometer_sd_c) if kept.thermometer_sd_c else 0.0
        parts.append(
            pd.DataFrame(
                {
                    "batch_id": true["batch_id"],
                    "read_at": card["pitched_at"] + pd.to_timedelta((hours * 60).round(), "min"),
                    "sg": (sg + rng.normal(0, 0.0004, len(hours))).round(4),
                    "ph": (ph + creeping[k] + rng.normal(0, kept.ph_sd, len(hours))).round(2),
                    "temp_c": (temp + offset + rng.normal(0, kept.temp_sd_c, len(hours))).round(1),
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _hours(rng: np.random.Generator, length_h: float, every_h: float) -> np.ndarray:
    between = np.arange(rng.uniform(0.3, 1.0) * every_h, length_h - 1.0, every_h)
    return np.concatenate([[0.2], between, [length_h]])


def curves(
    rng: np.random.Generator, hours: np.ndarray, true: Mapping[Hashable, float], og_sg: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gravity (Gompertz), pH (two falls) and temperature (one hump) at `hours`.

    pH ends at the true final pH and temperature tops at the true peak.
    """
    middle = rng.normal(28, 1.2)
    sg = END_SG + (og_sg - END_SG) * (1 - np.exp(-np.exp(-0.16 * (hours - middle))))
    top_h = middle + rng.normal(10, 0.7)
    width = np.where(hours < top_h, 11.0, 24.0)
    temp = PITCH_C + (true["peak_temp_c"] - PITCH_C) * np.exp(-(((hours - top_h) / width) ** 2))
    late = 1 / (1 + np.exp(-(hours - 88) / 9))
    ending = 1 / (1 + np.exp(-(true["length_h"] - 88) / 9))
    yeast = WORT_PH - (WORT_PH - AFTER_YEAST_PH) / (1 + np.exp(-(hours - middle) / 4.5))
    return sg, yeast - (AFTER_YEAST_PH - true["final_ph"]) * late / ending, temp


def spirits(rng: np.random.Generator, made: pd.DataFrame, cards: pd.DataFrame) -> pd.DataFrame:
    """One spirit run per batch, its cut off as truly made; alcohol follows from the wash."""
    n = len(made)
    strength = (cards["og_sg"] - END_SG) * 1000 * 0.1315 * rng.uniform(0.985, 1.0, n)
    pure = cards["wort_l"] * strength / 100 * rng.normal(0.965, 0.005, n)
    new_make = rng.normal(68.5, 0.3, n).round(1)
    return pd.DataFrame(
        {
            "batch_id": made["batch_id"],
            "run_no": 1,
            "distilled_on": (cards["ended_at"] + pd.Timedelta(days=1)).dt.normalize(),
            "still": "spirit 1",
            "wash_l": cards["wort_l"],
            "wash_abv_pct": strength.round(2),
            "new_make_l": (pure / new_make * 100).round(1),
            "new_make_abv_pct": new_make,
            "cut_on_abv_pct": rng.normal(73.5, 0.3, n).round(1),
            "cut_off_abv_pct": made["cut_off_abv_pct"].round(1),
        }
    )
