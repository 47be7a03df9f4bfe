"""Units told in a line above the table: `volumes in hL, yeast in lbs`."""

from __future__ import annotations

import re

from origin_compare.intake.blocks.block import Block, Left
from origin_compare.intake.blocks.labels import is_unit, sheets_with
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.headers import columns_for, plain
from origin_compare.sheets.catalogue import SHEETS, Column
from origin_compare.sheets.units import split_unit

NAME = "units in title"
_TOLD = re.compile(
    r"(?P<what>[A-Za-z][A-Za-z ]{1,24}?)\s+(?:are\s+|is\s+)?in\s+(?P<unit>[^\s,;.()]+)"
)
_ENDINGS = {
    "volume": ("_l",),
    "weight": ("_kg", "_t", "_g"),
    "mass": ("_kg", "_t"),
    "temperature": ("_c",),
    "temp": ("_c",),
    "gravity": ("_sg", "sg"),
    "gravitie": ("_sg", "sg"),
    "area": ("_ha",),
    "strength": ("_abv_pct",),
    "yield": ("_t_ha",),
}


def units_in_titles(block: Block, names: Names) -> list[Block]:
    """Units of a title line join the headers they speak of."""
    headers = list(block.headers)
    told: list[str] = []
    lines: list[Left] = []
    for line in block.titles:
        found = [
            _joined(headers, match["what"], match["unit"].strip())
            for match in _TOLD.finditer(line.text)
        ]
        told.extend(text for text in found if text)
        if not all(found) or not found:
            lines.append(line)
    if not told:
        return [block]
    says = f"took units from the title line: {'; '.join(told)}"
    return [block.done(NAME, says, headers=tuple(headers), titles=tuple(lines))]


def _joined(headers: list[str], what: str, unit: str) -> str:
    """Write a unit to the headers a word speaks of; what was done, "" where nothing was."""
    if not is_unit(unit):
        return ""
    word = plain(what.rsplit(maxsplit=1)[-1]).rstrip("s")
    hit = [
        at
        for at, header in enumerate(headers)
        if not split_unit(header)[1] and _speaks_of(word, header)
    ]
    for at in hit:
        headers[at] = f"{headers[at]} ({unit})"
    return ", ".join(headers[at] for at in hit)


def _speaks_of(word: str, header: str) -> bool:
    if word and word in (
        plain(header),
        plain(header).rstrip("s"),
        plain(header.split(maxsplit=1)[0]),
    ):
        return True
    return any(_ends(column, word) for column in _columns(header))


def _ends(column: Column, word: str) -> bool:
    return any(column.name.endswith(end) for end in _ENDINGS.get(word, ()))


def _columns(header: str) -> list[Column]:
    return [one for name in sheets_with(header) for one in columns_for(header, SHEETS[name])[0]]
