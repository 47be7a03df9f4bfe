"""Rows between data rows that name what the rows below belong to: `Batch F002`."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np

from origin_compare.intake.blocks.block import Block
from origin_compare.intake.blocks.labels import known, pair_in, tidy_label
from origin_compare.intake.blocks.names import LABELS, Names

NAME = "heading rows"
_BARE = re.compile(r"(?=[^\s]*[A-Za-z])[\w/.\-#]*\d[\w/.\-]*")


@dataclass(frozen=True, slots=True)
class _Heading:
    row: int
    label: str
    value: str
    at: int


def headings_as_columns(block: Block, names: Names) -> list[Block]:
    """Headings between rows become a column of the rows below them, up to the next heading.

    A heading without a label, such as `F002`, is taken for a batch and asked about.
    """
    if block.said(NAME) == "no" or block.height < 2:
        return [block]
    found = [one for row in range(block.height) for one in _headings(block, row, names)]
    own = [one for one in found if one.label]
    if own and (own[0].row == 0 or any(h.label == own[0].label for h in block.heads)):
        return [_with_columns(block, own)]
    if len(found) > 1 and not own and found[0].row == 0:
        return [_asked(_with_columns(block, [replace(one, label="Batch") for one in found]), found)]
    return [block]


def _headings(block: Block, row: int, names: Names) -> list[_Heading]:
    at = [int(place) for place in np.flatnonzero(block.cells[row] != "")]
    texts = [str(block.cells[row, place]) for place in at]
    if len(at) == 1 and at[0] == 0:
        inside = pair_in(texts[0])
        if inside:
            return [_Heading(row, *inside, at[0])]
        inner = re.search(r"\(([^()]+)\)\s*$", texts[0])
        for name in (texts[0], *([inner[1]] if inner else [])):
            kind = names.kind_of([name])
            if kind:
                return [_Heading(row, LABELS[kind], name, at[0])]
        return [_Heading(row, "", texts[0], at[0])] if _BARE.fullmatch(texts[0]) else []
    if len(at) % 2 or not at or len(at) * 2 > max(block.width, 4):
        return []
    pairs = list(zip(texts[::2], texts[1::2], at[1::2], strict=True))
    if all(known(tidy_label(label)) and not known(value) for label, value, _ in pairs):
        return [_Heading(row, tidy_label(label), value, place) for label, value, place in pairs]
    return []


def _asked(block: Block, found: list[_Heading]) -> Block:
    return block.asks(
        NAME,
        "Do the lines between the rows name the batch of the rows below them?",
        f"{found[0].value} and {len(found) - 1} more stand alone in their rows.",
        ("yes", "no"),
        "yes",
    )


def _with_columns(block: Block, headings: list[_Heading]) -> Block:
    rows = {one.row for one in headings}
    keep = np.array([row not in rows for row in range(block.height)])
    result = block
    labels = list(dict.fromkeys(one.label for one in headings))
    for label in reversed(labels):
        values, places = _filled(block, [one for one in headings if one.label == label])
        result = result.done(NAME, "", steps=result.steps, **result.beside(label, values, places))
    says = f"took {', '.join(labels)} from {len(rows)} heading rows between the rows of data"
    without = tuple(head for head in block.heads if head.label not in labels)
    return result.done(NAME, says, **result.only_rows(keep), heads=without)


def _filled(block: Block, headings: list[_Heading]) -> tuple[np.ndarray, np.ndarray]:
    """Per row the value of the last heading above it."""
    values = np.full(block.height, "", dtype=object)
    places = np.zeros((block.height, 2), dtype=np.int32)
    before = next((h for h in block.heads if h.label == headings[0].label), None)
    if before:
        values[:], places[:] = before.value, (before.row, before.column)
    for one in sorted(headings, key=lambda heading: heading.row):
        values[one.row :] = one.value
        places[one.row :] = block.places[one.row, one.at]
    return values, places
