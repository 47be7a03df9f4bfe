"""Growers, lots, malts and mashes of invented farms, with agronomy that bears on the extract.

Barley: more grain nitrogen and more screenings go with less extract, heavier corns with more
(directions: common practice, no source; the sizes below are invented and are the truth).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.faults.worlds.physics import plato

EXTRACT_SLOPES = {"grain_n_pct_dm": -4.0, "screenings_pct": -0.15, "thousand_grain_g": 0.06}
"""Extract, % dry, per unit of each trait: what the world was made with."""
EXTRACT_SD = 0.30
ALCOHOL_PER_EXTRACT = 0.865 * 6.06
"""Predicted L of pure alcohol per t dry malt for each % of extract: fermentable share times 6.06
(Bringhurst et al., J. Inst. Brew. 102 (1996) 433, excerpt seen)."""
SOILS = ("sandy loam", "clay loam", "silt loam", "chalk")
VARIETIES = ("Arnel", "Bressay", "Corvin")
CROPS = ("oats", "barley", "potatoes", "beans", "grass")


@dataclass(frozen=True, slots=True)
class Chain:
    """Sheets from grower to mash and, by batch, whose barley it was."""

    sheets: dict[str, pd.DataFrame]
    origin: pd.DataFrame
    """`batch_id`, `grower_id`, `lot_id`, `malt_id`, `extract_pct_dm`, `grist_kg`."""


def shares_out(
    rng: np.random.Generator, batches: int, growers: int, lots_each: int, uneven: float
) -> pd.DataFrame:
    """Which lot each batch is made of: growers weighted unevenly, every lot used where it can be.

    `uneven` is the sd of the log weights; 0 deals batches out equally.
    """
    weights = np.exp(rng.normal(0, uneven, growers))
    lots = [(g, k) for k in range(lots_each) for g in range(growers)]
    first = lots[:batches]
    rest = rng.choice(growers, size=batches - len(first), p=weights / weights.sum())
    dealt = first + [(int(g), int(rng.integers(lots_each))) for g in rest]
    order = rng.permutation(batches)
    dealt = [dealt[i] for i in order]
    return pd.DataFrame(dealt, columns=["grower", "lot"])


def chain(rng: np.random.Generator, batches: pd.DataFrame, dealt: pd.DataFrame, year: int) -> Chain:
    """The chain behind `batches` (`batch_id`, `pitched_at`, `wort_l`, `og_sg`)."""
    growers = _growers(rng, int(dealt["grower"].max()) + 1)
    lots = _lots(rng, growers, dealt, year)
    made = batches.assign(lot_id=[f"L{g + 1:02d}{'ABCDEFGH'[k]}" for g, k in dealt.to_numpy()])
    made = made.merge(lots[["lot_id", "grower_id"]], on="lot_id")
    made = made.sort_values("batch_id", ignore_index=True)
    made["malt_id"] = [f"M{number + 1:03d}" for number in range(len(made))]
    malts = _malts(rng, made, lots, year)
    made = made.merge(malts[["malt_id", "extract_pct_dm", "moisture_pct"]], on="malt_id")
    made["grist_kg"] = _grist(rng, made)
    malts = malts.assign(
        tonnes=(made["grist_kg"] / 1000 * 1.01).round(3),
        grain_t=(made["grist_kg"] / 1000 * 1.01 / 0.835).round(3),
    )
    steeped = malts.groupby("lot_id")["grain_t"].sum()
    lots["delivered_t"] = (lots["lot_id"].map(steeped) * 1.05).round(2)
    lots["area_ha"] = (lots["delivered_t"] / lots["yield_t_ha"]).round(1).clip(lower=0.5)
    sheets = {"growers": growers, "lots": lots, "malts": malts, "mashes": _mashes(rng, made)}
    names = ["batch_id", "grower_id", "lot_id", "malt_id", "extract_pct_dm", "grist_kg"]
    return Chain(sheets, made[names])


def _growers(rng: np.random.Generator, number: int) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "grower_id": [f"G{n + 1:02d}" for n in range(number)],
            "farm_name": [f"Farm {n + 1}" for n in range(number)],
            "region": rng.choice(["north", "south", "east"], number),
            "soil": rng.choice(SOILS, number),
            "grows_since": rng.integers(2008, 2022, number),
        }
    )


def _lots(
    rng: np.random.Generator, growers: pd.DataFrame, dealt: pd.DataFrame, year: int
) -> pd.DataFrame:
    used = dealt.drop_duplicates().sort_values(["grower", "lot"], ignore_index=True)
    n, whose = len(used), used["grower"].to_numpy()
    by_grower = rng.normal(0, 1, len(growers))[whose]
    sown = rng.integers(0, 35, n)
    nitrogen = 1.50 + 0.07 * by_grower + 0.002 * (sown - 17) + rng.normal(0, 0.05, n)
    return pd.DataFrame(
        {
            "lot_id": [f"L{g + 1:02d}{'ABCDEFGH'[k]}" for g, k in used.to_numpy()],
            "grower_id": growers["grower_id"].to_numpy()[whose],
            "season": year,
            "field": [f"Field {k + 1}" for k in range(n)],
            "variety": rng.choice(VARIETIES, n),
            "soil": growers["soil"].to_numpy()[whose],
            "previous_crop": rng.choice(CROPS, n),
            "sown_on": pd.Timestamp(year, 3, 10) + pd.to_timedelta(sown, "D"),
            "harvested_on": pd.Timestamp(year, 8, 8) + pd.to_timedelta(rng.integers(0, 25, n), "D"),
            "yield_t_ha": rng.normal(6.8, 0.7, n).clip(4.5, 9.5).round(2),
            "grain_n_pct_dm": nitrogen.clip(1.25, 1.85).round(2),
            "grain_moisture_pct": rng.normal(13.4, 0.4, n).clip(12.2, 14.4).round(1),
            "screenings_pct": np.exp(rng.normal(0.7, 0.45, n)).clip(0.4, 8).round(1),
            "thousand_grain_g": rng.normal(46.5, 2.2, n).clip(40, 53).round(1),
            "germination_pct": rng.normal(98.6, 0.4, n).clip(97.2, 99.8).round(1),
            "rain_mm": rng.normal(115, 18, n).round(0),
            "mean_temp_c": rng.normal(14.2, 0.5, n).round(1),
        }
    )


def _malts(
    rng: np.random.Generator, made: pd.DataFrame, lots: pd.DataFrame, year: int
) -> pd.DataFrame:
    grain = made[["malt_id", "lot_id"]].merge(lots, on="lot_id").sort_values("malt_id")
    n = len(grain)
    extract = 79.3 + rng.normal(0, EXTRACT_SD, n)
    middles = {"grain_n_pct_dm": 1.50, "screenings_pct": 2.0, "thousand_grain_g": 46.5}
    for trait, slope in EXTRACT_SLOPES.items():
        extract = extract + slope * (grain[trait].to_numpy() - middles[trait])
    kilned = pd.Timestamp(year, 9, 5) + pd.to_timedelta(np.arange(n) % 20, "D")
    return pd.DataFrame(
        {
            "malt_id": grain["malt_id"].to_numpy(),
            "lot_id": grain["lot_id"].to_numpy(),
            "malted_on": kilned,
            "moisture_pct": rng.normal(4.5, 0.15, n).round(1),
            "extract_pct_dm": extract.clip(75.5, 82.5).round(1),
            "soluble_n_ratio_pct": rng.normal(40, 1.2, n).round(1),
            "friability_pct": rng.normal(92, 1.6, n).clip(88, 98).round(1),
            "fan_mg_l": rng.normal(160, 8, n).round(0),
            "predicted_lpa_t": (extract * ALCOHOL_PER_EXTRACT).round(0),
            "lab": "bench",
        }
    )


def _grist(rng: np.random.Generator, made: pd.DataFrame) -> np.ndarray:
    """Malt mashed, kg: what the wort holds over what the malt could give at 94 to 97 %."""
    held = made["wort_l"] * made["og_sg"] * plato(made["og_sg"]) / 100
    gives = made["extract_pct_dm"] / 100 * (1 - made["moisture_pct"] / 100)
    return (held / gives / rng.uniform(0.94, 0.97, len(made))).round(0).to_numpy()


def _mashes(rng: np.random.Generator, made: pd.DataFrame) -> pd.DataFrame:
    n = len(made)
    return pd.DataFrame(
        {
            "batch_id": made["batch_id"],
            "mash_no": 1,
            "malt_id": made["malt_id"],
            "mashed_at": made["pitched_at"] - pd.Timedelta(hours=9),
            "grist_kg": made["grist_kg"],
            "strike_temp_c": rng.normal(64.2, 0.3, n).round(1),
            "wort_l": made["wort_l"],
            "wort_sg": made["og_sg"],
            "wort_ph": rng.normal(5.35, 0.05, n).clip(5.1, 5.55).round(2),
            "run_off_h": rng.normal(4.6, 0.3, n).round(1),
        }
    )
