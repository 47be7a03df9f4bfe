"""A season of a fermentation house with planted faults: sheets in the program's columns, truth.

    made = season(7, batches=60, style="long")
    write(made, "folder")              # plain CSV sheets and the house's rules

The sheets hold what a distillery would have; the truth stands beside them and is never written.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from tests.faults.worlds import house
from tests.faults.worlds.faults import EVERY_VESSEL, KINDS, Bias, Planted, aged, plant, usual
from tests.faults.worlds.field import chain, shares_out
from tests.faults.worlds.physics import Batch, course
from tests.faults.worlds.recording import minute_log, write_down

__all__ = ["EVERY_VESSEL", "KINDS", "Bias", "Vessels", "running", "season", "write"]

ETHANOL_G_ML = 0.7893
SHOWS = {"sg": 0.003, "ph": 0.12, "temp_c": 1.0}
"""How far from its faultless twin a course is when it can be seen at all."""
BENCH_SHARE = 0.6


@dataclass(frozen=True, slots=True)
class Vessels:
    """`sheets` by name in the program's columns; `truth`, one row per batch; the house's style.

    `truth` has `batch_id`, `vessel`, `kind` ("none" without a fault), `where`, `onset_h` (when it
    began), `shows_h` (when its course could first be told from its faultless twin's), `size`,
    `bias` (of the vessel's instruments), `slips`, `end_sg`, `end_ph`, `level_h`, `peak_temp_c`,
    `length_h`, `limit_sg`.
    """

    sheets: dict[str, pd.DataFrame]
    truth: pd.DataFrame
    style: house.Style
    courses: Mapping[str, pd.DataFrame]

    def __iter__(self) -> Iterator[object]:
        return iter((self.sheets, self.truth))


def season(
    seed: int,
    batches: int = 60,
    style: str = "long",
    faults: Mapping[str, float] | None = None,
    biases: Sequence[Bias] = (),
    minute_logs: int = 0,
) -> Vessels:
    """One season of a house. `faults` gives the share of batches by kind (None: the usual quarter).

    `minute_logs` batches, faulty ones first, carry a probe's log beside the hand readings.
    """
    rng = np.random.default_rng(seed)
    manner = house.STYLES[style]
    yeast = house.deliveries(rng)
    meant = house.cards(rng, batches, manner, yeast)
    planted = plant(rng, meant, manner, usual(manner) if faults is None else faults)
    cards = [planted[c.batch_id].card if c.batch_id in planted else c for c in meant]
    courses = {card.batch_id: course(card.batch) for card in cards}
    logged = [*planted, *(c.batch_id for c in cards if c.batch_id not in planted)][:minute_logs]
    readings, slips = [], {}
    for number, card in enumerate(cards, 1):
        touching = [(b, b.share(number, batches)) for b in biases if b.touches(card.vessel)]
        fault, own = planted.get(card.batch_id), courses[card.batch_id]
        written = write_down(rng, card, own, manner, fault, touching)
        readings.append(written.readings)
        slips[card.batch_id] = written.slips
        if card.batch_id in logged:
            readings.append(minute_log(rng, card, own, fault))
    sheet, old = aged(yeast.sheet, planted)
    cards = [replace(c, delivery_id=old.get(c.batch_id, c.delivery_id)) for c in cards]
    sheets = _sheets(rng, cards, courses)
    sheets |= {"yeasts": sheet, "readings": pd.concat(readings, ignore_index=True)}
    truth = _truth(cards, meant, planted, courses, biases, batches)
    return Vessels(sheets, truth.assign(slips=truth["batch_id"].map(slips)), manner, courses)


def _sheets(
    rng: np.random.Generator, cards: Sequence[house.Card], courses: Mapping[str, pd.DataFrame]
) -> dict[str, pd.DataFrame]:
    fermentations = pd.DataFrame([_row(rng, card) for card in cards])
    dealt = shares_out(rng, len(cards), min(12, len(cards)), 1, 0.3)
    about = fermentations[["batch_id", "pitched_at", "wort_l", "og_sg"]]
    origin = chain(rng, about, dealt, house.YEAR_FROM.year)
    bench = rng.random(len(cards)) < BENCH_SHARE
    tests = [
        {
            "batch_id": card.batch_id,
            "tested_on": card.pitched_at.normalize() + pd.Timedelta(days=1),
            "limit_sg": round(card.batch.wort.limit_sg + rng.normal(0, 0.0003), 4),
            "test_h": 24,
            "test_temp_c": 30,
        }
        for card, kept in zip(cards, bench, strict=True)
        if kept
    ]
    spirits = [_spirit(rng, card, courses[card.batch_id]) for card in cards]
    return {
        **origin.sheets,
        "fermentations": fermentations,
        "attenuations": pd.DataFrame(tests),
        "spirits": pd.DataFrame(spirits),
    }


def _row(rng: np.random.Generator, card: house.Card) -> dict[str, object]:
    length = pd.Timedelta(hours=card.batch.length_h)
    return {
        "batch_id": card.batch_id,
        "vessel": card.vessel,
        "pitched_at": card.pitched_at.round("min"),
        "pitch_temp_c": round(card.batch.pitch.temp_c + rng.normal(0, 0.1), 1),
        "wort_l": card.wort_l,
        "og_sg": round(card.batch.wort.og_sg + rng.normal(0, 0.0003), 4),
        "yeast_kg": card.yeast_kg,
        "delivery_id": card.delivery_id,
        "ended_at": (card.pitched_at + length).round("min"),
        "planned_h": round(card.batch.length_h),
    }


def _spirit(rng: np.random.Generator, card: house.Card, run: pd.DataFrame) -> dict[str, object]:
    strength = run["ethanol_g_l"].iloc[-1] / ETHANOL_G_ML / 10
    recovered = card.wort_l * strength / 100 * rng.normal(0.965, 0.006)
    made_at = round(rng.normal(68.5, 0.4), 1)
    return {
        "batch_id": card.batch_id,
        "run_no": 1,
        "distilled_on": (
            card.pitched_at + pd.Timedelta(hours=card.batch.length_h + 30)
        ).normalize(),
        "still": "spirit 1",
        "wash_l": card.wort_l,
        "wash_abv_pct": round(strength, 2),
        "new_make_l": round(recovered / made_at * 100, 1),
        "new_make_abv_pct": made_at,
        "cut_on_abv_pct": round(rng.normal(73.5, 0.3), 1),
        "cut_off_abv_pct": round(rng.normal(63.5, 0.5), 1),
    }


def _truth(
    cards: Sequence[house.Card],
    meant: Sequence[house.Card],
    planted: Mapping[str, Planted],
    courses: Mapping[str, pd.DataFrame],
    biases: Sequence[Bias],
    batches: int,
) -> pd.DataFrame:
    rows = []
    for number, (card, twin) in enumerate(zip(cards, meant, strict=True), 1):
        run, fault = courses[card.batch_id], planted.get(card.batch_id)
        touching = [b.name() for b in biases if b.touches(card.vessel) and b.share(number, batches)]
        rows.append(
            {
                "batch_id": card.batch_id,
                "vessel": card.vessel,
                **_fault_row(fault, run, twin.batch),
                "bias": ", ".join(touching),
                "end_sg": run["sg"].iloc[-1],
                "end_ph": run["ph"].iloc[-1],
                "level_h": _level(run),
                "peak_temp_c": run["temp_c"].max(),
                "length_h": card.batch.length_h,
                "limit_sg": card.batch.wort.limit_sg,
            }
        )
    return pd.DataFrame(rows)


def _fault_row(fault: Planted | None, run: pd.DataFrame, twin: Batch) -> dict[str, object]:
    if fault is None:
        return {"kind": "none", "where": "", "onset_h": np.nan, "shows_h": np.nan, "size": np.nan}
    shows = _first_seen(fault, run, twin)
    onset = shows if fault.kind == "no lactic fall" else fault.onset_h
    return {
        "kind": fault.kind,
        "where": fault.where,
        "onset_h": onset,
        "shows_h": shows,
        "size": fault.size,
    }


def _first_seen(fault: Planted, run: pd.DataFrame, twin: Batch) -> float:
    """Hour at which what is read first lies further from the twin's course than `SHOWS`."""
    should = course(twin)
    apart = np.zeros(len(run), dtype=bool)
    for channel, far in SHOWS.items():
        known = np.interp(run["hours"] - fault.clock_h, run["hours"], run[channel])
        off = known - np.interp(run["hours"], should["hours"], should[channel])
        if fault.misreading is not None and fault.misreading.channel == channel:
            off = off + fault.misreading.off(run["hours"].to_numpy())
        apart |= np.abs(off) > far
    return float(run["hours"].to_numpy()[apart][0]) if apart.any() else np.nan


def _level(run: pd.DataFrame) -> float:
    """First hour within half a degree of where the gravity ends."""
    return float(run["hours"][run["sg"] <= run["sg"].iloc[-1] + 0.0005].iloc[0])


def running(made: Vessels, at_h: Mapping[str, float]) -> Vessels:
    """The same season with some batches seen only up to an hour, still in their vessels."""
    sheets = {name: sheet.copy() for name, sheet in made.sheets.items()}
    cards = sheets["fermentations"].set_index("batch_id")
    readings = sheets["readings"]
    since = readings["read_at"] - readings["batch_id"].map(cards["pitched_at"])
    last = readings["batch_id"].map(at_h).astype(float)
    sheets["readings"] = readings[~(since.dt.total_seconds() / 3600 > last)]
    unended = sheets["fermentations"]["batch_id"].isin(list(at_h))
    sheets["fermentations"].loc[unended, "ended_at"] = pd.NaT
    for name in ("spirits", "attenuations"):
        sheets[name] = sheets[name][~sheets[name]["batch_id"].isin(list(at_h))]
    return replace(made, sheets=sheets)


def write(made: Vessels, folder: str | Path) -> None:
    """Plain CSV sheets and `house_rules.toml` in `folder`, which is made if need be."""
    from tests.faults.worlds.paper import write_rules, write_sheets

    write_sheets(made.sheets, folder)
    write_rules(made.style.windows, folder)
