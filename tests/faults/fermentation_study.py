"""Plant every fault in simulated seasons and count what `departures` makes of them.

    python -m tests.faults.fermentation_study --seasons 30 --seed 1 [--minutes] [--size 0.5]

Seasons hold 44 good batches and 11 with a fault drawn in turn (one in five: more than any house
would bear), at random hours and of random size, read every eight hours by hand or every minute
by probe. Printed: share found, false alarms per 100 good batches, share of departures whose hour
lies inside the interval stated, and how often the true cause is named first or in the first three.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.fermentation import departures
from origin_compare.fermentation.departures.signatures import (
    CHILLED,
    CLOCK,
    DRIFTS,
    EARLY_LACTIC,
    FROZEN_GRAVITY,
    HOT,
    LESS_FERMENTABLE,
    OFFSETS,
    OVER_PITCH,
    POOR_YEAST,
    SLOW_LAG,
    STUCK,
    UNCORRECTED,
    WILD,
)
from tests.fermentation.simulated import FAULTS, Plant, draw_plant, season_of

CAUSE = {
    "slow lag": SLOW_LAG,
    "stuck": STUCK,
    "poor fermentability": LESS_FERMENTABLE,
    "poor yeast": POOR_YEAST,
    "over-pitch": OVER_PITCH,
    "hot": HOT,
    "cooling stuck": CHILLED,
    "early lactic": EARLY_LACTIC,
    "wild yeast": WILD,
    "gravity offset": OFFSETS[0],
    "gravity drift": DRIFTS[0],
    "gravity frozen": FROZEN_GRAVITY,
    "temperature offset": OFFSETS[2],
    "temperature drift": DRIFTS[2],
    "pH drift": DRIFTS[1],
    "clock": CLOCK,
    "uncorrected": UNCORRECTED,
    "wrong reading": "",
}
FROM_THE_PITCH = {"slow lag", "poor fermentability", "poor yeast", "over-pitch", "clock"}


@dataclass
class Tally:
    """One row per planted fault, and counts over good batches."""

    rows: list[dict]
    good: int = 0
    alarms: int = 0
    good_aside: int = 0


def run_season(
    tally: Tally, seed: int, minutes: bool, good: int, faults: list[str], size: float
) -> None:
    rng = np.random.default_rng([seed, 7])
    plants = [Plant() for _ in range(good)] + [draw_plant(rng, fault, size) for fault in faults]
    rng.shuffle(plants)  # type: ignore[arg-type]
    season = season_of(seed, plants, minutes)
    for plant, one in zip(plants, departures(season), strict=True):
        if not plant.fault:
            tally.good += 1
            tally.alarms += one.status == "left"
            tally.good_aside += len(one.aside)
            continue
        names = [cause.name for cause in one.causes]
        found = one.status == "left"
        inside = one.from_h <= plant.onset_h <= one.to_h
        if plant.fault == "wrong reading":
            hits = [a for a in one.aside if abs(a.hours - plant.onset_h) < 0.51]
            found = bool(hits) and one.status != "left"
            inside, names = True, [""] if found else ["?"]
        tally.rows.append(
            {
                "fault": plant.fault,
                "found": found,
                "inside": bool(inside) if found else np.nan,
                "width_h": one.to_h - one.from_h if found else np.nan,
                "first": names[:1] == [CAUSE[plant.fault]] if found else np.nan,
                "in_three": CAUSE[plant.fault] in names[:3] if found else np.nan,
                "wrongly_named": found and one.named not in ("cannot tell", CAUSE[plant.fault], ""),
                "said": names[0] if names and found else "",
                "onset_h": plant.onset_h,
                "size": plant.size,
            }
        )


def study(
    seasons: int, seed: int, minutes: bool, size: float = 1.0, good: int = 44, bad: int = 11
) -> Tally:
    tally, turn = Tally([]), 0
    for season in range(seasons):
        faults = [FAULTS[(turn + at) % len(FAULTS)] for at in range(bad)]
        turn += bad
        run_season(tally, seed + season, minutes, good, faults, size)
    return tally


def report(tally: Tally) -> pd.DataFrame:
    rows = pd.DataFrame(tally.rows)
    columns = ["found", "inside", "first", "in_three", "wrongly_named"]
    rows[columns] = rows[columns].astype(float)
    by = rows.groupby("fault", sort=False)
    table = by[columns].mean().mul(100).round(0)
    table.insert(0, "planted", by.size())
    table["width_h"] = by["width_h"].median().round(0)
    others = rows.loc[rows["found"] == 1].loc[lambda f: f["first"] == 0]
    table["taken_for"] = others.groupby("fault")["said"].agg(
        lambda said: ", ".join(f"{k} x{v}" for k, v in said.value_counts().head(2).items())
    )
    return table


def summary(tally: Tally) -> dict[str, float]:
    rows = pd.DataFrame(tally.rows)
    logs = rows.loc[rows["fault"] != "wrong reading"]
    begun = logs.loc[~logs["fault"].isin(FROM_THE_PITCH)]
    return {
        "planted": len(rows),
        "found_pct": 100 * rows["found"].mean(),
        "false_alarms_per_100": 100 * tally.alarms / tally.good,
        "aside_per_100_good": 100 * tally.good_aside / tally.good,
        "hour_inside_pct": 100 * begun["inside"].astype(float).mean(),
        "hour_width_h": float(begun["width_h"].median()),
        "cause_first_pct": 100 * logs["first"].astype(float).mean(),
        "cause_in_three_pct": 100 * logs["in_three"].astype(float).mean(),
        "named_wrongly_pct": 100 * logs["wrongly_named"].mean(),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", action="store_true")
    parser.add_argument("--size", type=float, default=1.0, help="share of the usual sizes")
    asked = parser.parse_args()
    tally = study(asked.seasons, asked.seed, asked.minutes, asked.size)
    with pd.option_context("display.width", 200, "display.max_colwidth", 90):
        print(report(tally).to_string())
    for name, value in summary(tally).items():
        print(f"{name:24s}{value:8.1f}")


if __name__ == "__main__":
    main()
