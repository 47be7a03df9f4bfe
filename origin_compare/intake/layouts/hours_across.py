"""Hours across: one row per batch, a column per hour, perhaps in groups by what was read."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from origin_compare.intake.blocks.block import Block
from origin_compare.intake.blocks.labels import hours_of, known, sheets_with
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.blocks.stacking import Across, stack
from origin_compare.intake.headers import plain
from origin_compare.sheets.units import split_unit

NAME, CELLS = "hours across", "cells are"
_SAID = (
    ("Gravity", ("gravit", "sg", "density", "hydrometer", "saccharometer")),
    ("pH", ("ph",)),
    ("Temperature", ("temp",)),
    ("Cooling", ("cooling", "valve")),
)
_BRACKET = re.compile(r"[(\[]([^()\[\]]+)[)\]]")
_BEGAN = frozenset(("set", "setting", "pitch", "pitched", "start"))
"""Headers of the hour of pitching before columns such as `+12`."""
CHOICES = ("Gravity", "pH", "Temperature", "Cooling")


def hours_as_rows(block: Block, names: Names) -> list[Block]:
    """Columns headed by hours become rows with an hour each."""
    if block.said(NAME) == "no":
        return [block]
    found = _hours(block)
    if len({hour for _, hour in found.values()}) < 2:
        return [block]
    bases = list(dict.fromkeys(base for base, _ in found.values()))
    if bases == [""]:
        return [_one_quantity(block, found)]
    if "" in bases or not all(known(base) for base in bases):
        return [block]
    return [_stacked(block, found, {base: base for base in bases})]


def _hours(block: Block) -> dict[int, tuple[str, float]]:
    """Position -> (what was read there, "" if the header does not say, the hour)."""
    found: dict[int, tuple[str, float]] = {}
    for at, (header, group) in enumerate(zip(block.headers, block.groups, strict=True)):
        said = hours_of(header)
        over = hours_of(group) if group else None
        if said is not None:
            found[at] = said[0] or group, said[1]
        elif over is not None and not over[0]:
            found[at] = header, over[1]
    return found or _bare_hours(block)


def _bare_hours(block: Block) -> dict[int, tuple[str, float]]:
    """Headers that are figures in rising order, under a group or title that says hours."""
    at = [
        place
        for place, header in enumerate(block.headers)
        if re.fullmatch(r"\+?\d{1,3}([.,]\d+)?", header)
    ]
    began = [place for place, header in enumerate(block.headers) if plain(header) in _BEGAN]
    over = " ".join([*{block.groups[place] for place in at}, *(line.text for line in block.titles)])
    if len(at) < 3 or not re.search(r"\b(h|hrs?|hours?)\b", over, re.IGNORECASE):
        return {}
    signed = all(block.headers[place].startswith("+") for place in at)
    hours = {place: ("", float(block.headers[place].replace(",", "."))) for place in at}
    return {**{place: ("", 0.0) for place in began if signed and len(began) == 1}, **hours}


def _one_quantity(block: Block, found: Mapping[int, tuple[str, float]]) -> Block:
    """Hours across whose headers do not say what was read: title, tab or file may."""
    told = block.said(CELLS) or told_around(block)
    if told:
        return _stacked(block, found, {"": told})
    texts = [text for at in found for text in block.filled(at)]
    default = "Gravity" if is_gravity(texts) else ""
    read = _stacked(block, found, {"": default or "Reading"})
    evidence = f"They run from {min(texts)} to {max(texts)}." if texts else ""
    return read.asks(CELLS, "What was read at these hours?", evidence, CHOICES, default)


def _stacked(
    block: Block, found: Mapping[int, tuple[str, float]], headers: Mapping[str, str]
) -> Block:
    hours = list(dict.fromkeys(hour for _, hour in found.values()))
    groups = []
    for hour in hours:
        mine = {base: at for at, (base, one) in found.items() if one == hour}
        at = min(mine.values())
        columns = tuple(mine.get(base, -1) for base in headers)
        groups.append(Across(f"{hour:g}", block.header_places[at], columns))
    subs = [_as_header(name) for name in headers.values()]
    read = ", ".join(subs)
    says = f"turned {len(found)} columns of hours into rows, one per hour ({read})"
    return block.done(NAME, says, **stack(block, groups, subs, "Hours"))


def _as_header(name: str) -> str:
    return (
        name
        if known(name) or name == "Reading"
        else next((said for said, starts in _SAID if plain(name).startswith(starts)), name)
    )


def told_around(block: Block) -> str:
    """What the cells are by title, tab or file name, with a unit in brackets; "" if not told."""
    around = [line.text for line in block.titles] + [block.tab, block.file.rsplit("/", 1)[-1]]
    for text in around:
        words = [plain(word) for word in re.split(r"[\W_]+", text)]
        said = {
            name
            for name, starts in _SAID
            for word in words
            if word in starts or (len(word) > 3 and word.startswith(starts))
        }
        if len(said) == 1:
            unit = next((one for one in _BRACKET.findall(text) if split_unit(f"x ({one})")[1]), "")
            name = said.pop()
            return f"{name} ({unit})" if unit and sheets_with(f"{name} ({unit})") else name
    return ""


def is_gravity(texts: Sequence[str]) -> bool:
    """Whether nearly all of these figures can be nothing but gravities, 0.98 to 1.14."""
    try:
        figures = [float(text.replace(",", ".")) for text in texts]
    except ValueError:
        return False
    within = [0.98 <= one <= 1.14 or 980 <= one <= 1140 for one in figures]
    return len(within) >= 3 and all(within)
