"""A block as the table the rest of the intake reads."""

from __future__ import annotations

import numpy as np
import pandas as pd

from origin_compare.intake.blocks.block import Block
from origin_compare.intake.findings import Finding, finding
from origin_compare.intake.grid import address
from origin_compare.intake.raw_table import RawTable, says


def as_raw(block: Block) -> RawTable:
    """The block as a table of text; every cell keeps its place."""
    cells = pd.DataFrame(block.cells, columns=range(block.width), dtype="str")
    return RawTable(
        block.file,
        block.tab,
        block.headers,
        cells,
        _rows(block),
        block.header_row,
        source=block.source,
        kind=block.kind,
        places=block.places,
        findings=_marked(block),
    )


def sketch_of(block: Block) -> RawTable:
    """The first rows of a block as a table, made cheaply: enough to tell what its columns hold."""
    top = top_of(block)
    return RawTable(
        block.file,
        block.tab,
        block.headers,
        pd.DataFrame(top.cells),
        np.arange(top.height),
        block.header_row,
        source=block.source,
        kind=block.kind,
    )


def top_of(block: Block, rows: int = 500) -> Block:
    """The first rows of a block, enough to tell what its columns hold."""
    if block.height <= rows:
        return block
    return block.done("", "", steps=block.steps, **block.only_rows(np.arange(rows)))


def _marked(block: Block) -> tuple[Finding, ...]:
    """Formulas without a value and spreadsheet errors, one finding per cell."""
    found = []
    for (row, column), mark in block.marks.items():
        if mark.lacks_value or mark.error:
            here = (block.places[..., 0] == row) & (block.places[..., 1] == column)
            for at, place in np.argwhere(here):
                wrong, mend = says(address(row, column), mark.lacks_value)
                header, text = block.headers[place], str(block.cells[at, place])
                found.append(finding([int(at)], header, [text], wrong, mend))
    return tuple(found)


def _rows(block: Block) -> np.ndarray:
    """Per row the row of the file most of its cells stand in: its last own one."""
    if not block.height or not block.width:
        return np.zeros(block.height, dtype=np.int64)
    rows = block.places[..., 0]
    filled = np.where(block.cells != "", rows, 0)
    return filled.max(axis=1).astype(np.int64)
