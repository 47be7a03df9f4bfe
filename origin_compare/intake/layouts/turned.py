"""Tables that lie on their side: what each row is stands in its first cell, a column per record."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from origin_compare.intake.asking.reading_plan import ReadingPlan, plan_for
from origin_compare.intake.blocks.block import Block, Left
from origin_compare.intake.blocks.labels import (
    TAGS,
    UNITS,
    VALUES,
    is_unit,
    known,
    known_words,
    tidy_label,
    words,
)
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.grid import Grid
from origin_compare.intake.headers import plain
from origin_compare.sheets.units import split_unit

NAME = "turned table"
LEAST_KNOWN = 0.6
MOST_LABELS = 60
"""A table on its side has no more rows than a sheet has columns."""
_ASIDE = words("spec specification limits limit method methods target range")


def turned_upright(block: Block, names: Names) -> list[Block]:
    """A block whose first column holds headers, with a column per record, turned by a quarter."""
    if block.said(NAME) == "no" or not _lies(block) or _has_values(block):
        return [block]
    unit = next((at for at in range(1, block.width) if _is_units(block, at)), None)
    aside = [at for at in range(1, block.width) if plain(block.headers[at]) in _ASIDE]
    records = [at for at in range(1, block.width) if at != unit and at not in aside]
    first = tidy_label(block.headers[0])
    labels = [_labelled(block, row, unit) for row in range(block.height)]
    named = not all(head.startswith("column ") for head in (block.headers[at] for at in records))
    cells = block.cells[:, records].T.copy()
    places = block.places[:, records].transpose(1, 0, 2).copy()
    headers = list(labels)
    header_places = [(int(r), int(c)) for r, c in block.places[:, 0]]
    if named:
        headers.insert(0, first if known(first) else "Sample")
        header_places.insert(0, block.header_places[0])
        own = np.array([[block.headers[at]] for at in records], dtype=object)
        own_places = np.array([[block.header_places[at]] for at in records], dtype=np.int32)
        cells = np.concatenate([own, cells], axis=1)
        places = np.concatenate([own_places, places], axis=1)
    left = [Left(*block.header_places[at], block.headers[at], "is no record") for at in aside]
    says = f"turned the table by a quarter: {len(labels)} rows became columns"
    return [
        block.done(
            NAME,
            says,
            headers=tuple(headers),
            groups=("",) * len(headers),
            header_places=tuple(header_places),
            cells=cells,
            places=places,
            kind=known_words(headers),
            left=(*block.left, *left),
        )
    ]


def _lies(block: Block) -> bool:
    labels = [tidy_label(str(text)) for text in block.cells[:, 0] if text]
    sure = [text for text in labels if known(text)]
    enough = len(sure) >= 3 and len(sure) >= LEAST_KNOWN * len(labels)
    distinct = len(set(labels)) == len(labels)
    others = sum(known(head) for head in block.headers[1:])
    tags = plain(block.headers[0]) in TAGS and block.width > 2
    return enough and distinct and block.width >= 2 and (others <= 1 or tags)


def _has_values(block: Block) -> bool:
    """Whether a table of tags has a column of values: it is read as tag and value."""
    heads = {plain(header) for header in block.headers}
    return bool(heads & TAGS) and bool(heads & VALUES)


def _is_units(block: Block, at: int) -> bool:
    filled = block.filled(at)
    units = plain(block.headers[at]) in UNITS
    return units or (bool(filled) and all(is_unit(str(text)) for text in filled))


def _labelled(block: Block, row: int, unit: int | None) -> str:
    label = tidy_label(str(block.cells[row, 0]))
    told = str(block.cells[row, unit]) if unit is not None else ""
    return f"{label} ({told})" if told and not split_unit(label)[1] else label


def as_block(grid: Grid, plans: Sequence[ReadingPlan] = ()) -> Block | None:
    """A grid that is one table on its side without a header row; None if it is none."""
    filled = grid.text != ""
    often = filled.sum(axis=1)
    rows = np.flatnonzero(often > 1)
    used = np.flatnonzero(filled[rows].any(axis=0)) if len(rows) else rows
    if len(used) < 3 or len(rows) < 3:
        return None
    cells = grid.text[np.ix_(rows, used)]
    wide = (cells != "").sum(axis=1) > 2
    knowns = [sum(known(str(text)) for text in row[1:] if text) for row in cells]
    if wide.mean() < 0.5 or max(knowns) > 0 or len(cells) > MOST_LABELS:
        return None
    places = np.empty((*cells.shape, 2), dtype=np.int32)
    places[..., 0], places[..., 1] = rows[:, None] + 1, used[None, :] + 1
    headers = tuple(f"column {at + 1}" for at in used)
    titles = tuple(
        Left(int(row) + 1, int(at) + 1, str(grid.text[row, at]), "stands beside the table")
        for row in np.flatnonzero(often == 1)
        for at in np.flatnonzero(filled[row])
    )
    kind = known_words([tidy_label(str(text)) for text in cells[:, 0]])
    block = Block(
        grid.file,
        grid.tab,
        grid.source,
        headers,
        ("",) * len(used),
        tuple((0, int(at) + 1) for at in used),
        cells,
        places,
        titles=titles,
        kind=kind,
        plan=plan_for(kind, headers, plans),
        marks=grid.marks,
    )
    return block if _lies(block) else None
