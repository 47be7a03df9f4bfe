"""The panel's profile, as a user asks for it, on one to ten seasons, against R's lme4.

Run: python -m tests.benchmarks.panel_scale [SEASONS ...] [--lme4-limit SECONDS]
Needs Rscript with lme4 (Debian: r-base-core, r-cran-lme4); without it the run fails, it does not
skip. A season is 120 batches in tastings of six, 14 assessors, 3 replicates, 20 attributes; one
glass in twenty is missing. Ours is the whole call `ask(season).profile`: reading the scores, the
variance components, estimates, standard errors, degrees of freedom and tests of all attributes;
importing the package is not counted. lme4 fits one attribute of the very model (batch fixed;
assessor, assessor:batch, tasting and assessor:tasting random) without degrees of freedom; its time
is multiplied by the attributes. Where one takes longer than the limit it is stopped and the table
says so. Processor seconds, each case in a process of its own.
"""

from __future__ import annotations

import argparse
import json
import platform
import signal
import subprocess
import sys
import tempfile
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

SEASONS = (1, 2, 5, 10)
BATCHES, ASSESSORS, REPLICATES, ATTRIBUTES, LINE = 120, 14, 3, 20, 6
MISSING = 0.05

OURS = """
import json, resource, sys, time
import origin_compare as oc, origin_compare.panel
season = oc.load_folder(sys.argv[1])
start = time.process_time()
profile = oc.ask(season).profile
asked = time.process_time()
for attribute in profile.attributes:
    profile.error_cov(attribute)
spent = {"profile": asked - start, "covariances": time.process_time() - asked}
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps({**spent, "mib": peak, "told": len(profile.told)}))
"""

LME4 = """
suppressMessages(library(lme4))
d <- read.csv(commandArgs(TRUE)[1])
d$ab <- interaction(d$assessor_id, d$batch_id, drop = TRUE)
d$at <- interaction(d$assessor_id, d$tasting_id, drop = TRUE)
t <- system.time(m <- lmer(a01 ~ 0 + batch_id + (1|assessor_id) + (1|ab) + (1|tasting_id) + (1|at),
                           d, control = lmerControl(calc.derivs = FALSE, check.rankX = "ignore")))
cat(t[["user.self"]] + t[["sys.self"]], as.character(packageVersion("lme4")))
"""


def scores(seasons: int, seed: int = 7) -> pd.DataFrame:
    """A panel's scores, one row a glass."""
    rng = np.random.default_rng(seed)
    n = seasons * BATCHES
    attributes = [f"a{i + 1:02d}" for i in range(ATTRIBUTES)]
    b, a, r = (one.ravel() for one in np.indices((n, ASSESSORS, REPLICATES)))
    level = 4.5 + rng.normal(0, 0.8, (n, ATTRIBUTES))
    people = rng.normal(0, 0.6, (ASSESSORS, ATTRIBUTES))
    days = rng.normal(0, 0.2, (n // LINE, ATTRIBUTES))
    people_days = rng.normal(0, 0.2, (n // LINE, ASSESSORS, ATTRIBUTES))
    cells = rng.normal(0, 0.35, (n, ASSESSORS, ATTRIBUTES))
    y = level[b] + people[a] + days[b // LINE] + people_days[b // LINE, a] + cells[b, a]
    y = np.clip(y + rng.normal(0, 0.8, y.shape), 0, 10).round(1)
    day = pd.Timestamp("2015-10-31") + pd.to_timedelta(7 * (b // LINE), unit="D")
    head = pd.DataFrame(
        {
            "tasting_id": [f"T{i:04d}" for i in b // LINE],
            "tasted_on": day.strftime("%Y-%m-%d"),
            "assessor_id": [f"A{i:02d}" for i in a],
            "batch_id": [f"B{i:04d}" for i in b],
            "replicate": r + 1,
        }
    )
    table = pd.concat([head, pd.DataFrame(y, columns=attributes)], axis=1)
    return table[rng.random(len(table)) >= MISSING]


def ours(folder: Path) -> dict[str, float]:
    """Processor seconds and peak memory of our call."""
    found = subprocess.run(
        [sys.executable, "-c", OURS, str(folder)], capture_output=True, text=True, check=True
    )
    return dict(json.loads(found.stdout))


def lme4(folder: Path, limit: int) -> tuple[float, str]:
    """Processor seconds of one attribute, infinite if stopped at the limit, and lme4's version."""
    command = f"ulimit -t {limit}; exec Rscript -e '{LME4}' '{folder / 'scores.csv'}'"
    found = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    if found.returncode in {-signal.SIGXCPU, -signal.SIGKILL}:
        return float("inf"), ""
    found.check_returncode()
    seconds, version = found.stdout.split()
    return float(seconds), version


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seasons", nargs="*", type=int, default=list(SEASONS))
    parser.add_argument("--lme4-limit", type=int, default=300)
    asked = parser.parse_args()
    versions = {name: __import__(name).__version__ for name in ("numpy", "scipy", "pandas")}
    print(f"{date.today()}, {platform.processor() or platform.machine()}, {platform.platform()}")
    print(f"Python {platform.python_version()}, {versions}")
    print("seasons  scores     profile s  covariances s  MiB   lme4 s (x 20)  ratio")
    for seasons in asked.seasons:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            table = scores(seasons)
            table.to_csv(folder / "scores.csv", index=False)
            mine = ours(folder)
            theirs, version = lme4(folder, asked.lme4_limit)
        whole = ATTRIBUTES * theirs
        said = f"{whole:9.1f}" if np.isfinite(whole) else f"one > {asked.lme4_limit}"
        ratio = f"{whole / mine['profile']:6.0f}" if np.isfinite(whole) else "-"
        print(
            f"{seasons:7d}  {len(table) * ATTRIBUTES:9,d}  {mine['profile']:9.2f}  "
            f"{mine['covariances']:13.2f}  {mine['mib']:4.0f}  {said:>13s}  {ratio}  {version}",
            flush=True,
        )


if __name__ == "__main__":
    main()
