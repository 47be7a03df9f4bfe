"""Mixed models against R's lme4 on the same data in the same run: time, memory, criterion.

Run: OMP_NUM_THREADS=1 python tests/benchmarks/mixed_speed.py [--all] [--growth]
Needs Rscript with lme4 (Debian: r-base-core, r-cran-lme4); without it the run fails, it does not
skip. lme4 fits one response at a time; on the large case only the first two are fitted and the
time per response is multiplied, which the table says, unless --all is given. Times are the best of
three for ours, one for lme4; lme4's do not include degrees of freedom, ours do. On a busy machine
trust the processor times.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

GROUPS = ["grower", "batch", "assessor", "assessor:batch"]
COVARIATES = ["pitch_temp_c", "peak_temp_c", "length_h"]
SAME_CRITERION = 1e-4

R_SCRIPT = """
suppressMessages(library(lme4))
args <- commandArgs(TRUE)
d <- read.csv(args[1], colClasses = c(grower = "character", batch = "character",
                                      assessor = "character"))
for (y in strsplit(args[2], ",")[[1]]) {
  f <- as.formula(paste(y, "~ pitch_temp_c + peak_temp_c + length_h + (1|grower) + (1|batch)",
                        "+ (1|assessor) + (1|assessor:batch)"))
  t <- system.time(m <- lmer(f, d))
  cat(sprintf("%s,%.4f,%.8f,%.4f\\n", y, t[["elapsed"]], REMLcrit(m),
              t[["user.self"]] + t[["sys.self"]]))
}
peak <- grep("VmHWM", readLines("/proc/self/status"), value = TRUE)
cat(sprintf("peak,%s,0\\n", gsub("[^0-9]", "", peak)))
"""


@dataclass(frozen=True)
class Case:
    """A panel: its size, and how many responses lme4 fits of it by default."""

    name: str
    responses: int
    batches: int
    assessors: int
    replicates: int
    growers: int
    missed: float = 0.0
    lme4_fits: int | None = None


CASES = (
    Case("season", 16, 60, 10, 2, 12),
    Case("season, 10 % missed", 16, 60, 10, 2, 12, 0.1),
    Case("decade", 20, 600, 14, 3, 40, lme4_fits=2),
    Case("decade, 10 % missed", 20, 600, 14, 3, 40, 0.1, lme4_fits=2),
)


def panel(case: Case, seed: int = 20) -> pd.DataFrame:
    """An invented panel of that size."""
    random = np.random.default_rng(seed)
    shape = (case.batches, case.assessors, case.replicates)
    batch, assessor, _ = (a.ravel() for a in np.indices(shape))
    grower = batch % case.growers
    cell = batch * case.assessors + assessor
    table = pd.DataFrame(
        {
            "grower": [f"G{g:03d}" for g in grower],
            "batch": [f"B{b:05d}" for b in batch],
            "assessor": [f"A{a:02d}" for a in assessor],
        }
    )
    for name, mean, sd in zip(COVARIATES, (21.0, 29.0, 130.0), (0.8, 0.7, 5.0), strict=True):
        table[name] = random.normal(mean, sd, case.batches)[batch].round(2)
    for r in range(case.responses):
        table[f"r{r}"] = (
            5
            + 0.5 * random.normal(size=case.growers)[grower]
            + 0.8 * random.normal(size=case.batches)[batch]
            + random.normal(size=case.assessors)[assessor]
            + 0.6 * random.normal(size=case.batches * case.assessors)[cell]
            + random.normal(size=len(table))
        ).round(3)
    return table[random.random(len(table)) >= case.missed]


def ours(case: Case) -> dict[str, object]:
    """Fit in a fresh process: first and best time, peak memory, criteria."""
    started = time.perf_counter()
    from origin_compare.mixed import fit

    imported = time.perf_counter() - started
    table = panel(case)
    names = [f"r{r}" for r in range(case.responses)]
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    times, busy = [], []
    for _ in range(3):
        started, worked = time.perf_counter(), time.process_time()
        answer = fit(table, names, " + ".join(COVARIATES), GROUPS)
        times.append(time.perf_counter() - started)
        busy.append(time.process_time() - worked)
    started = time.perf_counter()
    answer.intervals()
    intervals = time.perf_counter() - started
    return {
        "rows": len(table),
        "import_s": imported,
        "first_s": times[0],
        "best_s": min(times),
        "cpu_s": min(busy),
        "intervals_s": intervals,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "before_mb": before / 1024,
        "criterion": answer.criterion.to_dict(),
    }


def in_fresh_process(case: Case) -> dict[str, object]:
    """`ours`, where nothing was imported or warmed before."""
    run = subprocess.run(
        [sys.executable, __file__, "--one", json.dumps(case.__dict__)],
        capture_output=True,
        text=True,
        check=True,
    )
    return dict(json.loads(run.stdout))


def theirs(case: Case, fits: int) -> tuple[float, float, float, dict[str, float]]:
    """lme4: seconds and processor seconds for `fits` responses, peak MB, criteria."""
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "panel.csv"
        panel(case).to_csv(data, index=False)
        script = Path(folder) / "fit.R"
        script.write_text(R_SCRIPT)
        names = ",".join(f"r{r}" for r in range(fits))
        run = subprocess.run(
            ["Rscript", str(script), str(data), names], capture_output=True, text=True, check=True
        )
    rows = [line.split(",") for line in run.stdout.split()]
    peak = next(float(row[1]) / 1024 for row in rows if row[0] == "peak")
    fitted = [row for row in rows if row[0] != "peak"]
    return (
        sum(float(row[1]) for row in fitted),
        sum(float(row[3]) for row in fitted),
        peak,
        {row[0]: float(row[2]) for row in fitted},
    )


def compare(case: Case, every: bool) -> None:
    """Print one case; fail if the criteria differ."""
    fits = case.responses if every or case.lme4_fits is None else case.lme4_fits
    own = in_fresh_process(case)
    seconds, worked, peak, criteria = theirs(case, fits)
    whole, busy = (s / fits * case.responses for s in (seconds, worked))
    held = own["criterion"]
    assert isinstance(held, dict)
    apart = {name: held[name] - value for name, value in criteria.items()}
    best, first, cpu = (float(str(own[k])) for k in ("best_s", "first_s", "cpu_s"))
    note = "" if fits == case.responses else f" ({fits} fitted, times {case.responses}/{fits})"
    print(f"{case.name}: {own['rows']} rows, {case.responses} responses")
    print(
        f"  ours {best:.3f} s (first call {first:.3f} s after importing in {own['import_s']:.2f} s)"
        f", peak {own['peak_mb']:.0f} MB ({own['before_mb']:.0f} MB before the fit), "
        f"all profile intervals {own['intervals_s']:.2f} s"
    )
    print(f"  lme4 {whole:.2f} s{note}, {seconds / fits:.2f} s a response, peak {peak:.0f} MB")
    print(
        f"  ratio {whole / best:.0f} by the clock, {busy / cpu:.0f} by processor time "
        f"({busy:.2f} s against {cpu:.3f} s)"
    )
    print(f"  criterion ours less theirs {max(apart.values()):.1e} at most")
    assert max(apart.values()) < SAME_CRITERION, f"criterion above lme4's: {apart}"
    assert min(apart.values()) > -1e-2, f"criterion far below lme4's, not the same model: {apart}"


def growth() -> None:
    """How time and memory grow, ours alone, from a season to ten decades."""
    print("batches  rows      first s  best s  peak MB above start")
    for batches in (60, 300, 600, 1500, 3000, 6000):
        own = in_fresh_process(Case("growth", 20, batches, 14, 3, max(12, batches // 15)))
        above = float(str(own["peak_mb"])) - float(str(own["before_mb"]))
        print(
            f"{batches:7d}  {own['rows']!s:8s}  {float(str(own['first_s'])):7.3f}"
            f"  {float(str(own['best_s'])):6.3f}  {above:.0f}"
        )


def main() -> None:
    """See the top of the file."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--all", action="store_true", help="let lme4 fit every response")
    reader.add_argument("--growth", action="store_true", help="how ours grows with the batches")
    reader.add_argument("--one", help=argparse.SUPPRESS)
    asked = reader.parse_args()
    if asked.one:
        print(json.dumps(ours(Case(**json.loads(asked.one)))))
        return
    if asked.growth:
        growth()
        return
    for case in CASES:
        compare(case, asked.all)


if __name__ == "__main__":
    main()
