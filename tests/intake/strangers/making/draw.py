"""Drawn records: what truly happened, before any office writes it down its own way."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from random import Random

from .case import Row, Rows, pick

SEED = 2611
DAY_HOURS = (0, 8, 16, 24, 32, 40, 48, 60, 72)
FARMS = ("Quennick", "Over Tarrel", "Drumoskie", "Velthorn", "Sallowby", "Nether Yaxen")
VARIETIES = ("Ostrel", "Marrit", "Tessan")
ATTRIBUTES = ("cereal", "fruity", "floral", "sulphury", "feinty", "oily")
COMPOUNDS = ("Acetaldehyde", "Ethyl acetate", "n-Propanol", "Isobutanol", "Isoamyl alcohols")
USUAL = dict(zip(COMPOUNDS, (8.0, 26.0, 41.0, 78.0, 165.0), strict=True))


def source(case_id: str) -> Random:
    """The case's own stream of chance: a new case changes no other's rows."""
    return Random(f"{SEED}:{case_id}")


def numbered(pattern: str, first: int, count: int) -> list[str]:
    return [pattern.format(number) for number in range(first, first + count)]


def batches(r: Random, ids: Sequence[str], start: dt.datetime, every_h: float = 27.0) -> Rows:
    """One row of `fermentations` per batch, in four vessels by turns."""
    rows = []
    for at, batch_id in enumerate(ids):
        pitched = start + dt.timedelta(hours=every_h * at, minutes=r.randrange(0, 60))
        rows.append(
            {
                "batch_id": batch_id,
                "vessel": f"WB{at % 4 + 1}",
                "pitched_at": pitched.replace(second=0),
                "pitch_temp_c": round(r.uniform(19.2, 22.4), 1),
                "og_sg": round(r.uniform(1.058, 1.068), 4),
                "wort_l": r.randrange(7800, 8600, 10),
                "yeast_kg": r.randrange(19, 27),
            }
        )
    return rows


def curve(r: Random, batch: Row, hours: Iterable[float] = DAY_HOURS) -> Rows:
    """One row of `readings` per hour since pitch, with both `hours` and `read_at`."""
    middle, width, end = r.uniform(20, 26), r.uniform(4.5, 6.5), round(r.uniform(0.9975, 1.0005), 4)
    rows = []
    for hour in hours:
        left = 1 / (1 + math.exp((hour - middle) / width))
        warm = 11 * math.exp(-(((hour - middle - 4) / 17) ** 2))
        rows.append(
            {
                "batch_id": batch["batch_id"],
                "hours": hour,
                "read_at": batch["pitched_at"] + dt.timedelta(hours=hour),
                "sg": round(end + (batch["og_sg"] - end) * left, 4),
                "ph": round(4.15 + 1.1 * math.exp(-hour / 22), 2),
                "temp_c": round(batch["pitch_temp_c"] + warm, 1),
            }
        )
    return rows


def curves(r: Random, rows: Rows, hours: Iterable[float] = DAY_HOURS) -> Rows:
    hours = list(hours)
    return [reading for batch in rows for reading in curve(r, batch, hours)]


def of(rows: Rows, **wanted: object) -> Rows:
    """The rows that hold these values."""
    return [row for row in rows if all(row[key] == value for key, value in wanted.items())]


def stubs(rows: Rows) -> dict[str, Rows]:
    """Batches as parents: the least their links need."""
    return {"fermentations": pick(rows, "batch_id", "vessel", "pitched_at")}


def stub_batches(ids: Sequence[str], start: dt.datetime) -> dict[str, Rows]:
    return stubs(batches(source(ids[0]), ids, start))


def growers(count: int = 4) -> Rows:
    return [{"grower_id": f"G{at + 1:02d}", "farm_name": FARMS[at]} for at in range(count)]


def lots(r: Random, ids: Sequence[str], season: int, grower_count: int = 4) -> Rows:
    """One row of `lots` per field's harvest, grain figures and all."""
    rows = []
    for at, lot_id in enumerate(ids):
        area, rate = round(r.uniform(4, 18), 1), round(r.uniform(5.2, 7.9), 2)
        rows.append(
            {
                "lot_id": lot_id,
                "grower_id": f"G{at % grower_count + 1:02d}",
                "season": season,
                "field": r.choice(("Long", "Mill", "Kiln", "Upper")) + f" Hesk {at + 1}",
                "variety": r.choice(VARIETIES),
                "previous_crop": r.choice(("barley", "beans", "potatoes", "oilseed rape")),
                "sown_on": dt.date(season, 3, 14) + dt.timedelta(days=r.randrange(0, 30)),
                "harvested_on": dt.date(season, 8, 13) + dt.timedelta(days=r.randrange(0, 24)),
                "area_ha": area,
                "yield_t_ha": rate,
                "delivered_t": round(area * rate * 0.4, 2),
                "grain_n_pct_dm": round(r.uniform(1.36, 1.66), 2),
                "grain_moisture_pct": round(r.uniform(12.6, 16.4), 1),
                "screenings_pct": round(r.uniform(1.0, 4.8), 1),
                "thousand_grain_g": round(r.uniform(42, 50), 1),
                "germination_pct": round(r.uniform(97.2, 99.8), 1),
            }
        )
    return rows


