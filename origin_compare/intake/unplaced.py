"""A table offered for mapping: one nobody could place, or one of which columns were left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from origin_compare.intake.asking.reading_plan import ATTRIBUTE, IGNORE, ReadingPlan
from origin_compare.intake.raw_table import RawTable
from origin_compare.intake.recognise import Guess, Verdict


@dataclass(frozen=True)
class Offer:
    """A table to be mapped by hand.

    `candidates`: sheets it may be, best first, with the columns each still lacks;
    `suggested`: per candidate the headers already understood, header -> column;
    `sample`: its first rows as written, under its own headers; `left_out`: of a table whose sheet
    is clear (its one candidate) the headers no column is known by.
    """

    label: str
    file: str
    tab: str
    headers: tuple[str, ...]
    sample: pd.DataFrame
    candidates: tuple[tuple[str, tuple[str, ...]], ...]
    suggested: Mapping[str, Mapping[str, str]]
    left_out: tuple[str, ...] = ()

    def map_as(
        self,
        sheet: str,
        columns: Mapping[str, str],
        constants: Mapping[str, str] | None = None,
        date_order: str = "",
    ) -> ReadingPlan:
        """The header map to remember: the choices made, all other headers left out.

        What was understood already stays, unless a choice gives its column to another header.
        """
        understood = {
            header: column
            for header, column in self.suggested.get(sheet, {}).items()
            if column == ATTRIBUTE or column not in columns.values()
        }
        chosen = dict.fromkeys(self.headers, IGNORE) | understood | dict(columns)
        return ReadingPlan(sheet, chosen, dict(constants or {}), date_order)


def offer(raw: RawTable, verdict: Verdict) -> Offer:
    """What the user is shown of a table whose sheet is not clear."""
    return _offered(raw, verdict.candidates)


def offer_rest(raw: RawTable, guess: Guess) -> Offer:
    """What the user is shown of a table of which columns were left out."""
    return replace(_offered(raw, (guess,)), left_out=guess.unknown)


def _understood(raw: RawTable, guess: Guess) -> dict[str, str]:
    """Header -> column; a day and its time of day in two columns both stand for the moment."""
    clocks = {
        raw.headers[one.clock_at]: one.column.name for one in guess.mapped if one.clock_at >= 0
    }
    attributes = {raw.headers[at]: ATTRIBUTE for at, _ in guess.attributes}
    return {one.header: one.column.name for one in guess.mapped} | clocks | attributes


def _offered(raw: RawTable, candidates: Sequence[Guess]) -> Offer:
    return Offer(
        raw.label,
        raw.file,
        raw.tab,
        raw.headers,
        raw.cells.head(8).set_axis(list(raw.headers), axis=1),
        tuple((guess.sheet.name, guess.missing) for guess in candidates),
        {guess.sheet.name: _understood(raw, guess) for guess in candidates},
    )
