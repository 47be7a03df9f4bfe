"""What each row of a grid looks like: labels with values, a header, data, a line of text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.blocks.block import Head
from origin_compare.intake.blocks.labels import (
    ATTRIBUTES,
    TAGS,
    VALUES,
    hours_of,
    is_unit,
    known,
    pair_in,
    tidy_label,
)
from origin_compare.intake.grid import Grid, Kind
from origin_compare.intake.headers import plain
from origin_compare.sheets.units import split_unit

REACH = 3
"""A value stands at most so many columns right of its label."""
_FIGURES = (Kind.NUMBER, Kind.MOMENT, Kind.CLOCK)


class RowsSeen:
    """A grid with what its rows look like, each looked at once."""

    def __init__(self, grid: Grid, plans: Iterable[ReadingPlan] = ()) -> None:
        self.grid = grid
        self._wanted = [words for plan in plans if (words := _words_of(plan))]
        self._filled = grid.text != ""
        self._pairs: dict[int, tuple[tuple[Head, ...], bool]] = {}

    def filled(self, row: int) -> list[int]:
        """Positions of the filled cells of a row."""
        return [int(at) for at in np.flatnonzero(self._filled[row])]

    def is_blank(self, row: int) -> bool:
        """Whether no cell of the row is filled."""
        return not self._filled[row].any()

    def text(self, row: int, column: int) -> str:
        """The text of a cell."""
        return str(self.grid.text[row, column])

    def kind(self, row: int, column: int) -> Kind:
        """What sort of cell it is."""
        return Kind(self.grid.kinds[row, column])

    def known_in(self, row: int) -> int:
        """How many cells of a row are headers some sheet knows, each text once."""
        texts = {self.text(row, at) for at in self.filled(row) if self.kind(row, at) == Kind.TEXT}
        return sum(known(text) for text in texts)

    def pairs(self, row: int) -> tuple[Head, ...]:
        """The labels of a row that have a value beside them."""
        return self._paired(row)[0]

    def is_pairs(self, row: int) -> bool:
        """Whether a row is nothing but labels with their values."""
        heads, whole = self._paired(row)
        return bool(heads) and whole

    def _paired(self, row: int) -> tuple[tuple[Head, ...], bool]:
        if row not in self._pairs:
            self._pairs[row] = self._pair(row)
        return self._pairs[row]

    def _pair(self, row: int) -> tuple[tuple[Head, ...], bool]:
        heads: list[Head] = []
        whole, at = True, self.filled(row)
        place = 0
        while place < len(at):
            column = at[place]
            text = self.text(row, column)
            inside = pair_in(text)
            follower = at[place + 1] if place + 1 < len(at) else -1
            if inside and not self._is_label(text):
                heads.append(Head(*inside, row + 1, column + 1))
            elif self._is_label(text):
                if 0 <= follower <= column + REACH and not self._is_label(self.text(row, follower)):
                    heads.append(self._head(row, column, follower, at[place + 2 :]))
                    place += 1 + (heads[-1].label != tidy_label(text))
                elif follower == column + 1:
                    whole = False  # a label right beside a label is a header
            else:
                whole = False
            place += 1
        return tuple(heads), whole

    def _head(self, row: int, column: int, value: int, rest: Sequence[int]) -> Head:
        """A label with its value; a unit right of the value joins the label."""
        label = tidy_label(self.text(row, column))
        unit = self.text(row, rest[0]) if rest and rest[0] == value + 1 else ""
        if is_unit(unit) and not split_unit(label)[1]:
            label = f"{label} ({unit})"
        return Head(label, self.text(row, value), row + 1, value + 1)

    def _is_label(self, text: str) -> bool:
        ends = text.endswith(":") and any(sign.isalpha() for sign in text)
        return ends or known(tidy_label(text))

    def is_labels(self, row: int) -> bool:
        """Whether a row holds texts alone, or hours in rising order beside them."""
        at = self.filled(row)
        figures = [column for column in at if self.kind(row, column) != Kind.TEXT]
        if not figures:
            return len(at) >= 1
        if any(self.kind(row, column) != Kind.NUMBER for column in figures):
            return False
        return _rising([self.text(row, column) for column in figures])

    def maybe_headers(self) -> list[int]:
        """The rows that a header may be among: no moments, and a cell that names something."""
        kinds = self.grid.kinds
        moments = np.isin(kinds, (Kind.MOMENT, Kind.CLOCK)).any(axis=1)
        wanted = frozenset(word for words in self._wanted for word in words)
        names: dict[str, bool] = {}

        def says(text: str) -> bool:
            if text not in names:
                names[text] = _names_something(text, wanted)
            return names[text]

        open_ = np.flatnonzero(~moments & self._filled.any(axis=1))
        return [int(row) for row in open_ if any(says(t) for t in self.grid.text[row] if t)]

    def is_header(self, row: int) -> bool:
        """Whether a row names the columns of what stands below it."""
        at = self.filled(row)
        if not at or self._below(row) is None:
            return False
        words = {plain(split_unit(self.text(row, column))[0]) for column in at}
        words |= {plain(self.text(row, column)) for column in at}
        if any(wanted and wanted <= words for wanted in self._wanted):
            return True
        if len(at) < 2 or not self.is_labels(row):
            return False
        if self.is_pairs(row):
            return len(at) == 2 and (self._contrast(row, at) == 2 or self._heads_next(row, at))
        count = self.known_in(row)
        units = {self.text(row, column) for column in at if is_unit(self.text(row, column))}
        count += bool(units) and count > 0
        distinct = len({self.text(row, column) for column in at})
        if count >= 2 and count * 5 >= distinct * 2:
            return True
        special = bool(words & (TAGS | ATTRIBUTES)) and (
            bool(words & VALUES) or self._contrast(row, at) > 0
        )
        hours = sum(hours_of(self.text(row, column)) is not None for column in at)
        named = count >= 1 or hours >= 2 or special
        return named and (special or self._contrast(row, at) * 2 >= len(at) - 1)

    def _heads_next(self, row: int, at: Sequence[int]) -> bool:
        """Whether the row below fills the same cells and is no label with a value itself."""
        below = self._below(row)
        above = next((at for at in range(row - 1, -1, -1) if not self.is_blank(at)), None)
        return (
            below is not None
            and (above is None or not self.is_pairs(above))
            and self.filled(below) == list(at)
            and not self.is_pairs(below)
            and self.known_in(below) == 0
        )

    def is_more_header(self, row: int, above: int) -> bool:
        """Whether a row goes on with the header above it: units, or labels under its groups."""
        at = self.filled(row)
        if not at or self.is_pairs(row) or not self.is_labels(row):
            return False
        if self.is_units(row):
            return True
        under_blank = [column for column in at if not self._filled[above, column]]
        texts = [self.text(row, column) for column in at]
        if under_blank and len(set(texts)) * 2 <= len(texts) and self._below(row) is not None:
            return True  # the same labels again under each group
        names = self.known_in(row) + sum(hours_of(self.text(row, c)) is not None for c in at)
        below = self._below(row)
        return bool(under_blank) and names >= 1 and names * 3 >= len(at) and below is not None

    def is_units(self, row: int) -> bool:
        """Whether a row holds units alone, with or without brackets."""
        texts = [self.text(row, column).strip("()[]") for column in self.filled(row)]
        return bool(texts) and all(is_unit(text) for text in texts)

    def is_group(self, row: int, header: int) -> bool:
        """Whether a row stands above a header as the names of groups of its columns."""
        at = self.filled(row)
        texts = all(self.kind(row, column) in (Kind.TEXT, Kind.CLOCK) for column in at)
        if not at or not texts or (self.is_pairs(row) and not self._spans(row, header)):
            return False
        head = self.filled(header)
        if all(column > head[-1] for column in at) or (at[0] == head[0] and len(at) == 1):
            return False
        return len(at) >= 2 or at[0] > head[0]

    def _spans(self, row: int, header: int) -> bool:
        """Whether labels of a row stand over several headers each."""
        at = [*self.filled(row), self.grid.width]
        head = set(self.filled(header))
        return all(len(head & set(range(one, then))) >= 2 for one, then in pairwise(at))

    def _below(self, row: int) -> int | None:
        """The next row that holds anything."""
        return next((at for at in range(row + 1, self.grid.height) if not self.is_blank(at)), None)

    def _contrast(self, row: int, at: Sequence[int]) -> int:
        """Over how many cells of a row the next filled cells below are figures."""
        below = self._below(row)
        if below is None:
            return 0
        next_rows = range(below, min(below + 4, self.grid.height))
        found = 0
        for column in at:
            kinds = [self.kind(r, column) for r in next_rows if self._filled[r, column]]
            found += bool(kinds) and sum(kind in _FIGURES for kind in kinds) * 2 > len(kinds)
        return found


def _names_something(text: str, wanted: frozenset[str]) -> bool:
    word = plain(text)
    special = word in TAGS | ATTRIBUTES or word in wanted
    return (
        special
        or known(text)
        or hours_of(text) is not None
        or (plain(split_unit(text)[0]) in wanted)
    )


def _rising(texts: Sequence[str]) -> bool:
    """Whether texts are at least three figures in rising order, as hours across are."""
    try:
        figures = [float(text.replace(",", ".")) for text in texts]
    except ValueError:
        return False
    if len(figures) < 3 or figures[0] > 48 or max(figures) > 500:
        return False
    falls = sum(a >= b for a, b in pairwise(figures))
    return falls <= len(figures) // 3  # several groups of hours side by side begin anew


def _words_of(plan: ReadingPlan) -> frozenset[str]:
    """The words that make a row the header of a plan's kind of table."""
    return frozenset(plain(head) for head in plan.wanted) or frozenset(plan.kind)
