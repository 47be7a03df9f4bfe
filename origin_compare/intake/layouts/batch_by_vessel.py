"""The batch of readings that name a vessel and a time: the one that lay in it then."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import pandas as pd

from origin_compare.intake.blocks.block import Block
from origin_compare.intake.blocks.labels import column_in
from origin_compare.intake.blocks.names import Names, Run
from origin_compare.intake.grid import Kind, kind_of
from origin_compare.intake.layouts import constants
from origin_compare.sheets.catalogue import SHEETS, Sheet

NAME = "batch by vessel"
LEAST_FOUND = 0.8
BEFORE, AFTER = pd.Timedelta(hours=1), pd.Timedelta(hours=12)
"""A reading may be noted a little before the yeast went in, and after the wash was let go."""
LONGEST = pd.Timedelta(days=10)


def batches_found(blocks: Sequence[Block], names: Names) -> list[Block]:
    """Tables of readings without a batch, with the batch that each row's vessel held at its time.

    Asked about: who moved a wash to another vessel knows better.
    """
    runs = [*names.runs, *(run for block in blocks for run in _runs_in(block, names.zone))]
    return [_with_batch(block, runs, names) if runs else block for block in blocks]


def _with_batch(given: Block, runs: Sequence[Run], names: Names) -> Block:
    block = constants.without_made_up(given, "batch_id")
    vessel = _at(block, SHEETS["fermentations"], "vessel")
    if vessel is None or given.said(NAME) == "no" or not block.height:
        return given
    if _at(block, SHEETS["readings"], "batch_id") is not None or _measures(block) == 0:
        return given
    times = _times(block, names.zone)
    found = [_one(runs, str(v), t) for v, t in zip(block.cells[:, vessel], times, strict=True)]
    share = sum(bool(one) for one in found) / len(found)
    if share < LEAST_FOUND:
        return given
    places = block.places[:, vessel].copy()
    added = block.beside("Batch", found, places, block.header_places[vessel])
    says = f"found the batch of {sum(map(bool, found))} rows by {block.headers[vessel]} and time"
    result = block.done(NAME, says, **added).asks(
        NAME,
        "Shall the batch be found by vessel and time?",
        f"{sum(map(bool, found))} of {len(found)} rows fall into one batch of their vessel.",
        ("yes", "no"),
        "yes",
    )
    return constants.with_constants(result, names)[0]


def _at(block: Block, sheet: Sheet, name: str) -> int | None:
    for at, header in enumerate(block.headers):
        column = column_in(header, sheet)
        if column is not None and column.name == name:
            return at
    return None


def _measures(block: Block) -> int:
    columns = (column_in(header, SHEETS["readings"]) for header in block.headers)
    return sum(one is not None and one.name in ("sg", "ph", "temp_c") for one in columns)


def _times(block: Block, zone: str) -> list[pd.Timestamp | None]:
    """Per row its moment in UTC, None where it is not written year first."""
    days = [at for at in range(block.width) if _first_kind(block, at) == Kind.MOMENT]
    clocks = [at for at in range(block.width) if _first_kind(block, at) == Kind.CLOCK]
    if len(days) != 1 or len(clocks) > 1:
        return [None] * block.height
    texts = [str(text) for text in block.cells[:, days[0]]]
    if clocks:
        times = block.cells[:, clocks[0]]
        texts = [f"{day[:10]} {clock}" for day, clock in zip(texts, times, strict=True)]
    return [in_utc(text, zone) for text in texts]


def _first_kind(block: Block, at: int) -> Kind:
    return kind_of(next(iter(block.filled(at)), ""))


def in_utc(text: str, zone: str) -> pd.Timestamp | None:
    """A moment written year first, in UTC; None for any other text."""
    try:
        read = dt.datetime.fromisoformat(text)
    except ValueError:
        return None
    local = read if read.tzinfo else read.replace(tzinfo=ZoneInfo(zone))
    return pd.Timestamp(local.astimezone(dt.UTC))


def _runs_in(block: Block, zone: str) -> list[Run]:
    """The batches of a table of fermentations, each with its vessel and its times."""
    sheet = SHEETS["fermentations"]
    names = ("batch_id", "vessel", "pitched_at", "ended_at")
    batch, vessel, began, ended = (_at(block, sheet, name) for name in names)
    if batch is None or vessel is None or began is None:
        return []
    runs = []
    for row in block.cells:
        start = in_utc(str(row[began]), zone)
        end = in_utc(str(row[ended]), zone) if ended is not None else None
        if start is not None:
            runs.append(Run(str(row[batch]), str(row[vessel]), start, end))
    return runs


def _one(runs: Sequence[Run], vessel: str, when: pd.Timestamp | None) -> str:
    """The one batch that lay in a vessel then, "" if none did or it is not sure."""
    if when is None:
        return ""
    own = sorted((run for run in runs if run.vessel == vessel), key=lambda run: run.began)
    held = []
    for run, then in zip(own, [*own[1:], None], strict=True):
        end = run.ended + AFTER if run.ended is not None else run.began + LONGEST
        last = min(end, then.began - BEFORE) if then is not None else end
        if run.began - BEFORE <= when <= last:
            held.append(run.batch)
    return held[0] if len(set(held)) == 1 else ""
