"""Where in a grid the tables lie: headers of one to three lines, and what stands around them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from origin_compare.intake.asking.reading_plan import ReadingPlan, plan_for
from origin_compare.intake.blocks.block import Block, Head, Left
from origin_compare.intake.blocks.labels import TAGS, is_unit, known, known_words, pair_in
from origin_compare.intake.blocks.rows_seen import RowsSeen
from origin_compare.intake.grid import Grid, Kind, kind_of
from origin_compare.intake.headers import plain
from origin_compare.sheets.units import split_unit

MOST_HEADER_LINES = 3


@dataclass(frozen=True, slots=True)
class _Lines:
    """The lines of one header: `top` its first row, `last` its last (positions from 0)."""

    top: int
    last: int


@dataclass(frozen=True, slots=True)
class _Part:
    """A header with the rows that belong to it: those above it from `start`, its own to `end`."""

    start: int
    lines: _Lines
    end: int


def tables_in(grid: Grid, plans: Sequence[ReadingPlan] = ()) -> list[Block]:
    """The tables of a grid from top to bottom and left to right; none where no header is found."""
    seen = RowsSeen(grid, plans)
    blocks: list[Block] = []
    carried: tuple[Head, ...] = ()
    for part in _parts(seen):
        found = _blocks_of(seen, part, carried, plans)
        blocks.extend(found)
        carried = _carried(carried, found)
    return blocks


def heads_in(grid: Grid, rows: Iterable[int] | None = None) -> tuple[tuple[Head, ...], list[Left]]:
    """Labels with values, and lines of text, in these rows (positions; all of them if None)."""
    seen = RowsSeen(grid)
    return _around(seen, range(grid.height) if rows is None else rows, 0, grid.width)


def _parts(seen: RowsSeen) -> list[_Part]:
    headers = _headers(seen)
    parts: list[_Part] = []
    start = 0
    for at, lines in enumerate(headers):
        if at + 1 < len(headers):
            end = _reach_up(seen, headers[at + 1].top, lines)
        else:
            end = _before_heads(seen, seen.grid.height, lines.last + 1)
        parts.append(_Part(start, lines, end))
        start = end
    return parts


def _headers(seen: RowsSeen) -> list[_Lines]:
    """Every header of the grid; one that says the same again further down is left to its table."""
    found: list[_Lines] = []
    last = -1
    for row in seen.maybe_headers():
        if row <= last or not seen.is_header(row):
            continue
        lines = _lines_at(seen, row)
        if not (found and _again(seen, found[-1], lines)):
            found.append(lines)
        last = lines.last
    return found


def _lines_at(seen: RowsSeen, row: int) -> _Lines:
    top = last = row
    while (
        last + 1 < seen.grid.height
        and last - top + 1 < MOST_HEADER_LINES
        and seen.is_more_header(last + 1, last)
    ):
        last += 1
    while top > 0 and last - top + 1 < MOST_HEADER_LINES and seen.is_group(top - 1, row):
        top -= 1
    return _Lines(top, last)


def _again(seen: RowsSeen, before: _Lines, now: _Lines) -> bool:
    """Whether a header is the one before once more, with no label and value in between."""
    first, second = (list(seen.grid.text[lines.last]) for lines in (before, now))
    between = range(before.last + 1, now.top)
    heads = any(_tells(seen, row) for row in between)
    return first == second and not heads


def _tells(seen: RowsSeen, row: int) -> bool:
    """Whether a row is a label with its value: pairs, or a line such as `Batch F002`."""
    at = seen.filled(row)
    return seen.is_pairs(row) or (len(at) == 1 and pair_in(seen.text(row, at[0])) is not None)


def _reach_up(seen: RowsSeen, top: int, above: _Lines) -> int:
    """The first row that belongs to what stands at `top`: heads, titles and blank rows above it.

    Rows of a table of labels and values look like heads; there only a blank row parts the two.
    """
    row, floor = top, above.last + 1
    of_pairs = _holds_pairs(seen, above)
    while row > floor and (
        seen.is_blank(row - 1) or seen.is_pairs(row - 1) or len(seen.filled(row - 1)) == 1
    ):
        row -= 1
        if of_pairs and seen.is_blank(row):
            break
    return top if of_pairs and not seen.is_blank(row) else row


def _before_heads(seen: RowsSeen, end: int, floor: int) -> int:
    """Where a last table ends: labels with values below a blank row belong to its heads."""
    row = end
    while row > floor and (seen.is_blank(row - 1) or seen.is_pairs(row - 1)):
        row -= 1
    return next((at for at in range(row, end) if seen.is_blank(at)), end)


def _holds_pairs(seen: RowsSeen, lines: _Lines) -> bool:
    """Whether the table below a header is one of labels and values, such as a certificate's."""
    return bool({plain(text) for text in seen.grid.text[lines.last] if text} & TAGS)


