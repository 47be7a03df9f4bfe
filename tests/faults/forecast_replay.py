"""Do the forecast's 90 % intervals hold 90 times in 100? Past batches replayed reading by reading.

python -m tests.faults.forecast_replay [SEASONS]

The house is learned from a simulated season of 44 good batches and 11 with a fault, chosen by the
package itself; the batches foreseen come from another season, so that no history holds the batch
replayed. Then the demo's own sound batches, in six parts, each foreseen by a house learned from
the rest. Batches that by their own readings so far have left the band get no forecast and are
counted (`left`). Exits 1 when a pooled coverage of the simulated seasons lies outside 86 to 94 %.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from origin_compare import load_folder
from origin_compare.fermentation import Judged, judge_season
from origin_compare.fermentation.doubtful_readings import set_aside, without
from origin_compare.fermentation.forecast import end_interval
from origin_compare.fermentation.house.judging import judge
from origin_compare.fermentation.logs import GRAVITY, PH, Log, logs
from origin_compare.house import default_rules
from origin_compare.places import demo_folder
from origin_compare.season.season import Season
from tests.fermentation.simulated import FAULTS, Plant, draw_plant, season_of

HOURS = (24.0, 48.0, 72.0, 96.0)
LEAST, MOST = 0.86, 0.94
GOOD, BAD, FRESH, PARTS = 44, 11, 14, 6


def history(seed: int) -> Season:
    rng = np.random.default_rng([seed, 7])
    plants = [Plant() for _ in range(GOOD)]
    plants += [draw_plant(rng, fault) for fault in rng.choice(FAULTS, BAD, replace=False)]
    rng.shuffle(plants)  # type: ignore[arg-type]
    return season_of(seed, plants)


def foreseen(judged: Judged, season: Season, names: Sequence[str]) -> pd.DataFrame:
    """One row per batch of `names` and hour: was its end inside what was foreseen then?"""
    whole = _logs(season, np.inf)
    kind = max(judged.houses, key=lambda one: len(judged.houses[one].examples))
    rows = []
    for at_h in HOURS:
        for name, then in _logs(season, at_h).items():
            if name not in names:
                continue
            found = judge(judged.houses[kind], then)
            row = {"at_h": at_h, "left": found.left}
            for channel, word in ((GRAVITY, "sg"), (PH, "ph")):
                low, high = end_interval(judged.ahead[kind], found.log, whole[name], channel)
                last = whole[name].values[whole[name].channel == channel][-1]
                row |= {f"{word}_inside": float(low <= last <= high), f"{word}_wide": high - low}
            rows.append(row)
    return pd.DataFrame(rows)


def _logs(season: Season, until_h: float) -> dict[str, Log]:
    readings = season.sheets["readings"]
    readings = readings.loc[readings["hours"] <= until_h]
    return logs(without(readings, set_aside(readings)), season.batches)


def on_simulated(seed: int) -> pd.DataFrame:
    judged = judge_season(history(seed))
    fresh = season_of(seed + 500, [Plant()] * FRESH)
    return foreseen(judged, fresh, list(fresh.batches["batch_id"]))


def on_demo() -> pd.DataFrame:
    """The demo's sound batches, each part foreseen by a house learned without it."""
    season = replace(load_folder(demo_folder()), rules=default_rules())
    truth = json.loads((demo_folder().parent / "truth.json").read_text(encoding="utf-8"))
    odd = {one["batch_id"] for one in truth["faults"]}
    ended = season.batches.loc[season.batches["status"] != "fermenting", "batch_id"].astype(str)
    played = []
    for part in range(PARTS):
        out = list(ended)[part::PARTS]
        rest = ~season.batches["batch_id"].isin(out)
        readings = season.sheets["readings"]
        kept = readings.loc[~readings["batch_id"].isin(out)].reset_index(drop=True)
        without_part = replace(
            season,
            batches=season.batches.loc[rest].reset_index(drop=True),
            sheets={**season.sheets, "readings": kept},
        )
        judged = judge_season(without_part)
        played.append(foreseen(judged, season, [name for name in out if name not in odd]))
    return pd.concat(played)


def coverage(played: pd.DataFrame) -> pd.DataFrame:
    """By hour: forecasts made, share inside, middle width, share of batches that had left."""
    made = played.loc[~played["left"]].groupby("at_h")
    shares = made[["sg_inside", "ph_inside"]].mean()
    widths = made[["sg_wide", "ph_wide"]].median()
    left = played.groupby("at_h")["left"].mean()
    return shares.join(widths).assign(forecasts=made.size(), left=left).round(3)


def main(seasons: int) -> int:
    simulated = pd.concat([on_simulated(9100 + seed) for seed in range(seasons)])
    print(coverage(simulated).to_string())
    pooled = simulated.loc[~simulated["left"], ["sg_inside", "ph_inside"]].mean()
    print(f"all hours: gravity {pooled['sg_inside']:.3f}, pH {pooled['ph_inside']:.3f}")
    print("demo:")
    print(coverage(on_demo()).to_string())
    held = bool(pooled.between(LEAST, MOST).all())
    print("every promise kept" if held else f"outside {LEAST:.0%} to {MOST:.0%}")
    return 0 if held else 1


if __name__ == "__main__":
    raise SystemExit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 20))
