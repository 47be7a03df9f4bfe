"""The demo season, taken in once for all tests that look at it."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

from origin_compare import cli
from origin_compare.places import demo_folder
from origin_compare.season.folder import load_folder
from origin_compare.season.season import Season

# A busy machine is no fault: speed is measured in the benchmarks, never asserted here.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@pytest.fixture(scope="session")
def demo_season() -> Season:
    return load_folder(demo_folder())


@pytest.fixture(scope="session")
def demo_store_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store filled with the demo the way a user fills one: from the console."""
    file = tmp_path_factory.mktemp("stores") / "demo.sqlite"
    cli.main(["take-in", str(demo_folder()), "--store", f"sqlite:///{file}", "--who", "tests"])
    return file
