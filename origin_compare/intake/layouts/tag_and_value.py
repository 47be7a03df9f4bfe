"""Tag and value: rows that say in one cell what the figure in another is."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from origin_compare.intake.blocks.block import Block, Left
from origin_compare.intake.blocks.labels import (
    COMPOUNDS,
    TAGS,
    UNITS,
    VALUES,
    is_unit,
    known,
    words,
)
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.headers import plain
from origin_compare.intake.layouts.hours_across import is_gravity
from origin_compare.sheets.units import split_unit

NAME = "tag and value"
LEAVE = "leave it out"
_QUALITY = frozenset(["quality", "status", "state", "flag"])
_GOOD = frozenset(("good", "ok", "valid", "0", "192", "true", "g", "normal"))
_ASIDE = words(
    "spec specification limits limit method methods target range uncertainty remark "
    "remarks comment comments notes note"
)
_SAYS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("Temperature", re.compile(r"^(?:t[teiacs]{1,3}|temp\w*)$", re.IGNORECASE)),
    ("Gravity", re.compile(r"^(?:d[teiacs]{1,3}|sg|grav\w*|dens\w*)$", re.IGNORECASE)),
    ("pH", re.compile(r"^(?:ph\w{0,2})$", re.IGNORECASE)),
    ("Cooling", re.compile(r"^(?:cool\w*|[tc]v|valve)$", re.IGNORECASE)),
)
"""Letters of instrument tags as ANSI/ISA-5.1 has them: T temperature, D density, V valve."""
_WITHIN = {"Temperature": (-5.0, 60.0), "pH": (2.5, 7.0), "Cooling": (0.0, 100.0)}
_NOT_MEASURED = words("sp setpoint op out mv cv_out mode alarm")
"""Parts of a tag that say it is what was wished for, not what was measured."""
TAG_CHOICES = ("Gravity", "pH", "Temperature", "Cooling", LEAVE)


def tags_as_columns(block: Block, names: Names) -> list[Block]:
    """Each tag becomes a column; rows that share all other cells become one."""
    if block.said(NAME) == "no":
        return [block]
    heads = [plain(header) for header in block.headers]
    tag = next((at for at, head in enumerate(heads) if head in TAGS), None)
    value = next((at for at, head in enumerate(heads) if head in VALUES), None)
    if tag is None or value is None:
        return [block]
    tags = list(dict.fromkeys(block.filled(tag)))
    if tags and sum(plain(split_unit(one)[0]) in COMPOUNDS for one in tags) * 2 > len(tags):
        renamed = tuple("Compound" if at == tag else head for at, head in enumerate(block.headers))
        return [block.done(NAME, f"took {block.headers[tag]} for the compound", headers=renamed)]
    return [_pivoted(block, tag, value, tags)]


def _pivoted(block: Block, tag: int, value: int, tags: Sequence[str]) -> Block:
    block, kept = _good_only(block)
    unit = next((at for at, head in enumerate(block.headers) if plain(head) in UNITS), None)
    aside = [
        at
        for at, head in enumerate(block.headers)
        if plain(head) in _ASIDE | _QUALITY and at not in (tag, value)
    ]
    keys = [at for at in range(block.width) if at not in {tag, value, unit, *aside}]
    stems = _stems(tags)
    several = len(set(stems.values())) > 1
    headers = {one: _headed(block, one, tag, value, unit) for one in tags}
    columns = list(dict.fromkeys(head for head in headers.values() if head and head != LEAVE))
    if not columns:
        return block
    lines = [_key(block, row, keys, stems if several else {}, tag) for row in range(block.height)]
    codes, distinct = pd.factorize(pd.Series(lines, dtype="str"))
    cells = np.full((len(distinct), len(keys) + several + len(columns)), "", dtype=object)
    places = np.zeros((*cells.shape, 2), dtype=np.int32)
    clashes: list[Left] = []
    for row in range(block.height - 1, -1, -1):  # the first of equals is written last
        to = int(codes[row])
        cells[to, : len(keys)] = block.cells[row, keys]
        places[to, : len(keys)] = block.places[row, keys]
        one = str(block.cells[row, tag])
        if several:
            cells[to, len(keys)] = stems[one]
            places[to, len(keys)] = block.places[row, tag]
        head = headers.get(one, "")
        if head in columns:
            at = len(keys) + several + columns.index(head)
            if cells[to, at] and cells[to, at] != block.cells[row, value]:
                clashes.append(_left(block, row, value, f"stands twice for {one}"))
            cells[to, at] = block.cells[row, value]
            places[to, at] = block.places[row, value]
    named = ["Vessel"] if several else []
    says = f"turned the tags {', '.join(tags[:8])} into the columns {', '.join(columns)}"
    result = block.done(
        NAME,
        says,
        headers=(*(block.headers[at] for at in keys), *named, *columns),
        groups=("",) * cells.shape[1],
        header_places=(
            *(block.header_places[at] for at in keys),
            *(block.header_places[tag] for _ in named),
            *(block.header_places[value] for _ in columns),
        ),
        cells=cells,
        places=places,
        left=(*block.left, *kept, *clashes, *_left_columns(block, aside)),
    )
    return _asked(result, block, tags, headers, tag, value)


def _key(block: Block, row: int, keys: Sequence[int], stems: Mapping[str, str], tag: int) -> str:
    parts = [str(block.cells[row, at]) for at in keys]
    if stems:
        parts.append(stems.get(str(block.cells[row, tag]), ""))
    return "\x1f".join(parts)


def _good_only(block: Block) -> tuple[Block, list[Left]]:
    """The rows whose quality is good; the others are left, each said."""
    at = next((i for i, head in enumerate(block.headers) if plain(head) in _QUALITY), None)
    if at is None:
        return block, []
    poor = np.array([bool(t) and str(t).casefold() not in _GOOD for t in block.cells[:, at]])
    if not poor.any() or poor.mean() > 0.5:
        return block, []
    left = [
        _left(block, int(row), at, f"its {block.headers[at]} is not good")
        for row in np.flatnonzero(poor)
    ]
    says = f"left out {int(poor.sum())} rows whose {block.headers[at]} is not good"
    return block.done(NAME, says, **block.only_rows(~poor)), left


def _stems(tags: Sequence[str]) -> dict[str, str]:
    """`TUN.WB1.TT.PV` -> `WB1`: the part before the one that says what is measured.

    Which part says it is told by most tags, so that a tag nobody knows keeps its vessel.
    """
    parts = {tag: [part for part in re.split(r"[._/:\-\s]+", tag) if part] for tag in tags}
    said = Counter(
        at for words in parts.values() for at, word in enumerate(words) if _says(word)
    ).most_common(1)
    if not said or said[0][1] * 2 < len(tags):
        return dict.fromkeys(tags, "")
    at = said[0][0]
    if at == 0 or any(len(words) <= at for words in parts.values()):
        return dict.fromkeys(tags, "")
    whole = {tag: ".".join(words[:at]) for tag, words in parts.items()}
    last = {tag: words[at - 1] for tag, words in parts.items()}
    return last if len(set(last.values())) == len(set(whole.values())) else whole


def _says(word: str) -> str:
    return next((name for name, form in _SAYS if form.match(word)), "")


def _headed(block: Block, tag: str, at: int, value: int, unit: int | None) -> str:
    """The header a tag's values get: as told, as known, or by its letters and its figures."""
    told = block.said(f"tag: {tag}")
    if told:
        return told
    if {part.casefold() for part in re.split(r"[._/:\-\s]+", tag)} & _NOT_MEASURED:
        return LEAVE
    rows = [row for row in range(block.height) if block.cells[row, at] == tag]
    units = {str(block.cells[row, unit]) for row in rows} - {""} if unit is not None else set()
    if known(tag):
        one = units.pop() if len(units) == 1 else ""
        bare = not split_unit(tag)[1] and one and _plain_unit(one)
        return f"{tag} ({one})" if bare else tag
    words = {_says(word) for word in re.split(r"[._/:\-\s]+", tag)} - {""}
    name = words.pop() if len(words) == 1 else ""
    if name and _agrees(name, [str(block.cells[row, value]) for row in rows]):
        one = next(iter(units), "")
        return f"{name} ({one})" if one and _plain_unit(one) else name
    return ""


