"""How long the drivers take, against R's vegan for partitioning and its permutation tests.

    python -m tests.benchmarks.drivers_speed

Needs Rscript with vegan (Debian: r-cran-vegan); without it the comparison fails rather than
passing unnoticed. Prints seconds and ratios; ends with 1 if a promise is broken.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from origin_compare.drivers import (
    agreement,
    effects,
    fixed_hours,
    foresight,
    hellinger,
    origins,
    partition,
    separable,
    split,
    traits,
    variance_parts,
)
from tests.drivers.seasons import Invented, invent, two_true

MITE = Path(__file__).resolve().parents[1] / "outside" / "partition_mite"
PERMUTATIONS = 4999
PAGE_S = {60: 2.0, 600: 15.0}
RATIO = 5.0

VEGAN = """
suppressMessages(library(vegan))
Y <- decostand(read.csv("{folder}/mite.csv"), "hellinger")
E <- read.csv("{folder}/mite_env.csv", na.strings = character(0), stringsAsFactors = TRUE)
w <- c("SubsDens", "WatrCont"); g <- c("Substrate", "Shrub", "Topo")
once <- function() {{
  v <- varpart(Y, E[, w], ~ Substrate + Shrub + Topo, data = E)
  p <- how(nperm = {count})
  anova(rda(Y ~ SubsDens + WatrCont + Condition(Substrate + Shrub + Topo), E), permutations = p)
  anova(rda(Y ~ Substrate + Shrub + Topo + Condition(SubsDens + WatrCont), E), permutations = p)
  anova(rda(Y ~ SubsDens + WatrCont, E), permutations = p)
  anova(rda(Y ~ Substrate + Shrub + Topo, E), permutations = p)
  anova(rda(Y ~ ., E), permutations = p)
}}
once()
cat(min(sapply(1:3, function(i) system.time(once())[["elapsed"]])))
"""


def best(work: Callable[[], object], repeats: int = 3) -> float:
    """Least seconds over some repeats, after one to warm up."""
    work()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return min(taken)


def ours() -> float:
    response = hellinger(pd.read_csv(MITE / "mite.csv"))
    env = pd.read_csv(MITE / "mite_env.csv", keep_default_na=False)
    sets = {
        "water": env[["SubsDens", "WatrCont"]],
        "ground": env[["Substrate", "Shrub", "Topo"]],
    }
    return best(lambda: partition(response, sets, permutations=PERMUTATIONS))


def vegan() -> float:
    """Seconds of the same fractions and the same five tests in R, one thread."""
    script = VEGAN.format(folder=MITE, count=PERMUTATIONS)
    done = subprocess.run(
        ["Rscript", "-e", script],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )
    return float(done.stdout.split()[-1])


FIELD = ("grain_n_pct_dm", "screenings_pct", "rain_mm", "fan_mg_l")


def with_field_and_logs(season: Invented) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Batches with field figures of their growers, and 8-hourly logs, for the whole page."""
    rng = np.random.default_rng(5)
    batches = season.batches
    grower = pd.factorize(batches["grower_id"])[0]
    field = {name: rng.normal(size=grower.max() + 1)[grower] for name in FIELD}
    hours = np.arange(0, 128, 8.0)
    fall = np.minimum(hours, 60) / 60
    logs = [
        pd.DataFrame(
            {
                "batch_id": name,
                "hours": hours,
                "ph": 5.2 - 1.7 * fall + 0.05 * rng.normal(size=len(hours)),
                "sg": 1.065 - 0.065 * fall + 0.001 * rng.normal(size=len(hours)),
            }
        )
        for name in batches["batch_id"]
    ]
    return batches.assign(**field), pd.concat(logs, ignore_index=True)


def page(season: Invented) -> Callable[[], object]:
    """What the drivers' page asks for at once, everything on it."""
    batches, logs = with_field_and_logs(season)

    def asked() -> None:
        separable(batches)
        effects(batches, season.profile)
        split(batches, season.profile)
        variance_parts(batches, season.profile)
        origins(batches, season.profile)
        agreement(batches, season.profile)
        traits(batches, season.profile)
        foresight(batches, season.profile)
        fixed_hours(batches, season.profile, logs)

    return asked


def main() -> int:
    broken = []
    ours_s, vegan_s = ours(), vegan()
    print(
        f"partition and 5 tests, 70 x 35, {PERMUTATIONS} permutations: {ours_s:.3f} s, vegan "
        f"{vegan_s:.3f} s, {vegan_s / ours_s:.1f} times as fast"
    )
    if vegan_s / ours_s < RATIO:
        broken.append(f"partition is {vegan_s / ours_s:.1f} times as fast, {RATIO:.0f} promised")
    for growers, each in ((20, 3), (40, 15)):
        season = invent(1, growers=growers, each=each, attributes=14, slopes=two_true(14))
        n = growers * each
        seconds = best(page(season))
        print(f"page of {n} batches x 14 attributes: {seconds:.2f} s")
        if seconds > PAGE_S[n]:
            broken.append(f"page of {n} batches took {seconds:.2f} s, {PAGE_S[n]:.0f} s promised")
    print("\n".join(broken) if broken else "every promise kept")
    return 1 if broken else 0


if __name__ == "__main__":
    np.seterr(all="raise", under="ignore")
    sys.exit(main())
