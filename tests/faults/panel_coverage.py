"""Do the panel's 95 % intervals hold the truth 95 times in 100? Invented panels, truth known.

    python -m tests.faults.panel_coverage            # 600 panels per layout, a quarter of an hour
    python -m tests.faults.panel_coverage 100        # quicker, rougher

Prints, per layout: the coverage of the interval of each batch's level and of its distance from
the mean batch; then, of panels that taste identical batches on six attributes, how often a single
test falls below 5 %, and in how many panels any attribute is called told apart, as the page says
it (adjusted for the six). Exits 1 when a coverage lies outside 93 to 97 %.
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


def false_alarms(seed: int, layout: Mapping[str, object]) -> tuple[float, bool]:
    """Share of tests below 5 % and whether any attribute is told apart, batches identical."""
    sds = {**layout.get("sds", SDS), "batch": 0.0}  # type: ignore[dict-item]
    scores, _ = panel(seed, **{**layout, "sds": sds, "attributes": 6})  # type: ignore[arg-type]
    profile = adjusted(scores)
    return float(np.mean([one.p < 0.05 for one in profile.verdicts])), bool(profile.told)


def study(panels: int) -> pd.DataFrame:
    names = ["layout", "panels", "level", "distance", "p_below_5_pct", "told_apart"]
    rows = []
    for name, layout in LAYOUTS.items():
        shares = np.array([one(seed, layout) for seed in range(panels)])
        alarms = np.array([false_alarms(10_000 + seed, layout) for seed in range(panels)])
        rows.append((name, panels, *shares.mean(axis=0), *alarms.mean(axis=0)))
        print(pd.DataFrame(rows[-1:]).to_string(header=False, index=False), flush=True)
    return pd.DataFrame(rows, columns=names)


if __name__ == "__main__":
    found = study(int(sys.argv[1]) if len(sys.argv) > 1 else 600)
    print(found.round(3).to_string(index=False))
    covered = found[["level", "distance"]]
    sys.exit(int(((covered < 0.93) | (covered > 0.97)).any().any()))
