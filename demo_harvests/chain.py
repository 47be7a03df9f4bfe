"""From field to yeast-in: growers, lots, malts, mashes, yeast and the plan of each batch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from .world import (
    FOUR_BATCH_GROWER,
    GROWERS,
    MIXED,
    SINGLE_BATCH_GROWER,
    TIME_ZONE,
    Fault,
    Grower,
)

MIXED_PLACE, SINGLE_PLACE, TWO_FIELD_PLACE = 9, 9, 26
"""Where in the season (batch number) the odd ones stand, away from every planted fault."""

BATCHES_PER_SEASON = 30


@dataclass(frozen=True)
class Batch:
    """One planned batch: where its barley came from and what the brewer set out to do."""

    batch_id: str
    season: int
    shares: Mapping[tuple[str, int], float]
    """(grower, field number) -> share of the grain; adds to 1."""
    pitched_at: pd.Timestamp
    vessel: str
    planned_h: float
    set_temp_c: float

    @property
    def grower_shares(self) -> dict[str, float]:
        total: dict[str, float] = {}
        for (grower_id, _), share in self.shares.items():
            total[grower_id] = total.get(grower_id, 0.0) + share
        return total


def plan_batches(rng: np.random.Generator, seasons: Sequence[int]) -> list[Batch]:
    """Thirty batches a season; length and set temperature drawn apart from one another."""
    planned = []
    for place, season in enumerate(seasons):
        origins = _origins(rng, place)
        count = len(origins)
        lengths = rng.permutation(np.linspace(96.0, 140.0, count).round())
        set_temps = rng.permutation(np.linspace(28.6, 30.8, count).round(1))
        pitched = _pitch_moments(rng, season, count)
        for index, shares in enumerate(origins):
            planned.append(
                Batch(
                    batch_id=f"Q{season % 100:02d}-{index + 1:02d}",
                    season=season,
                    shares=shares,
                    pitched_at=pitched[index],
                    vessel=f"W{index % 3 + 1}",
                    planned_h=float(lengths[index]),
                    set_temp_c=float(set_temps[index]),
                )
            )
    return planned


def _origins(rng: np.random.Generator, place: int) -> list[dict[tuple[str, int], float]]:
    """Whose barley each batch of a season is, in order of mashing."""
    ordinary: list[dict[tuple[str, int], float]] = []
    special: list[tuple[int, dict[tuple[str, int], float]]] = []
    for number, grower in enumerate(GROWERS, start=1):
        name = grower.grower_id
        if name == SINGLE_BATCH_GROWER:
            if place == 0:
                special.append((SINGLE_PLACE, {(name, 0): 1.0}))
        elif name == FOUR_BATCH_GROWER:
            ordinary.append({(name, 0): 1.0})
            if place % 2:
                special.append((TWO_FIELD_PLACE, {(name, 0): 0.5, (name, 1): 0.5}))
            else:
                ordinary.append({(name, 0): 1.0})
        elif (number + place) % 2 == 0:
            second_field = 1 if number % 4 in (1, 2) else 0
            ordinary += [{(name, 0): 1.0}, {(name, second_field): 1.0}]
        else:
            ordinary.append({(name, 0): 1.0})
    if place == 1:
        special.append((MIXED_PLACE, {(MIXED[0], 0): 0.6, (MIXED[1], 0): 0.4}))
    ordered = [ordinary[index] for index in rng.permutation(len(ordinary))]
    while len(ordered) + len(special) < BATCHES_PER_SEASON:  # later seasons lack the odd ones
        ordered.append(ordered[len(ordered) % 7])
    for at, shares in sorted(special, key=lambda pair: pair[0]):
        ordered.insert(at - 1, shares)
    return ordered


def _pitch_moments(rng: np.random.Generator, season: int, count: int) -> list[pd.Timestamp]:
    """From early October to late June, in working hours by the site's clock, as UTC."""
    first = pd.Timestamp(year=season, month=10, day=6)
    days = np.floor(np.arange(count) * 8.95)
    minutes = rng.integers(8 * 60, 17 * 60, count)
    local = [
        first + pd.Timedelta(days=int(day), minutes=int(minute))
        for day, minute in zip(days, minutes, strict=True)
    ]
    return [moment.tz_localize(TIME_ZONE).tz_convert("UTC") for moment in local]


def lot_id(season: int, grower_id: str, field: int) -> str:
    return f"L{season % 100:02d}-{grower_id[1:]}{'AB'[field]}"


def malt_id(batch: Batch) -> str:
    return f"M{batch.batch_id[1:]}"


def grower_sheet() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "grower_id": [grower.grower_id for grower in GROWERS],
            "farm_name": [grower.farm for grower in GROWERS],
            "region": [grower.region for grower in GROWERS],
            "soil": [grower.soil for grower in GROWERS],
            "grows_since": [grower.since for grower in GROWERS],
        }
    )


def lot_sheet(rng: np.random.Generator, batches: Sequence[Batch]) -> pd.DataFrame:
    """One row per field and harvest that went into a batch; season and grower both show in it."""
    by_id = {grower.grower_id: grower for grower in GROWERS}
    grower_n = dict(zip(by_id, rng.normal(0.0, 0.07, len(by_id)), strict=True))
    first = min(batch.season for batch in batches)
    used = sorted({(b.season, *origin) for b in batches for origin in b.shares})
    rows = []
    for season, grower_id, field in used:
        dry = (season - first) % 2
        nitrogen = 1.46 + grower_n[grower_id] + 0.07 * dry + rng.normal(0.0, 0.05)
        rows.append(_lot_row(rng, by_id[grower_id], season, field, dry, nitrogen))
    return pd.DataFrame(rows)


