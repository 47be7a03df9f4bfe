"""Cells left blank because they say the same as the cell above them."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

import numpy as np

from origin_compare.intake.blocks.block import Block
from origin_compare.intake.blocks.labels import sheets_with
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.grid import Kind, kind_of
from origin_compare.intake.headers import columns_for, plain
from origin_compare.sheets.catalogue import SHEETS, Column

NAME, MIDNIGHT = "fill down", "past midnight"
LEAST_BLANKS = 2
LEAST_BLANK = 0.25
"""Where fewer rows are blank, a cell may as well have been forgotten; it is then a fault."""

_DITTO = frozenset(
    {'"', "''", "″", "〃", "„", "“", "”", ",,", "do", "do.", "ditto", '-"-', '- " -'}
)
_NAMED = frozenset({"vessel", "still", "strain", "season"})


def filled_down(block: Block, names: Names) -> list[Block]:
    """Blank cells of keys, vessels and days take the cell above, and so do ditto marks.

    A column is filled where each value stands once, in its first row: a column that says a value
    in several rows running has blanks for another reason. A day is filled within one key only.
    """
    if block.said(NAME) == "no" or block.height < 2:
        return [block]
    cells, places = block.cells.copy(), block.places.copy()
    told: list[str] = []
    for at in range(block.width):
        count = _dittos(cells, places, at)
        if count:
            told.append(f"{block.headers[at]} ({count} ditto marks)")
    keys, days = _carrying(block)
    doubtful: list[str] = []
    runs = np.zeros(block.height, dtype=np.int64)
    for at in (*keys, *days):
        verdict = _verdict(cells, at, block)
        if verdict == "doubtful":
            doubtful.append(block.headers[at])
        if verdict in ("sure", "doubtful"):
            count = _fill(cells, places, at, runs if at in days else None)
            told.append(f"{block.headers[at]} ({count} cells)")
        if at in keys:
            runs = runs + _starts(cells, at)
    if not told:
        return [block]
    says = f"filled down {', '.join(told)}"
    result = block.done(NAME, says, cells=cells, places=places)
    if doubtful:
        result = _asked(result, doubtful)
    return [_past_midnight(block, result, days)]


def _dittos(cells: np.ndarray, places: np.ndarray, at: int) -> int:
    rows = [row for row in range(1, len(cells)) if str(cells[row, at]).casefold() in _DITTO]
    for row in rows:
        cells[row, at], places[row, at] = cells[row - 1, at], places[row - 1, at]
    return len(rows)


def _carrying(block: Block) -> tuple[list[int], list[int]]:
    """Positions of columns of keys and names, and of days, that may be left blank below."""
    keys, days = [], []
    for at, header in enumerate(block.headers):
        columns = _columns(header)
        if any(one.name == "attribute" for one in columns):
            continue
        if any(one.kind == "key" or one.name in _NAMED for one in columns):
            keys.append(at)
        elif _names_day(header, columns) and _holds_days(block, at):
            days.append(at)
    return keys, days


def _columns(header: str) -> list[Column]:
    return [one for name in sheets_with(header) for one in columns_for(header, SHEETS[name])[0]]


def _names_day(header: str, columns: list[Column]) -> bool:
    return plain(header) in ("day", "date") or any(
        one.kind in ("date", "moment") for one in columns
    )


def _holds_days(block: Block, at: int) -> bool:
    filled = block.filled(at)
    return bool(filled) and kind_of(str(filled[0])) == Kind.MOMENT


def _verdict(cells: np.ndarray, at: int, block: Block) -> str:
    """`sure`, `doubtful` or `no`: whether the blanks of a column mean the same as above."""
    column = cells[:, at]
    blank = column == ""
    if blank.sum() < LEAST_BLANKS or blank[0] or not _others_filled(cells, at, blank):
        return "no"
    if block.said(NAME) == "yes":
        return "sure"
    filled = [str(text) for text in column if text]
    repeats = sum(a == b for a, b in pairwise(filled))
    share = float(blank.mean())
    if repeats == 0 and share >= LEAST_BLANK:
        return "sure"
    return "doubtful" if share >= 2 * LEAST_BLANK else "no"


def _others_filled(cells: np.ndarray, at: int, blank: np.ndarray) -> bool:
    others = np.delete(cells[blank], at, axis=1) != ""
    return bool(others.any(axis=1).all())


def _fill(cells: np.ndarray, places: np.ndarray, at: int, runs: np.ndarray | None) -> int:
    count = 0
    for row in range(1, len(cells)):
        if cells[row, at] == "" and (runs is None or runs[row] == runs[row - 1]):
            cells[row, at], places[row, at] = cells[row - 1, at], places[row - 1, at]
            count += 1
    return count


def _starts(cells: np.ndarray, at: int) -> np.ndarray:
    """Numbers that rise by one wherever a key's value is another than in the row above."""
    changed = np.append([False], cells[1:, at] != cells[:-1, at])
    return np.cumsum(changed)


def _asked(block: Block, headers: list[str]) -> Block:
    return block.asks(
        NAME,
        f"Do the blank cells of {', '.join(headers)} mean the same as the cell above?",
        "Most cells of the column are blank, but some values are written in several rows.",
        ("yes", "no"),
        "yes",
    )


def _past_midnight(before: Block, block: Block, days: list[int]) -> Block:
    """Where the clock runs back below a day written once, the rows belong to the day after."""
    clocks = [at for at in range(block.width) if _is_clock(block, at)]
    if len(days) != 1 or len(clocks) != 1 or block.said(MIDNIGHT) == "no":
        return block
    day, clock = days[0], clocks[0]
    cells, moved, later = block.cells.copy(), 0, 0
    for row in range(1, block.height):
        if before.cells[row, day] != "":
            later = 0
            continue
        if _minutes(str(cells[row, clock])) < _minutes(str(cells[row - 1, clock])):
            later += 1
        if later:
            cells[row, day] = _day_after(str(cells[row, day]), later)
            moved += 1
    if not moved:
        return block
    says = f"took {moved} rows after midnight for the day after"
    return block.done(MIDNIGHT, says, cells=cells).asks(
        MIDNIGHT,
        "Do the rows in which the clock runs back below their date belong to the day after?",
        f"In {moved} rows the time is earlier than in the row above and no new date is written.",
        ("yes", "no"),
        "yes",
    )


def _is_clock(block: Block, at: int) -> bool:
    filled = block.filled(at)
    return bool(filled) and all(kind_of(text) == Kind.CLOCK for text in filled[:20])


def _minutes(clock: str) -> int:
    parts = clock.replace(".", ":").replace("h", ":").split(":")
    try:
        return int(parts[0]) * 60 + int(parts[1][:2])
    except (ValueError, IndexError):
        return 24 * 60


def _day_after(text: str, days: int) -> str:
    """The day after one written year first; another form gives an empty cell, which is a fault."""
    try:
        return (dt.date.fromisoformat(text[:10]) + dt.timedelta(days=days)).isoformat()
    except ValueError:
        return ""
