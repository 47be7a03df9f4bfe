"""Labels with values around a table, and names of tabs and files, as columns of the table."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

import numpy as np

from origin_compare.intake.blocks.as_table import sketch_of, top_of
from origin_compare.intake.blocks.block import Block, Head, at_one_place
from origin_compare.intake.blocks.labels import column_in, known, sheets_with
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.grid import Kind, kind_of
from origin_compare.intake.recognise import Guess, guess_as
from origin_compare.sheets.catalogue import SHEETS, Sheet

NAME, FROM_NAMES = "constants", "names of tabs and files"
TITLE = "the line above the table"
TAB, FILE, DAY, COLUMN = "the tab's name", "the file's name", "the day", "the column "
LEAST_ATTRIBUTES = 3
OUTWEIGHED = 2
"""A sheet that fits gives way to one that knows so many more of the headers but lacks a key."""
_HELD = frozenset(("served_abv_pct", "test_temp_c", "test_h"))
"""Figures that one setting gives to all rows of a table."""
_MEASURED = frozenset(("number", "gravity", "temperature"))
_POINTED = {
    "batch_id": "fermentations",
    "malt_id": "malts",
    "lot_id": "lots",
    "grower_id": "growers",
    "assessor_id": "assessor",
}
_HEADERS = {
    "batch_id": "Batch",
    "malt_id": "Malt",
    "lot_id": "Lot",
    "grower_id": "Grower",
    "assessor_id": "Assessor",
    "tasting_id": "Tasting",
    "season": "Season",
}
_IDENTIFIER = re.compile(r"(?=.*\d)[\w/.\-#]+")


@dataclass(frozen=True, slots=True)
class _Fit:
    """A sheet a block may be, the heads it would take, and how it is understood with them."""

    sheet: Sheet
    heads: tuple[Head, ...]
    guess: Guess
    own: int


def with_constants(block: Block, names: Names) -> list[Block]:
    """The table with what stands around it and holds for all its rows, as columns."""
    if block.said(NAME) == "no":
        return [block]
    fits = [_fit(block, sheet) for sheet in _sheets(block)]
    if not fits:
        return [block]
    ranked = sorted(fits, key=lambda one: (one.guess.fits, one.own, one.guess.weight), reverse=True)
    best = ranked[0]
    most = max(one.own for one in ranked)
    if best.guess.fits and best.own >= max(1, most - OUTWEIGHED):
        return [_attached(block, best.heads)]
    likely = [one for one in ranked if one.own >= min(2, block.width)]
    if not likely:
        return [block]
    for one in likely:
        across = _attributes_across(block, one.guess) > 0
        missing = [
            name for name in one.guess.missing if not (across and name in ("attribute", "score"))
        ]
        lacking = [name for name in missing if name in _HEADERS]
        if lacking and len(lacking) == len(missing) and not one.guess.doubled:
            result = _attached(block, one.heads)
            alone = one.sheet.key == (lacking[0],) and block.height > 1
            named = [_from_names(result, name, names, alone) for name in lacking[:1]]
            if named[0] is None:
                continue
            for name in lacking[1:]:
                named.append(_from_names(named[-1] or result, name, names))
            if named[-1] is not None:
                return [named[-1]]
    return [_attached(block, likely[0].heads)]


def fitting(block: Block) -> Guess | None:
    """How a block is understood as the sheet that fits it best; None where none fits."""
    return max(all_fitting(block), key=lambda guess: guess.weight, default=None)


def all_fitting(block: Block) -> list[Guess]:
    """How a block is understood as each sheet that fits it."""
    raw = sketch_of(block)
    guesses = [guess_as(raw, sheet, block.plan) for sheet in _sheets(block)]
    return [guess for guess in guesses if guess.fits]


def _sheets(block: Block) -> list[Sheet]:
    """The sheets that know at least one of the block's headers, or the one that was said."""
    said = block.said("sheet")
    if said:
        return [SHEETS[said]]
    told = block.plan.columns.values() if block.plan else ()
    if told:
        return list(SHEETS.values())
    names = {name for header in block.headers for name in sheets_with(header)}
    return [sheet for name, sheet in SHEETS.items() if name in names]


