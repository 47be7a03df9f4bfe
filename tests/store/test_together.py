"""Several threads and processes on one store, and a process killed in the middle of an intake."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pandas as pd
import pytest

from origin_compare import StoreFault, open_store
from origin_compare.store.schema import INTAKES, REVISION, SHEET_TABLES
from origin_compare.store.store import Store
from tests.store.plans import HandPlan, plan_of

ROOT = Path(__file__).parents[2]


def growers(first: int, number: int) -> HandPlan:
    names = [f"G{n:06d}" for n in range(first, first + number)]
    return plan_of({"growers": pd.DataFrame({"grower_id": names})})


def counts(store: Store) -> tuple[int, int, int]:
    """Rows of growers, intakes, revision, all from one state of the store."""
    with store.reading() as link:
        rows = link.execute(SHEET_TABLES["growers"].select()).all()
        intakes = link.execute(INTAKES.select()).all()
        revision = link.execute(REVISION.select()).one().number
    return len(rows), len(intakes), revision


def test_four_threads_writing_lose_nothing(tmp_path: Path) -> None:
    with open_store(f"sqlite:///{tmp_path / 'store.sqlite'}") as store:

        def write(thread: int) -> list[int | None]:
            plans = (growers(thread * 1000 + n * 10, 10) for n in range(15))
            return [store.take_in(plan).intake_id for plan in plans]

        with ThreadPoolExecutor(4) as pool:
            numbers = [number for part in pool.map(write, range(4)) for number in part]
        assert sorted(map(int, filter(None, numbers))) == list(range(1, 61))
        assert counts(store) == (600, 60, 60)


def test_four_threads_bringing_the_same_rows_write_them_once(tmp_path: Path) -> None:
    with open_store(f"sqlite:///{tmp_path / 'store.sqlite'}") as store:
        with ThreadPoolExecutor(4) as pool:
            taken = list(pool.map(lambda _: store.take_in(growers(0, 200)), range(8)))
        assert sum(one.intake_id is not None for one in taken) == 1
        assert counts(store) == (200, 1, 1)


def started(code: str, url: str) -> subprocess.Popen[str]:
    script = textwrap.dedent(code)
    return subprocess.Popen(
        [sys.executable, "-c", script, url], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )


WRITING = """
    import sys
    import time
    from origin_compare import open_store
    from tests.store.test_together import growers
    store = open_store(sys.argv[1])
    store.take_in(growers(0, 50))
    with store._engines.write.begin() as link:
        from origin_compare.store import taking
        plan = growers(1000, 50_000)
        print("begun", flush=True)
        taking.take_in(link, plan, [], "")
        print("written", flush=True)
        time.sleep(60)
"""


def test_another_process_reads_while_one_writes_and_a_kill_leaves_nothing(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'store.sqlite'}"
    writer = started(WRITING, url)
    assert writer.stdout is not None
    assert writer.stdout.readline() == "begun\n"
    assert writer.stdout.readline() == "written\n"
    with open_store(url) as store:
        began = time.perf_counter()
        assert counts(store) == (50, 1, 1), "the reader sees the last finished change"
        assert time.perf_counter() - began < 5
        os.kill(writer.pid, signal.SIGKILL)
        writer.wait()
        assert counts(store) == (50, 1, 1)
        assert store.take_in(growers(1000, 10)).intake_id == 2
    with open_store(url) as again, again.reading() as link:
        assert link.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"


def test_a_store_held_by_another_program_is_told_plainly(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("origin_compare.store.connect.BUSY_MS", 50)
    with (
        open_store(f"sqlite:///{tmp_path / 'store.sqlite'}") as store,
        sqlite3.connect(tmp_path / "store.sqlite", isolation_level=None) as other,
    ):
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreFault) as told:
            store.take_in(growers(0, 3))
        other.execute("ROLLBACK")
        assert str(told.value) == (
            "The store refused: database is locked. Nothing was changed; if another program "
            "holds the store, wait for it and try again."
        )
        assert counts(store) == (0, 0, 0)
