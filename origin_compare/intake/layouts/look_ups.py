"""Names behind codes: a key on another tab or in another file says which batch a code is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from origin_compare.intake.blocks.block import Block, Left
from origin_compare.intake.blocks.labels import column_in
from origin_compare.intake.headers import plain
from origin_compare.intake.layouts import constants
from origin_compare.intake.layouts.constants import fitting
from origin_compare.sheets.catalogue import SHEETS

NAME = "look-up"
LEAST_CODES = 2


def looked_up(blocks: Sequence[Block]) -> tuple[list[Block], list[int]]:
    """Tables with their codes replaced by what a key says; the positions of keys used up."""
    keys = [at for at, block in enumerate(blocks) if _key_columns(block) is not None]
    used: set[int] = set()
    result = list(blocks)
    for at, block in enumerate(blocks):
        for key in keys:
            if key != at and block.said(NAME) != "no":
                found = _replaced(result[at], blocks[key])
                if found is not None:
                    result[at] = found
                    used.add(key)
                    break
    return result, sorted(used)


def _key_columns(block: Block) -> tuple[list[int], int] | None:
    """Positions of the codes (and what they hold within), and of the names; None if no key."""
    if not 2 <= block.width <= 4 or not block.height or fitting(block) is not None:
        return None
    batch = [at for at, header in enumerate(block.headers) if _is_batch(header)]
    if len(batch) != 1:
        return None
    codes = [at for at in range(block.width) if at != batch[0]]
    return codes, batch[0]


def _is_batch(header: str) -> bool:
    column = column_in(header, SHEETS["scores"])
    return column is not None and column.name == "batch_id"


def _replaced(block: Block, key: Block) -> Block | None:
    columns = _key_columns(key)
    block = constants.without_made_up(block, "batch_id")
    if columns is None or any(_is_batch(header) for header in block.headers):
        return None
    codes, name = columns
    shared = _shared(block, key, codes)
    if not shared:
        return None
    ours, theirs = [one for one, _ in shared], [other for _, other in shared]
    told = {
        tuple(str(key.cells[row, at]) for at in theirs): str(key.cells[row, name])
        for row in range(key.height)
    }
    asked = [tuple(str(block.cells[row, at]) for at in ours) for row in range(block.height)]
    if len(told) < key.height or len(set(asked)) < LEAST_CODES or not set(asked) <= set(told):
        return None
    values = np.array([told[one] for one in asked], dtype=object)
    code = ours[-1]
    places = block.places[:, code].copy()
    header = key.headers[name]
    rest = [at for at in range(block.width) if at != code]
    says = f"looked up {header} by {block.headers[code]} in {key.tab or key.file}"
    added = block.beside(header, values, places, block.header_places[code])
    widened = block.done(NAME, says, **added)
    return widened.done(
        NAME, says, steps=widened.steps, **widened.only_columns([0, *(at + 1 for at in rest)])
    )


def _shared(block: Block, key: Block, codes: Sequence[int]) -> list[tuple[int, int]]:
    """Columns of table and key that say the same; by header, else the one whose codes fit."""
    heads = [plain(header) for header in block.headers]
    pairs = [
        (heads.index(plain(key.headers[at])), at) for at in codes if plain(key.headers[at]) in heads
    ]
    if pairs:
        return pairs
    if len(codes) != 1:
        return []
    told = {str(text) for text in key.cells[:, codes[0]] if text}
    columns = {at: set(block.filled(at)) for at in range(block.width)}
    fits = [at for at, own in columns.items() if len(own) >= LEAST_CODES and own <= told]
    return [(fits[0], codes[0])] if len(fits) == 1 else []


def as_left(key: Block) -> Left:
    """A key as something read and used up."""
    return Left(key.header_row, 1, " | ".join(key.headers), "was used to look names up")