def _fit(block: Block, sheet: Sheet) -> _Fit:
    own = guess_as(sketch_of(block), sheet, block.plan)
    taken = {one.column.name for one in own.mapped}
    heads: list[Head] = []
    for head in block.heads:
        column = column_in(head.label, sheet)
        measured = column is not None and column.kind in _MEASURED and block.height > 1
        measured = measured and column is not None and column.name not in _HELD
        if column is None or column.name in taken or measured or column.name == "note":
            continue
        taken.add(column.name)
        heads.append(head)
    if not heads:
        return _Fit(sheet, (), own, own.weight + _attributes_across(block, own))
    with_heads = guess_as(sketch_of(_attached(top_of(block), heads)), sheet, block.plan)
    return _Fit(sheet, tuple(heads), with_heads, own.weight + _attributes_across(block, own))


def _attributes_across(block: Block, guess: Guess) -> int:
    """How many columns may be attributes, where a tasting's table lacks assessor or sample."""
    if guess.sheet.name != "scores" or guess.attributes or "attribute" not in guess.missing:
        return 0
    mapped = {one.column.name for one in guess.mapped}
    if not mapped & {"assessor_id", "batch_id"} or not _of_a_tasting(block):
        return 0
    found = [
        at
        for at, header in enumerate(block.headers)
        if header in guess.unknown
        and not known(header)
        and block.filled(at)
        and all(kind_of(text) == Kind.NUMBER for text in block.filled(at))
    ]
    return len(found) if len(found) >= LEAST_ATTRIBUTES else 0


def _of_a_tasting(block: Block) -> bool:
    """Whether a label of the table or around it belongs to tastings and to nothing else."""
    labels = (*block.headers, *(head.label for head in block.heads))
    return any(
        sheets_with(label) and set(sheets_with(label)) <= {"scores", "congeners"}
        for label in labels
    )


def _attached(block: Block, heads: Sequence[Head]) -> Block:
    if not heads:
        return block
    result = block
    for head in reversed(heads):
        values = np.full(block.height, head.value, dtype=object)
        places = at_one_place(block.height, head.row, head.column)
        added = result.beside(head.label, values, places, (head.row, head.column))
        result = result.done(NAME, "", steps=result.steps, **added)
    labels = ", ".join(f"{head.label} {head.value}" for head in heads)
    rest = tuple(head for head in block.heads if head not in heads)
    return result.done(NAME, f"took {labels} from beside the table", heads=rest)


def _from_names(block: Block, name: str, names: Names, alone: bool = False) -> Block | None:
    """A key the table lacks, from a column, its tab, its file or its day; None if none may hold it.

    Sure where the name is known; else asked, the likeliest taken meanwhile.
    """
    key = f"{name} from"
    offered = _offered(block, name, names)
    if alone:  # no two rows of the sheet have one name: it cannot hold for all of them
        offered = {how: text for how, text in offered.items() if how.startswith(COLUMN)}
    said = block.said(key)
    if not offered and not said:
        return None
    sure = [
        how
        for how, value in offered.items()
        if how != DAY and names.holds(_POINTED.get(name, ""), value)
    ]
    chosen = said or (sure[0] if len(sure) == 1 else "") or next(iter(offered))
    if chosen.startswith(COLUMN):
        block = _renamed(block, chosen.removeprefix(COLUMN), name)
    else:
        value = offered.get(chosen, said)
        values = np.full(block.height, value, dtype=object)
        added = block.beside(_HEADERS[name], values, at_one_place(block.height, 0, 0))
        block = block.done(FROM_NAMES, f"took {_HEADERS[name]} {value} from {chosen}", **added)
    if said or len(sure) == 1:
        return block
    return block.asks(
        key,
        f"The table has no {_HEADERS[name].casefold()}: where does it come from?",
        f"{'; '.join(f'{how} is {text}' for how, text in offered.items())}.",
        tuple(offered),
        chosen,
    )


