"""A table nobody could place, offered for mapping: its headers, its first rows, what it may be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from origin_compare.records.guess import IGNORE, HeaderMap, Verdict
from origin_compare.records.tables import RawTable


@dataclass(frozen=True)
class Offer:
    """A table to be mapped by hand.

    `candidates`: sheets it may be, best first, with the columns each still lacks;
    `suggested`: per candidate the headers already understood, header -> column;
    `sample`: its first rows as written, under its own headers.
    """

    label: str
    file: str
    tab: str
    headers: tuple[str, ...]
    sample: pd.DataFrame
    candidates: tuple[tuple[str, tuple[str, ...]], ...]
    suggested: Mapping[str, Mapping[str, str]]

    def map_as(
        self,
        sheet: str,
        columns: Mapping[str, str],
        constants: Mapping[str, str] | None = None,
        date_order: str = "",
    ) -> HeaderMap:
        """The header map to remember: the choices made, all other headers left out."""
        chosen = dict.fromkeys(self.headers, IGNORE)
        chosen |= dict(self.suggested.get(sheet, {})) | dict(columns)
        return HeaderMap(sheet, chosen, dict(constants or {}), date_order)


def offer(raw: RawTable, verdict: Verdict) -> Offer:
    """What the user is shown of a table whose sheet is not clear."""
    suggested = {
        guess.sheet.name: {one.header: one.column.name for one in guess.mapped}
        for guess in verdict.candidates
    }
    return Offer(
        raw.label,
        raw.file,
        raw.tab,
        raw.headers,
        raw.cells.head(8).set_axis(list(raw.headers), axis=1),
        tuple((guess.sheet.name, guess.missing) for guess in verdict.candidates),
        suggested,
    )
