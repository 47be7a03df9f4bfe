"""Stores the pages are opened on: the demo's, one's own copy of it, an empty one."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest


@pytest.fixture
def full(demo_store_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "store.sqlite"
    shutil.copy(demo_store_file, file)
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{file}")
    return file


@pytest.fixture(scope="session")
def looked_at(demo_store_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One store for all tests that only look, so that its answers are worked out once."""
    return Path(shutil.copy(demo_store_file, tmp_path_factory.mktemp("looked_at") / "demo.sqlite"))


@pytest.fixture
def read_only(looked_at: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{looked_at}")
    return looked_at


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{tmp_path / 'empty.sqlite'}")
