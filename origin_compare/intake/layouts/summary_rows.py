"""Rows that are no data: totals and averages, the header once more, lines of text below."""

from __future__ import annotations

import numpy as np

from origin_compare.intake.blocks.block import Block, Left
from origin_compare.intake.blocks.labels import is_summary, pair_in
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.grid import Kind, kind_of
from origin_compare.intake.headers import plain

NAME, NOTES = "totals", "notes"


def without_summaries(block: Block, names: Names) -> list[Block]:
    """The table without rows that sum others up, and without its header said again."""
    if block.said(NAME) == "no":
        return [block]
    again = np.array([_is_header(block, row) for row in range(block.height)], dtype=bool)
    sums = np.array([_first_says(block, row) for row in range(block.height)], dtype=bool) & ~again
    if not (again | sums).any():
        return [block]
    left = [_left(block, int(row), "sums up other rows") for row in np.flatnonzero(sums)]
    says = []
    if sums.any():
        says.append(f"left out {int(sums.sum())} rows of totals and averages")
    if again.any():
        says.append(f"passed over the header said again {int(again.sum())} times")
    changes = block.only_rows(~(again | sums))
    return [block.done(NAME, " and ".join(says), **changes, left=(*block.left, *left))]


def without_notes(block: Block, names: Names) -> list[Block]:
    """The table without lines of text below its last row of data."""
    filled = (block.cells != "").sum(axis=1)
    last = block.height
    while last > 0 and _is_note(block, last - 1, int(filled[last - 1])):
        last -= 1
    if last in (block.height, 0) or block.width < 3:
        return [block]
    notes = range(last, block.height)
    left = [_left(block, row, "is a line of text below the table") for row in notes]
    changes = block.only_rows(np.arange(last))
    says = f"left out {len(notes)} lines of text below the table"
    return [block.done(NOTES, says, **changes, left=(*block.left, *left))]


def _is_note(block: Block, row: int, filled: int) -> bool:
    if filled != 1:
        return False
    text = str(next(text for text in block.cells[row] if text))
    return kind_of(text) == Kind.TEXT and " " in text and pair_in(text) is None


def _first_says(block: Block, row: int) -> bool:
    at = next((at for at, text in enumerate(block.cells[row]) if text), -1)
    if at < 0 or not is_summary(str(block.cells[row, at])):
        return False
    return at == 0 or not _counts_rows(block, at)


def _counts_rows(block: Block, at: int) -> bool:
    """Whether a column numbers the rows of a thing, one of them being their mean."""
    told = [str(text) for text in block.cells[:, at] if text]
    figures = sum(text.isdigit() for text in told)
    return figures * 2 >= len(told)


def _is_header(block: Block, row: int) -> bool:
    said = [
        (plain(head), plain(str(text)))
        for head, text in zip(block.headers, block.cells[row], strict=True)
        if text
    ]
    return len(said) >= 2 and all(head.startswith(text) for head, text in said)


def _left(block: Block, row: int, why: str) -> Left:
    at = int(np.flatnonzero(block.cells[row] != "")[0])
    texts = " | ".join(str(text) for text in block.cells[row] if text)
    return Left(int(block.places[row, at, 0]), int(block.places[row, at, 1]), texts, why)
