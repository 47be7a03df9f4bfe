"""A million sensor readings from file to store, beside a plain read and bulk insert, in one run.

python -m tests.benchmarks.million_log [ROWS]

Prints processor seconds, rows a second, the ratio and the peak memory of each, each in a process
of its own. The plain way checks nothing: it reads the CSV and writes it to SQLite. The checked way
hands over the files as the pages do, and the store keeps them; `unkept` hands over none, so that
every row's text as written is kept with it. Importing the libraries is left out of all three.
"""

from __future__ import annotations

import multiprocessing
import resource
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from origin_compare.intake.files.readers import read_folder
from origin_compare.intake.plan import plan_intake  # noqa: F401  (the store imports it when called)
from origin_compare.store.store import open_store
from origin_compare.store.taking import Taken

PER_BATCH = 10_000


def made(folder: Path, rows: int) -> None:
    """The log of rows / 10,000 batches, a reading a minute, and the batches' own sheet."""
    noise = np.random.default_rng(20)
    batch = np.repeat(np.arange(rows // PER_BATCH), PER_BATCH)
    minute = np.tile(np.arange(PER_BATCH), rows // PER_BATCH)
    start = pd.Timestamp("2025-01-01")
    log = pd.DataFrame(
        {
            "batch_id": pd.Series(batch).map("B{:05d}".format),
            "read_at": start + pd.to_timedelta(batch * 60 + minute, unit="min"),
            "sg": np.round(1 + noise.random(rows) * 0.065, 4),
            "temp_c": np.round(20 + noise.random(rows) * 12, 1),
            "cooling_pct": noise.integers(0, 100, rows),
            "instrument": "probe",
        }
    )
    log.to_csv(folder / "readings.csv", index=False)
    pitched = log.groupby("batch_id")["read_at"].min().rename("pitched_at").reset_index()
    pitched.to_csv(folder / "fermentations.csv", index=False)


def plain(folder: Path) -> None:
    with sqlite3.connect(folder / "plain.sqlite") as link:
        for name in ("fermentations", "readings"):
            frame = pd.read_csv(folder / f"{name}.csv")
            frame.to_sql(name, link, index=False, chunksize=100_000)


def checked(folder: Path) -> None:
    store = open_store(f"sqlite:///{folder / 'checked.sqlite'}")
    files = [(name, (folder / name).read_bytes()) for name in ("fermentations.csv", "readings.csv")]
    taken = store.take_in(store.plan(files), "a run", files)
    _all_there(folder, taken)
    store.close()


def unkept(folder: Path) -> None:
    store = open_store(f"sqlite:///{folder / 'unkept.sqlite'}")
    _all_there(folder, store.take_in(store.plan(read_folder(folder)), "a run"))
    store.close()


def _all_there(folder: Path, taken: Taken) -> None:
    rows = dict(zip(taken.rows["sheet"], taken.rows["new"], strict=True))
    written = (folder / "readings.csv").read_bytes().count(b"\n") - 1
    if rows["readings"] != written or taken.faults:
        raise AssertionError(f"{rows['readings']:,} of {written:,} readings came in")


def _measured(work: Callable[[Path], None], folder: Path, told: multiprocessing.Queue) -> None:
    started = time.process_time(), time.monotonic()
    work(folder)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    told.put((time.process_time() - started[0], time.monotonic() - started[1], peak))


def alone(work: Callable[[Path], None], folder: Path) -> tuple[float, float, float]:
    """Processor seconds, clock seconds and peak MiB of `work` in a fresh process."""
    fresh = multiprocessing.get_context("spawn")
    told = fresh.Queue()
    process = fresh.Process(target=_measured, args=(work, folder, told))
    process.start()
    measured = told.get()
    process.join()
    return measured


def main(rows: int) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        made(folder, rows)
        figures = {work.__name__: alone(work, folder) for work in (plain, checked, unkept)}
    for name, (cpu, clock, peak) in figures.items():
        speed = f"{rows / cpu:,.0f} rows/s"
        print(f"{name:8} {cpu:6.1f} s CPU  {clock:6.1f} s clock  {speed}  peak {peak:,.0f} MiB")
    ratio = figures["plain"][0] / figures["checked"][0]
    print(f"speed of the checked way: {ratio:.2f} of the plain one")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
