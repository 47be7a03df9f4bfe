"""A year of minute readings through the intake, beside a plain read and a bulk insert of the same.

python -m pytest tests/benchmarks/test_intake_speed.py -s
"""

from __future__ import annotations

import gc
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from origin_compare.house import default_rules
from origin_compare.intake.plan import plan_intake

ROWS, PER_BATCH = 1_000_000, 500
LEAST_RATIO = 1 / 3
"""The whole check may take three times what reading and storing without any check takes."""

MOST_MIB = 1024


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season")
    noise = np.random.default_rng(20)
    batch = np.repeat(np.arange(ROWS // PER_BATCH), PER_BATCH)
    step = np.tile(np.arange(PER_BATCH), ROWS // PER_BATCH)
    start = pd.Timestamp("2025-01-01")
    frame = pd.DataFrame(
        {
            "batch_id": pd.Series(batch).map("B{:05d}".format),
            "read_at": start + pd.to_timedelta(batch * 240 + step * 15, unit="min"),
            "sg": np.round(1 + noise.random(ROWS) * 0.065, 4),
            "ph": np.round(3.5 + noise.random(ROWS) * 2, 2),
            "temp_c": np.round(20 + noise.random(ROWS) * 12, 1),
            "cooling_pct": noise.integers(0, 100, ROWS),
            "instrument": "probe",
        }
    )
    frame.to_csv(folder / "readings.csv", index=False)
    pitched = frame.groupby("batch_id")["read_at"].min().rename("pitched_at").reset_index()
    pitched.to_csv(folder / "fermentations.csv", index=False)
    return folder


def _cpu_seconds(work: Callable[[], object]) -> float:
    gc.collect()
    start = time.process_time()
    work()
    return time.process_time() - start


def _plain(folder: Path) -> int:
    """Read without looking, insert without asking."""
    frame = pd.read_csv(folder / "readings.csv")
    with sqlite3.connect(":memory:") as store:
        store.execute(
            "create table readings (batch_id text, read_at text, sg real, ph real, temp_c real, "
            "cooling_pct real, instrument text, primary key (batch_id, read_at, instrument)) "
            "without rowid"
        )
        rows = frame.itertuples(index=False, name=None)
        store.executemany("insert into readings values (?, ?, ?, ?, ?, ?, ?)", rows)
    return len(frame)


def test_a_million_readings_are_checked_in_reasonable_time(season: Path) -> None:
    files = [(file.name, file.read_bytes()) for file in sorted(season.iterdir())]
    planned = plan_intake(files, default_rules())
    assert planned.is_clean and len(planned.sheets["readings"]) == ROWS
    del planned
    ours = min(_cpu_seconds(lambda: plan_intake(files, default_rules())) for _ in range(2))
    other = min(_cpu_seconds(lambda: _plain(season)) for _ in range(2))
    print(
        f"\nread and check {ROWS:,} readings: {ours:.2f} s; read and store unchecked: {other:.2f} s"
    )
    print(f"checking and then storing runs at {other / (ours + other):.2f} of the plain speed")
    assert other / (ours + other) > LEAST_RATIO


def test_a_million_readings_need_less_than_a_gibibyte(season: Path) -> None:
    script = (
        "import resource, sys\n"
        "from origin_compare.house import default_rules\n"
        "from origin_compare.intake.plan import plan_intake\n"
        "from origin_compare.intake.files.readers import read_folder\n"
        "assert plan_intake(read_folder(sys.argv[1]), default_rules()).is_clean\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(season)], capture_output=True, text=True, check=True
    )
    print(f"\npeak memory: {float(done.stdout):,.0f} MiB")
    assert float(done.stdout) < MOST_MIB
