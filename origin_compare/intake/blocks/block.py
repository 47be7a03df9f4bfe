"""A table on its way from a grid to a plain table: every cell keeps its place in the file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Self

import numpy as np

from origin_compare.intake.asking.open_questions import Question, Where
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.grid import Mark


@dataclass(frozen=True, slots=True)
class Head:
    """A label and its value that stand outside the table's rows, such as `Batch No` and `F001`.

    `row`, `column`: of the value, from 1; 0 where it is the name of the tab or the file.
    """

    label: str
    value: str
    row: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True)
class Left:
    """Something read and not used: what stands there, and why it was left."""

    row: int
    column: int
    text: str
    why: str


@dataclass(frozen=True, slots=True)
class Step:
    """What one layout did to a table: its name, and what it did in a sentence."""

    name: str
    says: str


@dataclass(frozen=True, slots=True)
class Block:
    """A table with its surroundings.

    `headers`: one per column, as written; `groups`: what stands above each header, "" for
    nothing; `cells`: (rows, columns) of str; `places`: (rows, columns, 2) of int32, row and
    column in the file from 1, (0, 0) for a cell that stands nowhere in it; `heads`: labels with
    values around the table; `titles`: lines of text around it; `kind`: the print of its kind;
    `plan`: what was said about that kind.
    """

    file: str
    tab: str
    source: str
    headers: tuple[str, ...]
    groups: tuple[str, ...]
    header_places: tuple[tuple[int, int], ...]
    cells: np.ndarray
    places: np.ndarray
    heads: tuple[Head, ...] = ()
    titles: tuple[Left, ...] = ()
    kind: tuple[str, ...] = ()
    plan: ReadingPlan | None = None
    steps: tuple[Step, ...] = ()
    left: tuple[Left, ...] = ()
    questions: tuple[Question, ...] = field(default=())
    marks: Mapping[tuple[int, int], Mark] = field(default_factory=dict)
    """Marks of the grid's cells by row and column in the file."""
    hidden_rows: frozenset[int] = frozenset()
    """Rows of the file that are out of sight, from 1."""
    sheet: str = ""
    """The sheet a layout took the table for, "" to go by its headers."""

    @property
    def height(self) -> int:
        """How many rows of cells it has."""
        return int(self.cells.shape[0])

    @property
    def width(self) -> int:
        """How many columns it has."""
        return len(self.headers)

    @property
    def header_row(self) -> int:
        """The lowest row of its headers in the file, 0 where it has none."""
        return max((row for row, _ in self.header_places), default=0)

    @property
    def where(self) -> Where:
        """Where it stands: file, tab and row of its headers."""
        return Where(self.file, self.tab, self.header_row)

    def said(self, key: str) -> str:
        """What the reading plan says to a question, "" where it says nothing."""
        return self.plan.answer(key) if self.plan else ""

    def column(self, at: int) -> list[str]:
        """The texts of one column, by its place."""
        return list(self.cells[:, at])

    def filled(self, at: int) -> list[str]:
        """The texts of one column, empty cells left out."""
        return [text for text in self.cells[:, at] if text]

    def done(self, name: str, says: str, **changes: object) -> Self:
        """The block after a step that did something."""
        changes.setdefault("steps", (*self.steps, Step(name, says)))
        return replace(self, **changes)  # type: ignore[arg-type]

    def asks(
        self,
        key: str,
        what: str,
        evidence: str,
        choices: Sequence[str],
        default: str,
        *,
        where: Where | None = None,
        holds: bool = True,
    ) -> Self:
        """The block with one more open question; nothing where the plan answers it."""
        if self.said(key) or any(one.key == key for one in self.questions):
            return self
        asked = Question(
            key, what, evidence, tuple(choices), default, where or self.where, self.kind, holds
        )
        return replace(self, questions=(*self.questions, asked))

    def only_rows(self, keep: np.ndarray) -> dict[str, np.ndarray]:
        """Cells and places of some rows (a mask or positions), as changes of `done`."""
        return {"cells": self.cells[keep], "places": self.places[keep]}

    def only_columns(self, keep: Sequence[int]) -> dict[str, object]:
        """Headers, cells and places of some columns, as changes of `done`."""
        at = list(keep)
        return {
            "headers": tuple(self.headers[i] for i in at),
            "groups": tuple(self.groups[i] for i in at),
            "header_places": tuple(self.header_places[i] for i in at),
            "cells": self.cells[:, at],
            "places": self.places[:, at],
        }

    def beside(
        self,
        header: str,
        cells: Sequence[str] | np.ndarray,
        places: np.ndarray,
        header_place: tuple[int, int] = (0, 0),
    ) -> dict[str, object]:
        """Headers, cells and places with one more column on the left, as changes of `done`."""
        column = np.asarray(cells, dtype=object).reshape(self.height, 1)
        return {
            "headers": (header, *self.headers),
            "groups": ("", *self.groups),
            "header_places": (header_place, *self.header_places),
            "cells": np.concatenate([column, self.cells], axis=1),
            "places": np.concatenate([places.reshape(self.height, 1, 2), self.places], axis=1),
        }


def at_one_place(height: int, row: int, column: int) -> np.ndarray:
    """Places of a column whose every cell is the one cell at `row`, `column`."""
    return np.tile(np.array([[row, column]], dtype=np.int32), (height, 1))


def stacked(blocks: Sequence[Block]) -> dict[str, np.ndarray]:
    """Cells and places of blocks of equal headers one below the other, as changes of `done`."""
    return {
        "cells": np.concatenate([one.cells for one in blocks], axis=0),
        "places": np.concatenate([one.places for one in blocks], axis=0),
    }
