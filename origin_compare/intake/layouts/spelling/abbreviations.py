"""Headers written short, with a key around the table that spells them: `CER`, `CER = cereal`."""

from __future__ import annotations

import re

import numpy as np

from origin_compare.intake.blocks.block import Block, Left
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.headers import plain

NAME = "abbreviations"
LEAST_SPELLED = 2
"""One word that happens to follow a header is no key yet."""
_TOLD = re.compile(r"(?P<short>[^\W\d_]{1,6})\s*[=:]\s*(?P<long>[^\W\d_]+(?: [^\W\d_]+)?)")


def spelled_out(block: Block, names: Names) -> list[Block]:
    """Headers take the words that a key in the last rows, or in a line around, gives for them."""
    if block.said(NAME) == "no":
        return [block]
    rows = _rows_of_key(block)
    told = {str(block.cells[row, at]): word for row, at, word in rows}
    told = {**_in_lines(block), **told}
    heads = {plain(short): word for short, word in told.items()}
    spelled = [header for header in block.headers if plain(header) in heads]
    if len(spelled) < LEAST_SPELLED:
        return [block]
    headers = tuple(heads.get(plain(header), header) for header in block.headers)
    keep = np.ones(block.height, dtype=bool)
    if rows:
        keep[_first_of_key(block, rows[0][0]) :] = False
    left = tuple(_as_left(block, int(row)) for row in np.flatnonzero(~keep))
    says = f"spelled out {', '.join(spelled)} by the key around the table"
    return [
        block.done(NAME, says, headers=headers, left=(*block.left, *left), **block.only_rows(keep))
    ]


def _rows_of_key(block: Block) -> list[tuple[int, int, str]]:
    """The last rows that hold a header and one word: (row, column of the header, the word)."""
    heads = {plain(header) for header in block.headers if header}
    found: list[tuple[int, int, str]] = []
    for row in range(block.height - 1, -1, -1):
        filled = np.flatnonzero(block.cells[row] != "")
        if not len(filled):
            continue
        texts = [str(block.cells[row, at]) for at in filled]
        if len(texts) != 2 or plain(texts[0]) not in heads or not texts[1][0].isalpha():
            break
        found.insert(0, (row, int(filled[0]), texts[1]))
    return found if len(found) >= LEAST_SPELLED else []


def _first_of_key(block: Block, row: int) -> int:
    """The row the key begins in: a line such as `Key:` above it belongs to it."""
    above = row - 1
    return above if above > 0 and int((block.cells[above] != "").sum()) == 1 else row


def _in_lines(block: Block) -> dict[str, str]:
    """Short -> long of lines such as `CER = cereal, FRU = fruity`, and of labels with values."""
    heads = {plain(header) for header in block.headers if header}
    told = {
        match["short"]: match["long"]
        for line in block.titles
        for match in _TOLD.finditer(line.text)
    }
    told |= {head.label: head.value for head in block.heads if head.value[:1].isalpha()}
    return {short: word for short, word in told.items() if plain(short) in heads}


def _as_left(block: Block, row: int) -> Left:
    texts = [str(text) for text in block.cells[row] if text]
    line, column = (int(one) for one in block.places[row, 0])
    return Left(line, column, " | ".join(texts), "is part of the key to the headers")
