"""Rows struck through or hidden, and comments: said, asked about, and kept as remarks."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from origin_compare.intake.blocks.block import Block, Left
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.grid import Mark
from origin_compare.intake.headers import plain

STRUCK, HIDDEN, COMMENTS = "struck-out rows", "hidden rows", "comments"
LEAVE, READ = "leave them out", "read them"
_NOTES = frozenset({"note", "notes", "remark", "remarks", "comment", "comments"})


def struck_or_hidden(block: Block, names: Names) -> list[Block]:
    """Struck-out and hidden rows are left out or read as was said; until then they are asked."""
    if not block.marks and not block.hidden_rows:
        return [block]
    struck = _rows_where(block, _is_struck)
    rows = _rows_of(block)
    hidden = np.isin(rows, list(block.hidden_rows)) & ~struck
    result = _without(block, struck, STRUCK, "struck through", LEAVE)
    if hidden.any():
        hidden = np.isin(_rows_of(result), list(block.hidden_rows))
        result = _without(result, hidden, HIDDEN, "hidden", READ)
    return [result]


def comments_as_remarks(block: Block, names: Names) -> list[Block]:
    """Comments of a row's cells join its note, so that they are kept with the row."""
    told = [_comments(block, row) for row in range(block.height)] if block.marks else []
    if not any(told):
        return [block]
    count = sum(bool(text) for text in told)
    says = f"kept the comments of {count} {'row' if count == 1 else 'rows'} as remarks"
    at = next((i for i, head in enumerate(block.headers) if plain(head) in _NOTES), None)
    if at is None:
        added = block.beside("note", told, np.zeros((block.height, 2), dtype=np.int32))
        return [block.done(COMMENTS, says, **added)]
    cells = block.cells.copy()
    for row, text in enumerate(told):
        cells[row, at] = "; ".join(part for part in (str(cells[row, at]), text) if part)
    return [block.done(COMMENTS, says, cells=cells)]


def _without(block: Block, rows: np.ndarray, key: str, how: str, default: str) -> Block:
    """The block without some rows if that was said, with them if that was, else with a question."""
    if not rows.any():
        return block
    said = block.said(key)
    numbers = [str(row) for row in _rows_of(block)[rows]]
    listed = ", ".join(numbers[:6]) + (" and more" if len(numbers) > 6 else "")
    if not said:
        one = len(numbers) == 1
        what = f"{'A row is' if one else f'{len(numbers)} rows are'} {how}: read or leave out?"
        return block.asks(key, what, f"Row {listed}.", (LEAVE, READ), default)
    if said.startswith("read"):
        return block.done(key, f"read rows that are {how}, as was said: {listed}")
    left = [_left(block, int(row), f"is {how}") for row in np.flatnonzero(rows)]
    changes = block.only_rows(~rows)
    says = f"left out rows that are {how}, as was said: {listed}"
    return block.done(key, says, **changes, left=(*block.left, *left))


def _rows_of(block: Block) -> np.ndarray:
    """Per row of the block the row of the file its cells stand in."""
    return block.places[..., 0].max(axis=1) if block.height else np.zeros(0, dtype=np.int64)


def _rows_where(block: Block, is_so: Callable[[Mark], bool]) -> np.ndarray:
    """Rows all of whose filled cells carry such a mark."""
    found = np.zeros(block.height, dtype=bool)
    for row in range(block.height):
        marks = [
            block.marks.get((int(r), int(c)))
            for (r, c), text in zip(block.places[row], block.cells[row], strict=True)
            if text
        ]
        found[row] = bool(marks) and all(mark is not None and is_so(mark) for mark in marks)
    return found


def _is_struck(mark: Mark) -> bool:
    return mark.struck


def _comments(block: Block, row: int) -> str:
    marks = (block.marks.get((int(r), int(c))) for r, c in block.places[row])
    return "; ".join(" ".join(mark.comment.split()) for mark in marks if mark and mark.comment)


def _left(block: Block, row: int, why: str) -> Left:
    at = int(np.flatnonzero(block.cells[row] != "")[0])
    texts = " | ".join(str(text) for text in block.cells[row] if text)
    return Left(int(block.places[row, at, 0]), int(block.places[row, at, 1]), texts, why)