def _blocks_of(
    seen: RowsSeen, part: _Part, carried: tuple[Head, ...], plans: Sequence[ReadingPlan]
) -> list[Block]:
    bands = _bands(seen, part)
    above = range(part.start, part.lines.top)
    below = range(part.end, seen.grid.height) if part.end < seen.grid.height else range(0)
    trailing = [row for row in below if seen.is_pairs(row)] if _is_last(seen, part) else []
    blocks = []
    for at, (left, right) in enumerate(bands):
        heads, titles = _around(seen, [*above, *trailing], left, right)
        if at:
            first, _ = _around(seen, above, bands[0][0], bands[0][1])
            heads = _joined(first, heads)
        heads = _joined(carried, heads)
        blocks.append(_block(seen, part, left, right, heads, titles, plans))
    return blocks


def _is_last(seen: RowsSeen, part: _Part) -> bool:
    return all(
        seen.is_blank(row) or seen.is_pairs(row) for row in range(part.end, seen.grid.height)
    )


def _bands(seen: RowsSeen, part: _Part) -> list[tuple[int, int]]:
    """Column ranges of the tables that share a header row: one, or several side by side."""
    rows = slice(part.lines.top, part.end)
    used = (seen.grid.text[rows] != "").any(axis=0)
    runs = _runs(used)
    if len(runs) < 2:
        return [(0, seen.grid.width)]
    names = [_names(seen, part.lines, left, right) for left, right in runs]
    apart = [
        len(set(one) & set(other)) >= min(2, len(one)) and bool(one)
        for one, other in pairwise(names)
    ]
    separate = all(apart) or all(_stands_alone(one) for one in names)
    if not separate:
        return [(0, seen.grid.width)]
    lefts = [0, *(left for left, _ in runs[1:])]
    return [(left, right) for left, right in zip(lefts, [*lefts[1:], seen.grid.width], strict=True)]


def _runs(used: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], used.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _names(seen: RowsSeen, lines: _Lines, left: int, right: int) -> list[str]:
    row = seen.grid.text[lines.last, left:right]
    return [plain(text) for text in row if text]


def _stands_alone(names: Sequence[str]) -> bool:
    return len(names) >= 2 and all(known(name) for name in names[:2])


def _around(
    seen: RowsSeen, rows: Iterable[int], left: int, right: int
) -> tuple[tuple[Head, ...], list[Left]]:
    heads: list[Head] = []
    lines: list[Left] = []
    for row in rows:
        taken = [head for head in seen.pairs(row) if left < head.column <= right]
        heads.extend(taken)
        if seen.is_pairs(row):
            continue
        used = {head.column for head in taken}
        lines.extend(
            Left(row + 1, at + 1, seen.text(row, at), "stands above the table")
            for at in seen.filled(row)
            if left <= at < right and at + 1 not in used
        )
    return tuple(heads), lines


def _joined(before: Sequence[Head], heads: Sequence[Head]) -> tuple[Head, ...]:
    """Heads, those before kept unless said anew."""
    own = {plain(head.label) for head in heads}
    return (*(head for head in before if plain(head.label) not in own), *heads)


def _carried(before: tuple[Head, ...], blocks: Sequence[Block]) -> tuple[Head, ...]:
    """Heads that hold for the tables further down: those above, and a table of a single row."""
    if len(blocks) != 1:
        return before
    (block,) = blocks
    row: tuple[Head, ...] = ()
    if block.height == 1:
        row = tuple(
            Head(header, text, int(block.places[0, at, 0]), int(block.places[0, at, 1]))
            for at, (header, text) in enumerate(zip(block.headers, block.cells[0], strict=True))
            if header and text
        )
    return _joined(block.heads, row)


