"""Is the smallest gap that `smallest_gap` promises really seen four times in five?

    python -m tests.faults.panel_power          # 400 invented panels, about a minute

Two batches are put apart by exactly that gap; the share of panels whose test finds it is printed.
Exits 1 when it lies further than three standard errors from 80 %.
"""

from __future__ import annotations

import sys

import numpy as np

from origin_compare.panel import adjusted, gap, smallest_gap
from tests.panel.invented import SDS, panel

SPREAD = {**SDS, "tasting": 0.0, "assessor:tasting": 0.0, "assessor:batch": 0.5}


def seen(seed: int, size: float) -> bool:
    """Whether one panel of 8 finds a gap of that size between two of 5 batches."""
    scores, truth = panel(seed, batches=5, assessors=8, per_tasting=5, control=False, sds=SPREAD)
    true = truth["attribute 1"]
    shift = size - (true["B001"] - true["B002"])
    scores.loc[scores["batch_id"].eq("B001"), "score"] += shift
    found = gap(adjusted(scores.assign(position=np.nan)), "B001", "B002").gaps
    return bool(found.loc[0, "p"] < 0.05)


def share(panels: int) -> float:
    size = smallest_gap({name: sd**2 for name, sd in SPREAD.items()}, 5, 8, 2).gap("score")
    return float(np.mean([seen(seed, size) for seed in range(panels)]))


if __name__ == "__main__":
    panels = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    found = share(panels)
    print(f"the promised gap was seen in {100 * found:.1f} % of {panels} panels (promised: 80 %)")
    sys.exit(int(abs(found - 0.8) > 3 * np.sqrt(0.16 / panels)))
