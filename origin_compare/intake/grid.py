"""A sheet of a file as it lies there: cells with positions first, nothing interpreted yet."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np


class Kind(IntEnum):
    """What a cell holds, as the file types it or, in a text file, as it is written."""

    EMPTY = 0
    TEXT = 1
    NUMBER = 2
    MOMENT = 3
    """A date, with or without a time of day."""
    CLOCK = 4
    """A time of day alone."""


@dataclass(frozen=True, slots=True)
class Mark:
    """What a cell carries besides its value; most cells carry nothing and have no mark.

    `formula`: as written, its stored value being the cell's text; `lacks_value`: a formula of
    which the file holds no value; `error`: a spreadsheet's own, such as #N/A.
    """

    comment: str = ""
    struck: bool = False
    formula: str = ""
    lacks_value: bool = False
    error: bool = False


Range = tuple[int, int, int, int]
"""First row, first column, last row, last column; all counted from 1, as the file counts."""


@dataclass(frozen=True, slots=True)
class Grid:
    """One tab of a workbook, or a text file: every cell with its place.

    `text`: (rows, columns) of str, each cell as the file shows it, "" where empty; `kinds`: the
    same shape, `Kind`; row r, column c of both is row r + 1, column c + 1 of the file. `marks` by
    (row, column), `merged`, `hidden_rows` and `hidden_columns` count from 1. `hidden`: the tab
    itself is. `source`: the file brought in, an archive for its members.
    """

    file: str
    tab: str
    text: np.ndarray
    kinds: np.ndarray
    marks: Mapping[tuple[int, int], Mark] = field(default_factory=dict)
    merged: tuple[Range, ...] = ()
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    hidden: bool = False
    source: str = ""

    @property
    def label(self) -> str:
        """The place as messages name it: the file, and the tab of a workbook."""
        return f"{self.file} tab {self.tab}" if self.tab else self.file

    @property
    def height(self) -> int:
        """How many rows it has."""
        return int(self.text.shape[0])

    @property
    def width(self) -> int:
        """How many columns it has."""
        return int(self.text.shape[1])

    def row(self, at: int) -> list[str]:
        """The texts of a row by its position (from 0)."""
        return list(self.text[at])


def grid_of(
    file: str, tab: str, records: Sequence[Sequence[str]], source: str = "", **more: object
) -> Grid:
    """A grid of texts whose kinds are told by how they are written."""
    width = max((len(record) for record in records), default=0)
    text = np.full((len(records), width), "", dtype=object)
    for at, record in enumerate(records):
        text[at, : len(record)] = [str(cell).strip() for cell in record]
    return Grid(file, tab, text, kinds_of(text), source=source or file, **more)  # type: ignore[arg-type]


_NUMBER = re.compile(r"[+\-−–]?(?:\d[\d.,'’\u00a0\u202f]*|[.,]\d+)(?:[eE][+-]?\d+)?\s?%?")
_CLOCK = re.compile(r"\d{1,2}[:.h]\d{2}(?::\d{2}(?:\.\d+)?)?(?:\s?[AaPp]\.?[Mm]\.?)?")
_DAY = (
    r"(?:\d{4}-\d{1,2}-\d{1,2}|\d{1,2}([./-])\d{1,2}\1\d{2,4}|\d{4}/\d{1,2}/\d{1,2}"
    r"|\d{1,2}(?:st|nd|rd|th)?[ .-]?[A-Za-zäéû]{3,9}\.?[ ,.-]+\d{2,4}"
    r"|[A-Za-zäéû]{3,9}\.? \d{1,2}(?:st|nd|rd|th)?,? \d{4}|\d{4}-?W\d{2}-?[1-7])"
)
_MOMENT = re.compile(rf"(?:[A-Za-z]{{2,9}}\.?,? )?{_DAY}(?:[T ,]+{_CLOCK.pattern}.*)?")


def kind_of(text: str) -> Kind:
    """The kind of a text by how it is written."""
    if not text:
        return Kind.EMPTY
    if not any(sign.isdigit() for sign in text):
        return Kind.TEXT
    if _MOMENT.fullmatch(text):
        return Kind.MOMENT
    if ":" in text and _CLOCK.fullmatch(text):
        return Kind.CLOCK
    return Kind.NUMBER if _NUMBER.fullmatch(text) else Kind.TEXT


def kinds_of(text: np.ndarray) -> np.ndarray:
    """`kind_of` every cell; each distinct text is looked at once."""
    known: dict[str, Kind] = {}
    flat = text.ravel()
    kinds = np.empty(len(flat), dtype=np.int8)
    for at, cell in enumerate(flat):
        kind = known.get(cell)
        if kind is None:
            kind = known[cell] = kind_of(cell)
        kinds[at] = kind
    return kinds.reshape(text.shape)


def address(row: int, column: int) -> str:
    """`C4` for row 4, column 3 (both from 1)."""
    letters = ""
    while column > 0:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row}"
