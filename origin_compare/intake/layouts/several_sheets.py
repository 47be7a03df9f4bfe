"""One table that feeds several sheets: lot, malt, batch and spirit in one row."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePosixPath

import numpy as np

from origin_compare.intake.asking.reading_plan import IGNORE, ReadingPlan
from origin_compare.intake.blocks.as_table import sketch_of
from origin_compare.intake.blocks.block import Block
from origin_compare.intake.blocks.labels import sheets_with
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.cells.day_and_time import Mapped
from origin_compare.intake.headers import plain
from origin_compare.intake.layouts.constants import all_fitting, fitting
from origin_compare.intake.recognise import Guess, guess_as
from origin_compare.sheets.catalogue import SHEETS

NAME = "several sheets"
LEAST_OWN = 2
"""A further sheet must have so many columns that the first one has no use for."""


def per_sheet(block: Block, names: Names) -> list[Block]:
    """The table once per sheet it fits, each with that sheet's columns; equal rows once."""
    if block.said(NAME) == "no" or block.said("sheet"):
        return [block]
    first = fitting(block)
    if first is None or first.attributes or _is_named(block) or _is_tie(block, first):
        return [block]
    used = set(_columns(first))
    chosen = [first]
    raw = sketch_of(block)
    free = [head for at, head in enumerate(block.headers) if at not in used]
    further = {name for head in free for name in sheets_with(head)} - {first.sheet.name}
    guesses = [guess_as(raw, SHEETS[name]) for name in SHEETS if name in further]
    for guess in sorted(guesses, key=lambda one: one.weight, reverse=True):
        own = [one for one in guess.mapped if one.at not in used]
        if guess.fits and not guess.attributes and _enough(guess, own, chosen):
            chosen.append(guess)
            used |= set(_columns(guess))
    if len(chosen) == 1:
        return [block]
    named = {one.sheet.name for one in chosen}
    said = {one.header: IGNORE for guess in chosen for one in guess.mapped if not _is_key(one)}
    others = [
        guess_as(raw, sheet, ReadingPlan(name, said))
        for name, sheet in SHEETS.items()
        if name not in named
    ]
    chosen += [guess for guess in others if guess.fits and _binds(guess, named)]
    sheets = ", ".join(guess.sheet.name for guess in chosen)
    rest = [at for at in range(block.width) if at not in used]
    parts = [_part(block, guess, rest if guess is first else []) for guess in chosen]
    says = f"took the columns of {sheets} apart"
    return [
        part.done(NAME, says, sheet=guess.sheet.name)
        for part, guess in zip(parts, chosen, strict=True)
    ]


def _is_named(block: Block) -> bool:
    """Whether tab or file is called like one sheet: then it is that sheet alone."""
    stem = plain(PurePosixPath(block.file.replace("\\", "/")).stem)
    return any(
        plain(block.tab).startswith(name[:-1]) or stem.startswith(name[:-1]) for name in SHEETS
    )


def _is_tie(block: Block, first: Guess) -> bool:
    """Whether another sheet fits as well: which of them the table is has to be said."""
    fits = [guess for guess in all_fitting(block) if guess.weight == first.weight]
    return len(fits) > 1


def _enough(guess: Guess, own: Sequence[object], chosen: Sequence[Guess]) -> bool:
    names = [one.column.name for one in own]  # type: ignore[attr-defined]
    links = [name for name in names if name in guess.sheet.key]
    pointed = {column.links_to for one in chosen for column in one.sheet.columns}
    return len(names) >= LEAST_OWN or bool(links) or (bool(names) and guess.sheet.name in pointed)


def _is_key(one: Mapped) -> bool:
    return one.column.kind == "key"


def _binds(guess: Guess, named: set[str]) -> bool:
    """Whether a sheet says which row of one chosen sheet goes with which of another."""
    links = {one.column.links_to for one in guess.mapped if one.column.links_to}
    return len(links) > 1 and links <= named


def _columns(guess: Guess) -> list[int]:
    return [at for one in guess.mapped for at in (one.at, one.clock_at) if at >= 0]


def _part(block: Block, guess: Guess, rest: Sequence[int]) -> Block:
    columns = sorted({*_columns(guess), *rest})
    keys = [one.at for one in guess.mapped if one.column.name in guess.sheet.key]
    cells = block.cells[:, columns]
    seen: set[tuple[str, ...]] = set()
    keep = []
    for row in range(block.height):
        line = tuple(str(text) for text in cells[row])
        named = all(block.cells[row, at] for at in keys[:1])
        if line not in seen and any(line) and named:
            keep.append(row)
        seen.add(line)
    kept = np.array(keep, dtype=np.int64)
    narrowed = block.done(NAME, "", steps=block.steps, **block.only_columns(columns))
    return narrowed.done(NAME, "", steps=block.steps, **narrowed.only_rows(kept))
