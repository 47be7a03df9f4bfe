"""Grids as tests write them, and what the layouts make of them."""

from __future__ import annotations

from collections.abc import Sequence

from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.blocks.block import Block
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.grid import Grid, Range, grid_of
from origin_compare.intake.layouts.laying import Laid, laid


def grid(rows: Sequence[Sequence[object]], tab: str = "", merged: tuple[Range, ...] = ()) -> Grid:
    """A grid of these cells, None for an empty one."""
    texts = [["" if cell is None else str(cell) for cell in row] for row in rows]
    return grid_of("log.xlsx", tab, texts, merged=merged)


def read(*grids: Grid, plans: Sequence[ReadingPlan] = (), batches: Sequence[str] = ()) -> Laid:
    """What the layouts make of grids, these batches being known."""
    return laid(grids, plans, lambda: Names().joined("fermentations", batches))


def only(*grids: Grid, plans: Sequence[ReadingPlan] = (), batches: Sequence[str] = ()) -> Block:
    """The one table the layouts make of grids."""
    (block,) = [
        one for blocks in read(*grids, plans=plans, batches=batches).blocks for one in blocks
    ]
    return block


def lines(block: Block) -> list[dict[str, str]]:
    """The rows of a table by header, empty cells left out."""
    return [
        {head: str(cell) for head, cell in zip(block.headers, row, strict=True) if cell}
        for row in block.cells
    ]
