"""A process killed at many moments of many intakes: each intake is whole or absent."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import numpy as np

from origin_compare import open_store
from tests.records.store.test_together import counts, started

WAITS = np.linspace(0.02, 0.9, 24)


def test_killed_at_any_moment_an_intake_is_whole_or_absent(tmp_path: Path) -> None:
    code = """
        import sys
        from origin_compare import open_store
        from tests.records.store.test_together import growers
        store = open_store(sys.argv[1])
        print("begun", flush=True)
        for n in range(1000):
            store.take_in(growers(n * 500, 500))
    """
    url = f"sqlite:///{tmp_path / 'store.sqlite'}"
    for wait in WAITS:
        writer = started(code, url)
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(wait)
        os.kill(writer.pid, signal.SIGKILL)
        writer.wait()
        with open_store(url) as store:
            rows, intakes, revision = counts(store)
        assert rows == 500 * intakes
        assert intakes == revision
    assert intakes > 0, "no intake was ever finished: the waits are too short"