def malts(r: Random, ids: Sequence[str], lot_ids: Sequence[str], first: dt.date) -> Rows:
    """One row of `malts` per malting batch, each of one lot."""
    rows = []
    for at, (malt_id, lot_id) in enumerate(zip(ids, lot_ids, strict=True)):
        grain = round(r.uniform(9, 24), 2)
        rows.append(
            {
                "malt_id": malt_id,
                "lot_id": lot_id,
                "grain_t": grain,
                "tonnes": round(grain * r.uniform(0.82, 0.85), 2),
                "malted_on": first + dt.timedelta(days=3 * at),
                "moisture_pct": round(r.uniform(4.1, 5.0), 1),
                "extract_pct_dm": round(r.uniform(79.0, 81.8), 1),
                "soluble_n_ratio_pct": round(r.uniform(37.5, 43.5), 1),
                "friability_pct": round(r.uniform(87, 96), 1),
                "fan_mg_l": r.randrange(142, 188),
                "diastatic_power": r.randrange(66, 98),
                "predicted_lpa_t": r.randrange(404, 426),
            }
        )
    return rows


def lot_stubs(ids: Sequence[str], season: int, grower_count: int = 4) -> dict[str, Rows]:
    """Growers and lots as parents: the least a malt's links need."""
    rows = lots(source(ids[0]), ids, season, grower_count)
    return {
        "growers": growers(grower_count),
        "lots": pick(rows, "lot_id", "grower_id", "season"),
    }


def runs(r: Random, rows: Rows) -> Rows:
    """One row of `spirits` per batch."""
    made = []
    for batch in rows:
        wash, strength = batch["wort_l"] - r.randrange(60, 180, 10), round(r.uniform(7.6, 8.8), 1)
        new_make = round(wash * strength / 70 * r.uniform(0.92, 0.97))
        made.append(
            {
                "batch_id": batch["batch_id"],
                "run_no": 1,
                "distilled_on": (batch["pitched_at"] + dt.timedelta(hours=98)).date(),
                "still": "S1",
                "wash_l": wash,
                "wash_abv_pct": strength,
                "new_make_l": new_make,
                "new_make_abv_pct": round(r.uniform(67.2, 70.4), 1),
                "cut_on_abv_pct": round(r.uniform(71.5, 73.5), 1),
                "cut_off_abv_pct": round(r.uniform(61.0, 65.0), 1),
            }
        )
    return made


def compounds(r: Random, ids: Iterable[str], names: Sequence[str] = COMPOUNDS) -> Rows:
    """One row of `congeners` per batch and compound."""
    return [
        {
            "batch_id": batch_id,
            "compound": name,
            "g_100l_aa": round(r.gauss(1, 0.12) * USUAL[name], 1),
        }
        for batch_id in ids
        for name in names
    ]


def scores(
    r: Random,
    tasting: Row,
    people: Sequence[str],
    samples: Sequence[str],
    attributes: Sequence[str] = ATTRIBUTES,
    replicates: int = 1,
    top: int = 10,
) -> Rows:
    """One row of `scores` per person, replicate, sample and attribute, each in an own order."""
    rows = []
    level = {(s, a): r.uniform(0.15, 0.8) * top for s in samples for a in attributes}
    for person in people:
        for replicate in range(1, replicates + 1):
            order = sorted(samples, key=lambda _: r.random())
            for sample in samples:
                for attribute in attributes:
                    drawn = round(r.gauss(level[sample, attribute], top * 0.12))
                    rows.append(
                        {
                            **tasting,
                            "assessor_id": person,
                            "batch_id": sample,
                            "replicate": replicate,
                            "position": order.index(sample) + 1 + len(samples) * (replicate - 1),
                            "attribute": attribute,
                            "score": min(top, max(0, drawn)),
                        }
                    )
    return rows
