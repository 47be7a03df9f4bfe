"""Cells as they were written, read again from the file the store keeps."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from origin_compare.errors import RefusedFile, UnknownName
from origin_compare.intake.clean import raw_text
from origin_compare.intake.files.readers import read_sources

if TYPE_CHECKING:
    from origin_compare.store.store import Store

Place = tuple[int, str, str, int]
"""An intake, a file as its rows name it, a tab, a row."""


def as_written(store: Store, places: Iterable[Place]) -> dict[Place, str]:
    """Per place the row's cells as a JSON object by header; a place that is not there is left out.

    Each file is opened once, however many of its rows are asked for.
    """
    wanted: dict[tuple[int, str], list[Place]] = {}
    for place in places:
        wanted.setdefault((place[0], kept_name(store, place[0], place[1])), []).append(place)
    return {
        place: text
        for (intake_id, name), asked in wanted.items()
        for place, text in _in_file(store, intake_id, name, asked).items()
    }


def kept_name(store: Store, intake_id: int, file: str) -> str:
    """The file brought in that holds `file`: itself, or the archive it lies in."""
    brought = store.files(intake_id)["file"].tolist()
    holds = [name for name in brought if file == name or file.startswith(f"{name}/")]
    return max(holds, key=len) if holds else file


def _in_file(store: Store, intake_id: int, name: str, asked: list[Place]) -> dict[Place, str]:
    try:
        tables = read_sources([(name, store.original(intake_id, name))]).tables
    except (UnknownName, RefusedFile):
        return {}
    found: dict[Place, str] = {}
    for raw in tables:
        here = [place for place in asked if place[1:3] == (raw.file, raw.tab)]
        rows = np.array([place[3] for place in here], dtype=np.int64)
        there = np.isin(rows, raw.rows)
        at = np.searchsorted(raw.rows, rows[there])
        kept = (place for place, yes in zip(here, there, strict=True) if yes)
        found.update(zip(kept, raw_text(raw, at), strict=True))
    return found