def without_made_up(block: Block, name: str) -> Block:
    """The block without a key that its tab or file gave it for want of a better one."""
    key = f"{name} from"
    made = [
        at
        for at, header in enumerate(block.headers)
        if header == _HEADERS[name] and not block.places[:, at].any()
    ]
    if not made or not any(one.key == key for one in block.questions):
        return block
    keep = [at for at in range(block.width) if at not in made]
    rest = tuple(one for one in block.questions if one.key != key)
    steps = tuple(one for one in block.steps if one.name != FROM_NAMES)
    return block.done("", "", steps=steps, questions=rest, **block.only_columns(keep))


def _renamed(block: Block, header: str, name: str) -> Block:
    """The block with one of its columns taken for a key."""
    headers = tuple(_HEADERS[name] if head == header else head for head in block.headers)
    return block.done(FROM_NAMES, f"took {header} for the {_HEADERS[name]}", headers=headers)


def _columns_of_names(block: Block, name: str) -> dict[str, str]:
    """Columns that may hold a key: names with figures, no column of the table's own sheet."""
    own = fitting_header(block)
    found = {}
    for at, header in enumerate(block.headers):
        texts = block.filled(at)
        named = bool(texts) and all(_IDENTIFIER.fullmatch(text) for text in texts)
        lettered = any(sign.isalpha() for text in texts for sign in text)
        vessel = column_in(header, SHEETS["fermentations"])
        if vessel is not None and vessel.name == "vessel":
            continue
        if header not in own and named and lettered and len(texts) == block.height:
            found[f"{COLUMN}{header}"] = ", ".join(list(dict.fromkeys(texts))[:3])
    return found


def fitting_header(block: Block) -> set[str]:
    """The headers that the likeliest sheet has a column for."""
    raw = sketch_of(block)
    guesses = [guess_as(raw, sheet, block.plan) for sheet in _sheets(block)]
    best = max(guesses, key=lambda guess: guess.weight, default=None)
    return {one.header for one in best.mapped} if best else set()


def _offered(block: Block, name: str, names: Names) -> dict[str, str]:
    """Where a key may come from -> what it would be, the likeliest first."""
    offered = {} if name in ("tasting_id", "season") else _columns_of_names(block, name)
    if name == "tasting_id":
        day = _day(block)
        if day:
            offered[DAY] = day
    if name == "season":
        lines = " ".join([block.tab, block.file, *(line.text for line in block.titles)])
        years = re.findall(r"(?<![\d-])(?:19|20)\d\d(?![\d-])", lines)
        return {TITLE: years[0]} if len(set(years)) == 1 else {}
    if block.tab and not re.fullmatch(r"(?i)sheet ?\d*|tab(elle)? ?\d*|table ?\d*", block.tab):
        offered[TAB] = _name_in(block.tab, name, names)
    stem = PurePosixPath(block.file.replace("\\", "/")).stem
    offered[FILE] = _name_in(stem, name, names)
    if name == "assessor_id":
        return offered
    return {how: text for how, text in offered.items() if _IDENTIFIER.search(text)}


def _name_in(text: str, name: str, names: Names) -> str:
    """The known name inside a tab's or file's name, else the one part with a figure, else all."""
    parts = re.split(r"[\s_,;()]+", text)
    known = [part for part in (text, *parts) if names.holds(_POINTED.get(name, ""), part)]
    if known:
        return known[0]
    figured = [part for part in parts if _IDENTIFIER.fullmatch(part) and not _is_year(part)]
    return figured[0] if len(figured) == 1 and name != "assessor_id" else text


def _is_year(text: str) -> bool:
    return re.fullmatch(r"(?:19|20)\d\d", text) is not None


def _day(block: Block) -> str:
    """The one day that holds for all rows of a tasting, "" where there is none or several."""
    days = set()
    for at, header in enumerate(block.headers):
        column = column_in(header, SHEETS["scores"])
        if column is not None and column.name == "tasted_on":
            days |= set(block.filled(at))
    days |= {head.value for head in block.heads if kind_of(head.value) == Kind.MOMENT}
    return days.pop()[:10] if len(days) == 1 else ""
