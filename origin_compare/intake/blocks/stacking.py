"""Columns that stand side by side, put one below the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from origin_compare.intake.blocks.block import Block


@dataclass(frozen=True, slots=True)
class Across:
    """Columns that say the same of one thing each: its name, where that stands, the columns.

    `columns`: positions, -1 where this thing lacks the column the others have.
    """

    name: str
    place: tuple[int, int]
    columns: tuple[int, ...]


def stack(
    block: Block, groups: Sequence[Across], subs: Sequence[str], header: str | None
) -> dict[str, object]:
    """One row per row and group, as changes of `Block.done`; groups left empty make no row.

    `subs`: the headers of the groups' columns; `header`: that of the column with their names,
    None to leave the names out. All other columns stand in every row.
    """
    used = {column for group in groups for column in group.columns}
    fixed = [at for at in range(block.width) if at not in used]
    parts = [_part(block, group, fixed, header is not None) for group in groups]
    cells = np.stack([cells for cells, _ in parts], axis=1)
    places = np.stack([places for _, places in parts], axis=1)
    width = cells.shape[2]
    cells, places = cells.reshape(-1, width), places.reshape(-1, width, 2)
    keep = (cells[:, width - len(subs) :] != "").any(axis=1)
    named = [header] if header is not None else []
    first = groups[0]
    sub_places = [block.header_places[at] if at >= 0 else (0, 0) for at in first.columns]
    return {
        "headers": (*(block.headers[at] for at in fixed), *named, *subs),
        "groups": (*(block.groups[at] for at in fixed), *("" for _ in (*named, *subs))),
        "header_places": (
            *(block.header_places[at] for at in fixed),
            *(first.place for _ in named),
            *sub_places,
        ),
        "cells": cells[keep],
        "places": places[keep],
    }


def _part(
    block: Block, group: Across, fixed: Sequence[int], named: bool
) -> tuple[np.ndarray, np.ndarray]:
    """The fixed columns, the group's name, and its columns."""
    height = block.height
    at = [column for column in group.columns if column >= 0]
    own = np.full((height, len(group.columns)), "", dtype=object)
    own_places = np.zeros((height, len(group.columns), 2), dtype=np.int32)
    filled = [place for place, column in enumerate(group.columns) if column >= 0]
    own[:, filled] = block.cells[:, at]
    own_places[:, filled] = block.places[:, at]
    cells = [block.cells[:, list(fixed)], own]
    places = [block.places[:, list(fixed)], own_places]
    if named:
        cells.insert(1, np.full((height, 1), group.name, dtype=object))
        places.insert(1, np.tile(np.array([[group.place]], dtype=np.int32), (height, 1, 1)))
    return np.concatenate(cells, axis=1), np.concatenate(places, axis=1)
