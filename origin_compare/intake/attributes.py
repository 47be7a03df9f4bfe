"""Which columns of a wide tasting sheet are attributes: named, with their scale, shown once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.answers import listed
from origin_compare.intake.headers import plain
from origin_compare.intake.open_points import OpenPoint
from origin_compare.intake.raw_table import RawTable

ATTRIBUTES = "attributes"
SHORT = 3
"""So short a name may be short for another."""
_ABBREVIATED = (
    " They may be abbreviations: spell them in the headers, or in a key below the table such as "
    "`CER = cereal`."
)
_SCALE = re.compile(
    r"^(?P<name>.+?)\s*[(\[]\s*(?:scale\s*)?(?P<scale>\d+\s*(?:-|–|to)\s*\d+)\s*[)\]]$"
)
_OF_TEN = re.compile(r"^(?P<name>.+?)\s*[(\[]?\s*/\s*(?P<top>10|100|5|9|15)\s*[)\]]?$")
_NO_ATTRIBUTE_WORDS = """
total, sum, mean, average, avg, median, sd, total score, sum of scores, mean score, average
score, booth, seat, place, table, tray, glass, cup, station, order, order tasted, tasting order,
serving, position, pos, flight, round, set, row, no, nr, number, line, id, code, sample no,
sample code, remark, remarks, comment, comments, note, notes, duration, minutes, age, year,
rank, panel, temperature, temp, volume, ml, abv, strength, time
"""
_NO_ATTRIBUTE = frozenset(plain(word) for word in _NO_ATTRIBUTE_WORDS.split(","))


@dataclass(frozen=True, slots=True)
class Attributes:
    """`columns`: (position, attribute); `scale` of all of them, "" where headers name none;
    `left_out`: headers that look like totals, places or remarks."""

    columns: tuple[tuple[int, str], ...]
    scale: str = ""
    left_out: tuple[str, ...] = ()


def attribute_name(header: str) -> str:
    """An attribute's name as all sheets write it: lower case, single blanks, without its scale."""
    name, _ = _parted(header)
    return " ".join(name.replace("_", " ").casefold().split())


def attributes_among(raw: RawTable, at: Sequence[int]) -> Attributes:
    """Attributes among columns of figures; totals, booths, orders and remarks are none."""
    named = [one for one in at if plain(_parted(raw.headers[one])[0]) not in _NO_ATTRIBUTE]
    totals = _totals(raw, named)
    kept = [one for one in named if one not in totals]
    scales = {_parted(raw.headers[one])[1] for one in kept}
    scale = scales.pop() if len(scales) == 1 else ""
    return Attributes(
        tuple((one, attribute_name(raw.headers[one])) for one in kept),
        scale,
        tuple(raw.headers[one] for one in at if one not in kept),
    )


def attributes_asked(names: Sequence[str], left_out: Sequence[str]) -> OpenPoint:
    """What is shown once: the attributes of a sheet, and what was not taken for one.

    Names of three letters or less throughout may be short for others: then the table waits.
    """
    short = all(len(name) <= SHORT for name in names)
    abbreviated = _ABBREVIATED if short else ""
    others = f" Not taken for attributes: {listed(list(left_out), 8)}." if left_out else ""
    return OpenPoint(
        ATTRIBUTES,
        f"Are {listed(list(names), 20)} the attributes that were scored? "
        "Say yes, or their names as in `CER = cereal, FRU = fruity`.",
        f"They are the columns of figures that nothing else explains.{others}{abbreviated}",
        (),
        "yes",
        holds=short,
    )


def name_told(name: str, told: str) -> str:
    """What an answer such as `CER = cereal, FRU = fruity` calls an attribute, else its own name."""
    pairs = (one.partition("=") for one in re.split(r"[,;]", told) if "=" in one)
    names = {attribute_name(short): attribute_name(name) for short, _, name in pairs}
    return names.get(name) or name


def _parted(header: str) -> tuple[str, str]:
    """`Cereal (0-10)` -> (`Cereal`, `0-10`); no scale where the header names none."""
    match = _SCALE.match(header.strip())
    if match:
        return match["name"], re.sub(r"\s*(?:-|–|to)\s*", "-", match["scale"])
    of_ten = _OF_TEN.match(header.strip())
    return (of_ten["name"], f"0-{of_ten['top']}") if of_ten else (header.strip(), "")


def _totals(raw: RawTable, at: Sequence[int]) -> set[int]:
    """Columns that are the sum or the mean of all the others, row by row."""
    if len(at) < 3:
        return set()
    cells = raw.cells[list(at)].head(200)
    figures = cells.apply(lambda one: pd.to_numeric(one.str.replace(",", "."), errors="coerce"))
    full = figures.dropna()
    if len(full) < 3:
        return set()
    found = set()
    for one in at:
        rest = full.drop(columns=one)
        sums, means = rest.sum(axis=1), rest.mean(axis=1)
        if np.allclose(full[one], sums) or np.allclose(full[one], means, atol=0.051):
            found.add(one)
    return found if len(found) == 1 else set()
