"""Tables that say different things of the same rows: a tab for gravity, another for temperature."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from origin_compare.intake.blocks.block import Block, Step
from origin_compare.intake.blocks.labels import column_in
from origin_compare.sheets.catalogue import SHEETS

NAME = "tables joined"
_MEASURED = frozenset(("sg", "ph", "temp_c", "cooling_pct"))


def joined(tables: Sequence[Sequence[Block]]) -> list[list[Block]]:
    """Tables of readings of one file, grid by grid, with those of the same rows made one."""
    result: list[list[Block]] = [[] for _ in tables]
    first: dict[tuple[object, ...], tuple[int, int]] = {}
    for grid, blocks in enumerate(tables):
        for block in blocks:
            told = _one_measure(block)
            key = None if told is None else (block.file, told[0])
            if key in first and told is not None:
                at, place = first[key]
                other = result[at][place]
                more = _joined(other, block, told[1])
                if more is not None:
                    result[at][place] = more
                    continue
            if key is not None:
                first.setdefault(key, (grid, len(result[grid])))
            result[grid].append(block)
    return result


def _one_measure(block: Block) -> tuple[tuple[str, ...], int] | None:
    """The headers that tell the rows, and the position of the one measured column."""
    columns = [column_in(header, SHEETS["readings"]) for header in block.headers]
    measured = [at for at, one in enumerate(columns) if one is not None and one.name in _MEASURED]
    names = {one.name for one in columns if one is not None}
    if len(measured) != 1 or not block.steps or not {"batch_id", "hours"} <= names:
        return None
    rest = tuple(head for at, head in enumerate(block.headers) if at not in measured)
    return rest, measured[0]


def _joined(block: Block, other: Block, at: int) -> Block | None:
    """The block with the other's measured column beside; None if it has that column already."""
    header = other.headers[at]
    if header in block.headers:
        return None
    rest = [i for i in range(other.width) if i != at]
    own = [block.headers.index(other.headers[i]) for i in rest]
    rows = {tuple(block.cells[row, own]): row for row in range(block.height)}
    theirs = {tuple(other.cells[row, rest]): row for row in range(other.height)}
    if len(rows) < block.height or len(theirs) < other.height:
        return None
    more = [row for key, row in theirs.items() if key not in rows]
    height = block.height + len(more)
    cells = np.full((height, block.width + 1), "", dtype=object)
    places = np.zeros((*cells.shape, 2), dtype=np.int32)
    cells[: block.height, :-1] = block.cells
    places[: block.height, :-1] = block.places
    for offset, row in enumerate(more):
        cells[block.height + offset, own] = other.cells[row, rest]
        places[block.height + offset, own] = other.places[row, rest]
    index = rows | {
        key: block.height + i for i, key in enumerate(key for key in theirs if key not in rows)
    }
    for key, row in theirs.items():
        cells[index[key], -1] = other.cells[row, at]
        places[index[key], -1] = other.places[row, at]
    says = f"joined {header} of {other.tab or 'the next table'} to the same rows"
    return block.done(
        NAME,
        says,
        headers=(*block.headers, header),
        groups=(*block.groups, ""),
        header_places=(*block.header_places, other.header_places[at]),
        cells=cells,
        places=places,
        steps=(*block.steps, *other.steps, Step(NAME, says)),
        left=(*block.left, *other.left),
        questions=(*block.questions, *other.questions),
    )
