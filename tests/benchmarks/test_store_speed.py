"""A year of probe readings into the store and out again, beside pandas' own to_sql and read_sql.

python -m pytest tests/benchmarks/test_store_speed.py -s
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from origin_compare import open_store
from origin_compare.sheets.frames import shaped
from tests.store.plans import HandPlan

PER_BATCH = 5_000
SIZES = {"season": 100_000, "decade": 1_000_000}
LEAST_IN, LEAST_OUT = 1 / 4, 1 / 3
"""The store may take four times what to_sql takes to write: it also keeps each row's place in its
file and its text as written, and looks for rows that stand there already; three times to read,
since read_sql leaves moments as text and leaves out where each row came from."""


def readings(rows: int) -> pd.DataFrame:
    noise = np.random.default_rng(20)
    batch = np.arange(rows) // PER_BATCH
    start = pd.Timestamp("2025-01-01", tz="UTC")
    frame = pd.DataFrame(
        {
            "batch_id": pd.Series(batch).map("B{:05d}".format),
            "read_at": start + pd.to_timedelta(np.arange(rows), unit="min"),
            "sg": np.round(1 + noise.random(rows) * 0.065, 4),
            "ph": np.round(3.5 + noise.random(rows) * 2, 2),
            "temp_c": np.round(20 + noise.random(rows) * 12, 1),
            "instrument": "probe",
        }
    )
    return shaped("readings", frame)


def seconds(work: Callable[[], object]) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


@pytest.mark.parametrize("size", SIZES)
def test_rows_a_second_against_to_sql(size: str, tmp_path: Path) -> None:
    frame = readings(SIZES[size])
    placed = frame.assign(_file="log.csv", _tab="", _row=np.arange(len(frame)) + 2, _raw="as read")
    with sqlite3.connect(tmp_path / "bare.sqlite") as bare:
        bare_in = seconds(lambda: frame.to_sql("readings", bare, index=False))
        bare_out = seconds(lambda: pd.read_sql("SELECT * FROM readings", bare))
    with open_store(f"sqlite:///{tmp_path / 'store.sqlite'}") as store:
        ours_in = seconds(lambda: store.take_in(HandPlan({"readings": placed})))
        ours_out = seconds(lambda: store.sheet("readings"))
        assert len(store.sheet("readings")) == len(frame)
    print(
        f"\n{size}: {len(frame) / ours_in:,.0f} rows/s in ({bare_in / ours_in:.2f} of to_sql), "
        f"{len(frame) / ours_out:,.0f} rows/s out ({bare_out / ours_out:.2f} of read_sql)"
    )
    assert bare_in / ours_in > LEAST_IN
    assert bare_out / ours_out > LEAST_OUT