def _plain_unit(unit: str) -> bool:
    return is_unit(unit) or len(unit) > 1 or unit.isalpha()


def _agrees(name: str, texts: Sequence[str]) -> bool:
    """Whether figures can be what a tag's letters say."""
    if name == "Gravity":
        return is_gravity([text for text in texts if text])
    try:
        figures = [float(text.replace(",", ".")) for text in texts if text]
    except ValueError:
        return False
    low, high = _WITHIN[name]
    return bool(figures) and all(low <= one <= high for one in figures)


def _asked(
    block: Block,
    before: Block,
    tags: Sequence[str],
    headers: Mapping[str, str],
    tag: int,
    value: int,
) -> Block:
    for one in tags:
        if headers[one] == "":
            rows = [row for row in range(before.height) if before.cells[row, tag] == one]
            texts = [str(before.cells[row, value]) for row in rows]
            evidence = f"Its first values are {', '.join(texts[:4])}."
            block = block.asks(f"tag: {one}", f"What does {one} say?", evidence, TAG_CHOICES, "")
    return block


def _left(block: Block, row: int, at: int, why: str) -> Left:
    text = " | ".join(str(one) for one in block.cells[row] if one)
    return Left(int(block.places[row, at, 0]), int(block.places[row, at, 1]), text, why)


def _left_columns(block: Block, aside: Sequence[int]) -> list[Left]:
    return [
        Left(*block.header_places[at], block.headers[at], "is not a value of the tag")
        for at in aside
        if block.filled(at)
    ]
