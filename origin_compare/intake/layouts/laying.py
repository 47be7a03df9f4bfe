"""From grids to plain tables: every layout in turn, each saying what it did."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.blocks import header_lines, records_of, tables_joined
from origin_compare.intake.blocks.block import Block, Head, Left
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.blocks.tables_found import heads_in, tables_in
from origin_compare.intake.grid import Grid
from origin_compare.intake.headers import HEADER_WITHIN, find_header
from origin_compare.intake.layouts import (
    batch_by_vessel,
    constants,
    fill_down,
    heading_rows,
    hours_across,
    look_ups,
    names_across,
    out_of_sight,
    repeated_columns,
    rows_together,
    several_sheets,
    summary_rows,
    tag_and_value,
    title_units,
    turned,
)
from origin_compare.intake.layouts.spelling import abbreviations, shortened

Layout = Callable[[Block, Names], list[Block]]

LAYOUTS: tuple[Layout, ...] = (
    out_of_sight.struck_or_hidden,
    out_of_sight.comments_as_remarks,
    title_units.units_in_titles,
    abbreviations.spelled_out,
    summary_rows.without_notes,
    summary_rows.without_summaries,
    heading_rows.headings_as_columns,
    fill_down.filled_down,
    shortened.written_out,
    turned.turned_upright,
    hours_across.hours_as_rows,
    repeated_columns.repeats_as_rows,
    names_across.names_as_rows,
    tag_and_value.tags_as_columns,
    header_lines.one_line,
    constants.with_constants,
    several_sheets.per_sheet,
    rows_together.without_withdrawn,
    rows_together.summed,
)
"""In the order in which they are tried; each leaves a table it does not concern as it is."""


LEAST_RECORD = 3
"""A record says so much: fewer labels around a table may be there for the table alone."""
RECORD_SHARE = 0.6
"""A tab without a table is a record where so large a part of its cells are labels and values."""


@dataclass(frozen=True, slots=True)
class Laid:
    """What the layouts made of some grids.

    `blocks`: per grid its tables, in the order they lie; none where the grid is one plain table,
    or where nothing was found in it; `left`: (the grid's label, what was read and not used);
    `plain`: per grid whether it is one plain table.
    """

    blocks: tuple[tuple[Block, ...], ...]
    plain: tuple[bool, ...]
    left: tuple[tuple[str, Left], ...] = ()


def laid(
    grids: Sequence[Grid],
    plans: Sequence[ReadingPlan] = (),
    standing: Callable[[], Names] = Names,
) -> Laid:
    """The tables of grids of one intake; names in one help to read another.

    `standing`: the names that stand in the store, asked for only where a grid is no plain table.
    """
    found = [_of_grid(grid, plans, Names()) for grid in grids]
    plain = [_is_plain(grid, blocks) for grid, blocks in zip(grids, found, strict=True)]
    names = Names()
    if not all(plain):
        names = _names_in([block for blocks in found for block in blocks], standing())
        found = [
            blocks if one else _of_grid(grid, plans, names)
            for grid, blocks, one in zip(grids, found, plain, strict=True)
        ]
    owner = [at for at, blocks in enumerate(found) for _ in blocks]
    flat, used = look_ups.looked_up([block for blocks in found for block in blocks])
    flat = batch_by_vessel.batches_found(flat, names)
    left = [(grids[owner[at]].label, look_ups.as_left(flat[at])) for at in used]
    result: list[list[Block]] = [[] for _ in grids]
    for at, block in enumerate(flat):
        if at not in used:
            result[owner[at]].extend(_after_look_up(block, names))
    result = tables_joined.joined(result)
    plain = [_is_plain(grid, blocks) for grid, blocks in zip(grids, result, strict=True)]
    for grid, blocks in zip(grids, result, strict=True):
        left.extend((grid.label, one) for block in blocks for one in (*block.titles, *block.left))
        left.extend((grid.label, one) for one in _heads_left(blocks))
    kept = [() if one else tuple(blocks) for one, blocks in zip(plain, result, strict=True)]
    return Laid(tuple(kept), tuple(plain), tuple(dict.fromkeys(left)))


def _heads_left(blocks: Sequence[Block]) -> list[Left]:
    """Labels with values around tables that no table of the grid took a cell of."""
    heads = dict.fromkeys(head for block in blocks for head in block.heads if head.row)
    places = {(int(r), int(c)) for block in blocks for r, c in block.places.reshape(-1, 2)}
    return [
        Left(head.row, head.column, f"{head.label}: {head.value}", "is used by no table")
        for head in heads
        if (head.row, head.column) not in places
    ]


def is_plain(grid: Grid) -> bool:
    """Whether a grid is one plain table: no layout has anything to do."""
    return _is_plain(grid, _of_grid(grid, (), Names()))


def _is_plain(grid: Grid, blocks: Sequence[Block]) -> bool:
    if len(blocks) != 1:
        return False
    (block,) = blocks
    if block.steps or block.questions or block.sheet or any(block.groups):
        return False
    at = find_header([grid.row(row) for row in range(min(HEADER_WITHIN, grid.height))])
    return at is not None and at + 1 == block.header_row


def _after_look_up(block: Block, names: Names) -> list[Block]:
    if block.steps and block.steps[-1].name == look_ups.NAME:
        return constants.with_constants(replace(block, questions=()), names)
    return [block]


def _of_grid(grid: Grid, plans: Sequence[ReadingPlan], names: Names) -> list[Block]:
    lying = turned.as_block(grid, plans)
    if lying is not None:
        return through([lying], names)
    found = tables_in(grid, plans)
    if not found:
        heads, _ = heads_in(grid)
        if 2 * len(heads) < RECORD_SHARE * int((grid.text != "").sum()):
            return []
        return [
            one
            for record in records_of.records_in(heads)
            for one in _record(grid, record, plans, names)
        ]
    result: list[Block] = []
    told: set[tuple[Head, ...]] = set()
    cells = {
        (int(r), int(c))
        for block in found
        if block.height == 1
        for r, c in block.places.reshape(-1, 2)
    }
    for block in found:
        read = through([block], names)
        heads = tuple(head for head in block.heads if (head.row, head.column) not in cells)
        if heads and heads not in told:
            told.add(heads)
            sheets = {guess.sheet.name for one in read if (guess := constants.fitting(one))}
            records = [
                one
                for one in _record(grid, heads, plans, names)
                if (guess := constants.fitting(one)) and guess.sheet.name not in sheets
            ]
            result.extend(records)
        result.extend(read)
    return result


def _record(
    grid: Grid, heads: Sequence[Head], plans: Sequence[ReadingPlan], names: Names
) -> list[Block]:
    block = records_of.record_of(grid.file, grid.tab, grid.source, heads, plans)
    fits = constants.fitting(block)
    if fits is None or fits.weight < LEAST_RECORD:
        return []
    return through([block], names)


def through(blocks: Sequence[Block], names: Names) -> list[Block]:
    """Blocks after every layout in turn."""
    result = list(blocks)
    for layout in LAYOUTS:
        result = [one for block in result for one in layout(block, names)]
    return result


_NAMED = {
    "batch_id": "fermentations",
    "malt_id": "malts",
    "lot_id": "lots",
    "grower_id": "growers",
    "delivery_id": "yeasts",
    "vessel": "vessel",
    "assessor_id": "assessor",
}


def _names_in(blocks: Sequence[Block], names: Names) -> Names:
    """The names that tables without an open question give."""
    for block in blocks:
        guess = None if block.questions else constants.fitting(block)
        for one in guess.mapped if guess else ():
            kind = _NAMED.get(one.column.name)
            own = guess is not None and (
                kind == guess.sheet.name or kind in ("vessel", "assessor", "fermentations")
            )
            if kind and own:
                names = names.joined(kind, block.filled(one.at))
    return names