def _block(
    seen: RowsSeen,
    part: _Part,
    left: int,
    right: int,
    heads: tuple[Head, ...],
    titles: Sequence[Left],
    plans: Sequence[ReadingPlan],
) -> Block:
    body = slice(part.lines.last + 1, part.end)
    headers, groups, header_places = _headed(seen, part.lines, left, right)
    text = seen.grid.text[body, left:right]
    used = [at for at in range(right - left) if headers[at] or (text[:, at] != "").any()]
    cells = text[:, used]
    filled = (cells != "").any(axis=1)
    rows = np.arange(part.lines.last + 2, part.end + 1, dtype=np.int32)
    places = np.empty((*cells.shape, 2), dtype=np.int32)
    places[..., 0] = rows[:, None]
    places[..., 1] = np.array(used, dtype=np.int32)[None, :] + left + 1
    own = tuple(headers[at] or f"column {at + left + 1}" for at in used)
    over = {groups[at] for at in used}
    if len(over) == 1 and "" not in over:
        heads, titles = _one_title(over.pop(), heads, titles, part.lines.top + 1, left + 1)
        groups = [""] * len(groups)
    heads = _dated(heads, titles)
    kind = known_words([*(headers[at] for at in used), *(groups[at] for at in used)])
    return Block(
        seen.grid.file,
        seen.grid.tab,
        seen.grid.source,
        own,
        tuple(groups[at] for at in used),
        tuple(header_places[at] for at in used),
        cells[filled],
        places[filled],
        heads,
        tuple(titles),
        kind,
        plan_for(kind, own, plans),
        marks=seen.grid.marks,
        hidden_rows=seen.grid.hidden_rows,
    )


def _one_title(
    text: str, heads: tuple[Head, ...], titles: Sequence[Left], row: int, column: int
) -> tuple[tuple[Head, ...], Sequence[Left]]:
    """A line over all columns of a table is its title, or a label with its value."""
    inside = pair_in(text)
    if inside:
        return _joined(heads, (Head(*inside, row, column),)), titles
    return heads, (*titles, Left(row, column, text, "stands above the table"))


def _dated(heads: tuple[Head, ...], titles: Sequence[Left]) -> tuple[Head, ...]:
    """A day that stands alone above a table is its date."""
    days = [line for line in titles if kind_of(line.text) == Kind.MOMENT]
    if len(days) != 1 or any(plain(head.label) == "date" for head in heads):
        return heads
    return (*heads, Head("Date", days[0].text, days[0].row, days[0].column))


def _headed(
    seen: RowsSeen, lines: _Lines, left: int, right: int
) -> tuple[list[str], list[str], list[tuple[int, int]]]:
    """Per column its header, the group above it, and where the header stands."""
    rows = [
        _spread(seen, row, left, right, row == lines.last)
        for row in range(lines.top, lines.last + 1)
    ]
    headers, groups, places = [], [], []
    units = lines.last > lines.top and seen.is_units(lines.last)
    for at in range(right - left):
        path = [
            (row, cells[at])
            for row, cells in zip(range(lines.top, lines.last + 1), rows, strict=True)
            if cells[at][0]
        ]
        path = [one for one in path if one[1][1] or one[0] != lines.last]
        header, group, place = _flat(path, at + left, units)
        headers.append(header)
        groups.append(group)
        places.append(place)
    return headers, groups, places


_Cell = tuple[str, bool]
"""A text, and whether it stands in this very column rather than reaching into it."""


def _flat(
    path: Sequence[tuple[int, _Cell]], column: int, units: bool
) -> tuple[str, str, tuple[int, int]]:
    own = [(row, text) for row, (text, here) in path if here]
    if not own:
        return "", "", (0, 0)
    row, header = own[-1]
    above = [text for other, (text, _) in path if other < row]
    if units and is_unit(header.strip("()[]")) and above:
        joined = _with_unit(above[-1], header.strip("()[]"))
        return joined, " ".join(above[:-1]), (row + 1, column + 1)
    return header, " ".join(dict.fromkeys(above)), (row + 1, column + 1)


def _with_unit(name: str, unit: str) -> str:
    """A header with the unit below it; per cent by volume makes it the strength of the thing."""
    if split_unit(name)[1]:
        return name
    if plain(unit) in ("vol", "abv") and known(f"{name} abv"):
        return f"{name} abv"
    return f"{name} ({unit})"


def _spread(seen: RowsSeen, row: int, left: int, right: int, last: bool) -> list[_Cell]:
    """A header line by column; a group's name reaches right over the columns that are its own."""
    cells: list[_Cell] = []
    merged = _merged_at(seen.grid, row)
    name, until = "", -1
    for column in range(left, right):
        text = seen.text(row, column)
        if text:
            name, until = text, merged.get(column, right if not merged else column)
            cells.append((text, True))
        else:
            cells.append((name, False) if not last and column <= until else ("", False))
    return cells


def _merged_at(grid: Grid, row: int) -> dict[int, int]:
    """First column -> last column (positions) of the merged ranges that begin in a row."""
    return {one[1] - 1: one[3] - 1 for one in grid.merged if one[0] == row + 1 and one[3] > one[1]}
