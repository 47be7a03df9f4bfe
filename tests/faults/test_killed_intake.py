"""A process killed at many moments of many intakes: each intake is whole or absent."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import numpy as np
import pytest

from origin_compare import open_store
from tests.store.test_indexes import both, indexes
from tests.store.test_together import counts, started

WAITS = np.linspace(0.02, 0.9, 24)
BEGIN = """
import sys
from origin_compare import open_store
from origin_compare.store import rows
from tests.store.test_together import growers
store = open_store(sys.argv[1])
print("begun", flush=True)
"""
STEADY = """
for n in range(1000):
    store.take_in(growers(n * 500, 500))
"""
DOUBLING = """
rows.LARGE = 1
for n in range(12):
    store.take_in(growers(1000 * 2**n, 1000 * 2**n))
"""


@pytest.mark.parametrize("intakes", [STEADY, DOUBLING], ids=["steady", "indexes built afterwards"])
def test_killed_at_any_moment_an_intake_is_whole_or_absent(intakes: str, tmp_path: Path) -> None:
    for number, wait in enumerate(WAITS):
        url = f"sqlite:///{tmp_path / f'{number}.sqlite'}"
        writer = started(BEGIN + intakes, url)
        assert writer.stdout is not None
        assert writer.stdout.readline() == "begun\n"
        time.sleep(wait)
        os.kill(writer.pid, signal.SIGKILL)
        writer.wait()
        with open_store(url) as store:
            rows, done, revision = counts(store)
            with store.reading() as link:
                assert indexes(link, "growers") == both("growers")
        assert rows == (500 * done if intakes == STEADY else 1000 * (2**done - 1))
        assert done == revision
    assert done > 0, "no intake was ever finished: the waits are too short"
