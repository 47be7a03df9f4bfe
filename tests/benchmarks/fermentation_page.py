"""How long the fermentations page takes with a batch logged 200,000 times, and what it sends.

    python -m tests.benchmarks.fermentation_page

Prints seconds and kilobytes; ends with 1 if a promise is broken.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd

from origin_compare import ask, figures, load_folder
from origin_compare.places import demo_folder
from origin_compare.season.season import Season

BATCH = "Q25-06"
OTHERS = ("Q25-14", "Q25-21")
POINTS = 200_000
OPENED_S = 0.5
DRAWN_S = 0.5
SENT_KB = 1500.0


def logged_by_the_second(season: Season, batch_id: str = BATCH, points: int = POINTS) -> Season:
    """The season with one batch's probe log drawn out to `points` readings, noise and all."""
    log = season.sheets["readings"]
    mine = log["batch_id"].astype(str) == batch_id
    own = log[mine].sort_values("hours")
    rng = np.random.default_rng(5)
    hours = np.linspace(0.0, float(own["hours"].max()), points)
    dense = pd.DataFrame({"hours": hours, "batch_id": batch_id, "instrument": "probe"})
    for name, noise in (("sg", 0.0004), ("temp_c", 0.1), ("cooling_pct", 0.0)):
        seen = own[own[name].notna()]
        dense[name] = np.interp(hours, seen["hours"], seen[name]) + rng.normal(0, noise, points)
    begun = (own["read_at"] - pd.to_timedelta(own["hours"], unit="h")).iloc[0]
    dense["read_at"] = (begun + pd.to_timedelta(hours, unit="h")).astype(log["read_at"].dtype)
    by_hand = own[own["ph"].notna()].assign(sg=np.nan, temp_c=np.nan, cooling_pct=np.nan)
    table = pd.concat([log[~mine], by_hand, dense], ignore_index=True)[list(log.columns)]
    return replace(season, sheets={**season.sheets, "readings": table})


def once(work: Callable[[], object]) -> tuple[float, object]:
    start = time.perf_counter()
    made = work()
    return time.perf_counter() - start, made


def measured(season: Season) -> dict[str, float]:
    """Seconds and kilobytes by what they are of."""
    asked = ask(season)
    out = {"season judged, s": once(lambda: asked.judged)[0]}
    out["verdicts, s"] = once(lambda: asked.departures)[0]
    out["running batches ahead, s"] = once(lambda: asked.watch)[0]
    out["another batch opened, s"] = once(lambda: asked.batch(OTHERS[0]))[0]
    out["long batch opened, s"], opened = once(lambda: asked.batch(BATCH))
    out["its table, s"], table = once(opened.readings)  # type: ignore[attr-defined]
    out["its table, rows"] = float(len(table))  # type: ignore[arg-type]
    out["its figure drawn, s"], drawn = once(lambda: figures.batch(opened))  # type: ignore[arg-type]
    out["its figure sent, kB"] = len(drawn.to_json()) / 1000  # type: ignore[attr-defined]
    out["three side by side, s"], beside = once(lambda: asked.side_by_side([BATCH, *OTHERS]))
    seconds, drawn = once(lambda: figures.side_by_side(beside))  # type: ignore[arg-type]
    out["side by side drawn, s"] = seconds
    out["side by side sent, kB"] = len(drawn.to_json()) / 1000  # type: ignore[attr-defined]
    return out


def main() -> int:
    season = load_folder(demo_folder())
    print("demo season as it is")
    short = measured(season)
    print("\n".join(f"  {name:28s}{value:10.2f}" for name, value in short.items()))
    print(f"{BATCH} with {POINTS:,} readings")
    long = measured(logged_by_the_second(season))
    print("\n".join(f"  {name:28s}{value:10.2f}" for name, value in long.items()))
    kept = (
        short["long batch opened, s"] < OPENED_S
        and short["another batch opened, s"] < OPENED_S
        and long["another batch opened, s"] < OPENED_S
        and long["its figure drawn, s"] < DRAWN_S
        and long["its figure sent, kB"] < SENT_KB
        and long["side by side sent, kB"] < SENT_KB
    )
    print("promises kept" if kept else "A PROMISE IS BROKEN")
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
