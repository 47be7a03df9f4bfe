"""Do the forecast's 90 % intervals hold 90 times in 100? Past batches replayed reading by reading.

python -m tests.faults.forecast_replay [SEASONS]

Each simulated season has 44 good batches; every one is forecast, without itself, as it stood at
several hours. Then the demo's own batches. Exits 1 when a pooled coverage of the simulated
seasons lies outside 86 to 94 %.
"""

from __future__ import annotations

import sys

import pandas as pd

from origin_compare import load_folder
from origin_compare.fermentation import judge_season, replay
from origin_compare.house import default_rules
from origin_compare.places import demo_folder
from origin_compare.records.season import Season
from tests.fermentation.simulated import Plant, season_of

HOURS = (16.0, 24.0, 32.0, 48.0, 72.0, 96.0)
LEAST, MOST = 0.86, 0.94


def replayed(season: Season) -> pd.DataFrame:
    judged = judge_season(season, default_rules())
    return pd.concat([replay(judged, hour).assign(at_h=hour) for hour in HOURS])


def coverage(played: pd.DataFrame) -> pd.DataFrame:
    """Share inside per hour, the number of forecasts beside."""
    by_hour = played.groupby("at_h")
    shares = by_hour[["sg_inside", "ph_inside"]].mean()
    return shares.assign(forecasts=by_hour.size()).round(3)


def main(seasons: int) -> int:
    simulated = pd.concat(
        [replayed(season_of(9000 + seed, [Plant()] * 44)) for seed in range(seasons)]
    )
    print(coverage(simulated).to_string())
    pooled = simulated[["sg_inside", "ph_inside"]].mean()
    print(f"all hours: gravity {pooled['sg_inside']:.3f}, pH {pooled['ph_inside']:.3f}")
    print("demo:")
    print(coverage(replayed(load_folder(demo_folder()))).to_string())
    held = bool(pooled.between(LEAST, MOST).all())
    print("every promise kept" if held else f"outside {LEAST:.0%} to {MOST:.0%}")
    return 0 if held else 1


if __name__ == "__main__":
    raise SystemExit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 12))
