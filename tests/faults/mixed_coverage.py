"""Do the mixed models' intervals and tests keep what they promise? Invented seasons, truth known.

    python -m tests.faults.mixed_coverage            # 600 responses per layout, a minute or two
    python -m tests.faults.mixed_coverage 200        # quicker, rougher

Prints, per layout: how often the 95 % profile interval of each sd and the 95 % Satterthwaite
interval of a covariate hold the truth, and how often a covariate without effect is called one at
5 %. Exits 1 when a figure lies further from its promise than its own sampling error (four standard
errors) and a slack of 2.5 points explain: profile intervals rest on large numbers of levels.
An sd of a group with few levels is printed and not judged.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy import special

from origin_compare.mixed import fit

SDS = {"grower": 0.6, "batch": 1.0, "assessor": 1.5, "assessor:batch": 0.7, "residual": 1.0}
SLOPE = 0.4
FEW = 15
SLACK = 0.025
LAYOUTS: Mapping[str, Mapping[str, float]] = {
    "complete season": {"batches": 60, "growers": 20, "assessors": 16, "repeats": 2, "missed": 0.0},
    "30 % missed": {"batches": 60, "growers": 20, "assessors": 16, "repeats": 2, "missed": 0.3},
    "small season": {"batches": 14, "growers": 5, "assessors": 6, "repeats": 2, "missed": 0.1},
}


def seasons(layout: Mapping[str, float], many: int, seed: int) -> pd.DataFrame:
    """One design, `many` independent responses on it, with a slope on x and none on idle."""
    random = np.random.default_rng(seed)
    B, A, R = (int(layout[k]) for k in ("batches", "assessors", "repeats"))
    G = int(layout["growers"])
    batch, assessor, _ = (a.ravel() for a in np.indices((B, A, R)))
    kept = random.random(len(batch)) >= layout["missed"]
    batch, assessor = batch[kept], assessor[kept]
    codes = {
        "grower": batch % G,
        "batch": batch,
        "assessor": assessor,
        "assessor:batch": batch * A + assessor,
    }
    x, idle = random.normal(size=(2, B))
    y = SLOPE * x[batch][:, None] + SDS["residual"] * random.normal(size=(len(batch), many))
    for group, code in codes.items():
        y += SDS[group] * random.normal(size=(code.max() + 1, many))[code]
    table = pd.DataFrame(y, columns=[f"r{i}" for i in range(many)])
    labels = {name: codes[name].astype(str) for name in ("grower", "batch", "assessor")}
    return table.assign(x=x[batch], idle=idle[batch], **labels)


def judge(name: str, share: float, promise: float, many: int, judged: bool = True) -> bool:
    """Print one figure; whether it is further off than chance and slack allow."""
    room = SLACK + 4 * np.sqrt(promise * (1 - promise) / many)
    off = judged and abs(share - promise) > room
    mark = "  <- off" if off else "" if judged else "  (few levels, not judged)"
    print(f"  {name:34s} {share:6.1%} of {promise:.0%}{mark}")
    return bool(off)


def study(name: str, layout: Mapping[str, float], many: int) -> bool:
    """All figures of one layout; whether any is off."""
    print(f"{name}: {many} responses, {dict(layout)}")
    table = seasons(layout, many, seed=20)
    groups = [g for g in SDS if g != "residual"]
    answer = fit(table, [f"r{i}" for i in range(many)], "x + idle", groups)
    counts = answer.status.value_counts().to_dict()
    print(f"  status: {counts}")
    off = set(counts) - {"ok", "boundary"} != set()
    ends = answer.intervals(0.95)
    for term, truth in SDS.items():
        own = ends[(ends["kind"] == "sd") & (ends["term"] == term)]
        held = float(((own["low"] <= truth) & (truth <= own["high"])).mean())
        levels = {"grower": layout["growers"], "assessor": layout["assessors"]}.get(term, 99)
        levels = min(levels, layout["batches"])
        off |= judge(f"profile interval, sd of {term}", held, 0.95, many, levels >= FEW)
    slope = answer.fixed[answer.fixed["term"] == "x"]
    reach = special.stdtrit(slope["df"].to_numpy(), 0.975) * slope["se"].to_numpy()
    held = float((np.abs(slope["estimate"].to_numpy() - SLOPE) <= reach).mean())
    off |= judge("Satterthwaite interval of a slope", held, 0.95, many)
    idle = answer.fixed[answer.fixed["term"] == "idle"]
    off |= judge("idle covariate called an effect", float((idle["p"] < 0.05).mean()), 0.05, many)
    return bool(off)


def main() -> int:
    """See the top of the file."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 600
    off = [study(name, layout, many) for name, layout in LAYOUTS.items()]
    return int(any(off))


if __name__ == "__main__":
    sys.exit(main())
