"""Headers as people write them, and where among the first rows of a file they stand."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from functools import cache, lru_cache

from origin_compare.intake.raw_table import MEND_HEADER
from origin_compare.sheets.catalogue import SHEETS, Column, Sheet
from origin_compare.sheets.office_words import MORE_WORDS
from origin_compare.sheets.office_words_abroad import WORDS_ABROAD
from origin_compare.sheets.units import fits, quantity_words, split_unit, unit_words

HEADER_WITHIN = 30
"""A header is looked for among this many first rows; above it stand titles and blank rows."""

_NO_UNIT = frozenset({"-", "–", "—"})
"""What stands in a row of units under a column that has none."""

_NUMBER = re.compile(r"[+-]?[\d.,:/\s-]*\d[\d.,:/\s-]*%?")


def plain(text: str) -> str:
    """Header text for comparing: lower case, no accents, letters and digits only."""
    folded = unicodedata.normalize("NFKD", text).casefold()
    return "".join(sign for sign in folded if sign.isalnum() and not unicodedata.combining(sign))


@cache
def spellings(sheet: str) -> dict[str, tuple[str, ...]]:
    """Plain spelling -> the columns of `sheet` it may stand for (canonical names win)."""
    found: dict[str, list[str]] = {}
    columns = SHEETS[sheet].columns
    for column in columns:
        more = [
            word
            for words in (MORE_WORDS, WORDS_ABROAD)
            for word in words.get(sheet, {}).get(column.name, "").split("; ")
        ]
        for spelling in (*column.also, *filter(None, more)):
            found.setdefault(plain(spelling), []).append(column.name)
    own = {plain(column.name): (column.name,) for column in columns}
    return {spelling: tuple(dict.fromkeys(names)) for spelling, names in found.items()} | own


@cache
def column_spellings(column: Column) -> frozenset[str]:
    """Everything a column is called, plain: its name and its other spellings."""
    return frozenset(plain(text) for text in (column.name, *column.also))


def columns_for(header: str, sheet: Sheet) -> tuple[tuple[Column, ...], str]:
    """The columns `header` may stand for, and the unit it carries ("" if none)."""
    known = spellings(sheet.name)
    base, unit = split_unit(header)
    names = known.get(plain(base), ())
    measured: tuple[str, ...] = ()
    if unit and not any(fits(sheet.column(name), unit) for name in names):
        # `Low wines proof` is the strength of the low wines, not their volume
        told = (known.get(plain(f"{base} {word}")) for word in quantity_words(unit))
        measured = next((one for one in told if one), ())
    whole = known.get(plain(header))
    if whole and (
        not measured or whole == measured
    ):  # `Grain in` is grain steeped, not grain in inches
        return tuple(sheet.column(name) for name in whole), ""
    names = measured or names
    return tuple(sheet.column(name) for name in names), unit


@lru_cache(maxsize=4096)
def is_known(header: str) -> bool:
    """Whether any sheet knows this header."""
    known = _all_spellings()
    return plain(header) in known or plain(split_unit(header)[0]) in known


@lru_cache(maxsize=1)
def _all_spellings() -> frozenset[str]:
    of_sheets = {spelling for sheet in SHEETS for spelling in spellings(sheet)}
    return frozenset(of_sheets | {plain(MEND_HEADER)})


def find_header(records: Sequence[Sequence[str]]) -> int | None:
    """Position of the header among the first records, None if no row can be one.

    The row with most headers some sheet knows wins, the first of equals; where none knows two,
    the first row of texts alone that is as wide as the rows below it.
    """
    best, best_score = None, 1
    for at, record in enumerate(records[:HEADER_WITHIN]):
        filled = [cell for cell in record if cell.strip()]
        score = sum(len(cell) < 80 and is_known(cell.strip()) for cell in filled)
        if score > best_score or (best is None and score == len(filled) == 1):
            best, best_score = at, max(score, 1)
    return best if best is not None else _first_row_of_texts(records)


def units_row(headers: Sequence[str], record: Sequence[str]) -> tuple[str, ...] | None:
    """Headers with the units of the row beneath joined in, None if that row holds other things."""
    cells = ["" if cell.strip() in _NO_UNIT else cell.strip() for cell in record]
    if not any(cells) or not all(unit_words(cell) for cell in cells if cell):
        return None
    cells += [""] * len(headers)
    return tuple(
        f"{header} ({cell})" if cell and not split_unit(header)[1] else header
        for header, cell in zip(headers, cells, strict=False)
    )


def _first_row_of_texts(records: Sequence[Sequence[str]]) -> int | None:
    for at, record in enumerate(records[:HEADER_WITHIN]):
        filled = [cell.strip() for cell in record if cell.strip()]
        below = max((_width(other) for other in records[at + 1 : at + 20]), default=0)
        texts = all(not _NUMBER.fullmatch(cell) and len(cell) < 80 for cell in filled)
        if len(filled) >= 2 and texts and 0 < below <= len(filled) * 2:
            return at
    return None


def _width(record: Sequence[str]) -> int:
    return sum(bool(cell.strip()) for cell in record)
