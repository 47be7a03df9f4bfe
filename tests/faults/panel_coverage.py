"""Do the panel's 95 % intervals hold the truth 95 times in 100? Invented panels, truth known.

    python -m tests.faults.panel_coverage            # 600 panels per layout, some ten minutes
    python -m tests.faults.panel_coverage 100        # quicker, rougher

Prints, per layout: the coverage of the interval of each batch's level and of its distance from
the mean batch, and how often a panel that tastes identical batches is said to tell them apart.
Exits 1 when a coverage lies outside 93 to 97 %.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.panel import adjusted
from tests.panel.invented import SDS, panel

LAYOUTS: Mapping[str, dict[str, object]] = {
    "balanced, one tasting": {
        "batches": 6,
        "assessors": 8,
        "control": False,
        "sds": {**SDS, "tasting": 0.0, "assessor:tasting": 0.0},
    },
    "three tastings, control": {"batches": 15, "assessors": 8, "per_tasting": 5},
    "visits missed": {"batches": 15, "assessors": 10, "per_tasting": 5, "missing": 0.2},
    "one replicate": {"batches": 12, "assessors": 8, "replicates": 1},
    "four assessors": {"batches": 12, "assessors": 4},
    "hardly any disagreement": {
        "batches": 12,
        "assessors": 8,
        "sds": {**SDS, "assessor:batch": 0.1, "assessor:tasting": 0.05},
    },
    "eight tastings, no control": {
        "batches": 40,
        "assessors": 8,
        "per_tasting": 5,
        "control": False,
    },
}


def one(seed: int, layout: Mapping[str, object]) -> tuple[float, float]:
    """Share of batches whose level, and whose distance from the mean, lies in its interval."""
    scores, truth = panel(seed, **layout)  # type: ignore[arg-type]
    table = adjusted(scores).table().set_index("batch_id")
    true = truth["attribute 1"].loc[table.index]
    level = table["low"].le(true) & true.le(table["high"])
    off = (table["estimate"] - true) - (table["estimate"] - true).mean()
    reach = stats.t.ppf(0.975, table["df_compare"]) * table["se_compare"]
    return float(level.mean()), float(off.abs().le(reach).mean())


def false_alarm(seed: int, layout: Mapping[str, object]) -> bool:
    """Whether a panel tasting identical batches is said to tell them apart."""
    sds = {**layout.get("sds", SDS), "batch": 0.0}  # type: ignore[dict-item]
    scores, _ = panel(seed, **{**layout, "sds": sds})  # type: ignore[arg-type]
    return adjusted(scores).verdicts[0].p < 0.05


def study(panels: int) -> pd.DataFrame:
    rows = []
    for name, layout in LAYOUTS.items():
        shares = np.array([one(seed, layout) for seed in range(panels)])
        alarms = np.mean([false_alarm(10_000 + seed, layout) for seed in range(panels)])
        rows.append((name, panels, *shares.mean(axis=0), alarms))
        print(pd.DataFrame(rows[-1:]).to_string(header=False, index=False), flush=True)
    return pd.DataFrame(rows, columns=["layout", "panels", "level", "distance", "false_alarms"])


if __name__ == "__main__":
    found = study(int(sys.argv[1]) if len(sys.argv) > 1 else 600)
    print(found.round(3).to_string(index=False))
    covered = found[["level", "distance"]]
    sys.exit(int(((covered < 0.93) | (covered > 0.97)).any().any()))