def _lot_row(
    rng: np.random.Generator, grower: Grower, season: int, field: int, dry: int, nitrogen: float
) -> dict[str, object]:
    area = rng.uniform(4.0, 18.0)
    grain_yield = rng.normal(6.9 - 0.5 * dry, 0.5)
    sown = pd.Timestamp(year=season, month=3, day=12) + pd.Timedelta(days=int(rng.integers(0, 35)))
    ripe = pd.Timestamp(year=season, month=8, day=8 - 5 * dry)
    return {
        "lot_id": lot_id(season, grower.grower_id, field),
        "grower_id": grower.grower_id,
        "season": season,
        "field": grower.fields[field],
        "variety": grower.variety,
        "soil": grower.soil,
        "previous_crop": str(rng.choice(["barley", "oats", "grass", "beans", "potatoes"])),
        "sown_on": sown,
        "harvested_on": ripe + pd.Timedelta(days=int(rng.integers(0, 24))),
        "area_ha": round(area, 1),
        "yield_t_ha": round(grain_yield, 2),
        "delivered_t": round(rng.uniform(11.2, 12.6), 1),
        "grain_n_pct_dm": round(nitrogen, 2),
        "grain_moisture_pct": round(rng.normal(13.7 - 0.4 * dry, 0.3), 1),
        "screenings_pct": round(abs(rng.normal(2.6 + dry, 0.9)), 1),
        "thousand_grain_g": round(rng.normal(46.5 - 1.5 * dry, 1.6), 1),
        "germination_pct": round(min(rng.normal(98.6, 0.6), 100.0), 1),
        "rain_mm": float(round(rng.normal(96 - 38 * dry, 11))),
        "mean_temp_c": round(rng.normal(13.9 + 1.3 * dry, 0.3), 1),
    }


def malt_sheet(
    rng: np.random.Generator, batches: Sequence[Batch], lots: pd.DataFrame
) -> pd.DataFrame:
    """A malting batch for each mash; extract falls as grain nitrogen rises."""
    nitrogen = lots.set_index("lot_id")["grain_n_pct_dm"]
    rows = []
    for batch in batches:
        parts = {lot_id(batch.season, *origin): share for origin, share in batch.shares.items()}
        mean_n = sum(nitrogen[lot] * share for lot, share in parts.items())
        extract = round(79.3 - 6.0 * (mean_n - 1.5) + rng.normal(0.0, 0.25), 1)
        fermentable = rng.normal(0.868, 0.003)
        analysis = {
            "moisture_pct": round(rng.normal(4.5, 0.2), 1),
            "extract_pct_dm": extract,
            "soluble_n_ratio_pct": round(rng.normal(40.5, 1.2), 1),
            "friability_pct": round(rng.normal(92.5 - 12 * (mean_n - 1.5), 1.2), 1),
            "fan_mg_l": float(round(rng.normal(160 + 60 * (mean_n - 1.5), 6))),
            "diastatic_power": float(round(rng.normal(82 + 40 * (mean_n - 1.5), 4))),
            # fermentable extract x 6.06: Bringhurst et al., J. Inst. Brew. 102 (1996) 433
            "predicted_lpa_t": float(round(extract * fermentable * 6.06)),
            "lab": "Vellisay maltings, small mash",
        }
        malted = day_of(batch.pitched_at) - pd.Timedelta(days=int(rng.integers(18, 29)))
        for lot, share in parts.items():
            grain = round(5.5 * share, 2)
            made = round(grain * 0.835, 2)
            rows.append(
                {"malt_id": malt_id(batch), "lot_id": lot, "grain_t": grain, "tonnes": made}
                | {"malted_on": malted}
                | analysis
            )
    return pd.DataFrame(rows)


def yeast_sheet(
    rng: np.random.Generator, batches: Sequence[Batch], faults: Sequence[Fault]
) -> tuple[pd.DataFrame, dict[str, str]]:
    """Pressed yeast every nine days or so; also which delivery each batch was given."""
    old = {fault.batch_id for fault in faults if fault.kind == "old_yeast"}
    rows, given = [], {}
    for number, batch in enumerate(batches, start=1):
        delivery = f"Y{number:03d}"
        given[batch.batch_id] = delivery
        age = 26 if batch.batch_id in old else int(rng.integers(2, 10))
        made = day_of(batch.pitched_at) - pd.Timedelta(days=age)
        rows.append(
            {
                "delivery_id": delivery,
                "strain": "V-17",
                "form": "pressed",
                "made_on": made,
                "delivered_on": made + pd.Timedelta(days=1),
                "viability_pct": 68.0 if batch.batch_id in old else round(rng.normal(95, 1.2), 1),
                "storage_temp_c": 8.5 if batch.batch_id in old else round(rng.normal(4.0, 0.3), 1),
            }
        )
    return pd.DataFrame(rows), given


def day_of(moment: pd.Timestamp) -> pd.Timestamp:
    """The day by the site's clock."""
    return moment.tz_convert(TIME_ZONE).tz_localize(None).normalize()
