"""A file in the making: rows as a person would type them, and what is wrong with which row."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter

from .world import TIME_ZONE

Form = Callable[[Any], Any]
MADE_AT = dt.datetime(2026, 7, 1, 9, 0)
"""Written into workbooks as their date, so that the same seed gives the same bytes."""


@dataclass
class Row:
    cells: list[Any]
    fault: dict[str, Any] | None = None


@dataclass
class Draft:
    """A sheet's rows under the headers of its file.

    columns: clean column -> (header in the file, how a value is written).
    """

    file: str
    sheet: str
    columns: Mapping[str, tuple[str, Form]]
    title: Sequence[str] = ()
    rows: list[Row] = field(default_factory=list)
    typed: list[Row] = field(default_factory=list)
    """The rows of the clean frame in its order, whatever was put between them since."""
    keys: list[dict[str, Any]] = field(default_factory=list)

    def fill(self, frame: pd.DataFrame, key: Sequence[str]) -> Draft:
        written = [
            ["" if pd.isna(value) else form(value) for value in frame[name]]
            if name in frame
            else [""] * len(frame)
            for name, (_, form) in self.columns.items()
        ]
        self.typed = [Row(list(cells)) for cells in zip(*written, strict=True)]
        self.rows = list(self.typed)
        texts = [frame[name].astype(str) for name in key]
        self.keys = [dict(zip(key, values, strict=True)) for values in zip(*texts, strict=True)]
        return self

    def spoil(self, at: int, column: str, text: Any, wrong: str, **also: Any) -> None:
        """Put `text` in place of the right value; `also` replaces further cells of the row."""
        row = self.typed[at]
        for name, value in {column: text, **also}.items():
            row.cells[self._place(name)] = value
        row.fault = self._fault(column, text, wrong) | {"lost": self.keys[at]}

    def repeat(self, at: int, wrong: str) -> None:
        """The row once more, at the end of the file."""
        self.rows.append(Row(list(self.typed[at].cells), self._fault("", "", wrong)))

    def insert(self, after: int, column: str, wrong: str, like: int, **cells: Any) -> None:
        """A row that is not in the clean sheets, copied from row `like` but for `cells`."""
        copied = list(self.typed[like].cells)
        for name, value in cells.items():
            copied[self._place(name)] = value
        fault = self._fault(column, cells[column], wrong)
        self.rows.insert(after, Row(copied, fault))

    def leave_blank(self, *places: int) -> None:
        for place in sorted(places, reverse=True):
            self.rows.insert(place, Row([""] * len(self.columns)))

    def faults(self) -> list[dict[str, Any]]:
        """What is wrong, with the row as a spreadsheet numbers it."""
        first = len(self.title) + 2
        return [
            {"file": self.file, "row": first + at} | row.fault
            for at, row in enumerate(self.rows)
            if row.fault
        ]

    def headers(self) -> list[str]:
        return [header for header, _ in self.columns.values()]

    def save_csv(
        self, folder: Path, separator: str = ",", encoding: str = "utf-8", end: str = "\n"
    ) -> list[dict[str, Any]]:
        text = io.StringIO()
        writer = csv.writer(text, delimiter=separator, lineterminator=end)
        writer.writerows([line] for line in self.title)
        writer.writerow(self.headers())
        writer.writerows(row.cells for row in self.rows)
        (folder / self.file).write_bytes(text.getvalue().encode(encoding))
        return self.faults()

    def save_xlsx(self, folder: Path, tab: str) -> list[dict[str, Any]]:
        book = xlsxwriter.Workbook(
            folder / self.file, {"strings_to_formulas": False, "strings_to_urls": False}
        )
        book.set_properties({"created": MADE_AT})
        sheet = book.add_worksheet(tab)
        day = book.add_format({"num_format": "dd/mm/yyyy"})
        lines = [[line] for line in self.title] + [self.headers()]
        lines += [row.cells for row in self.rows]
        for at, cells in enumerate(lines):
            for place, value in enumerate(cells):
                if isinstance(value, dt.datetime):
                    sheet.write_datetime(at, place, value, day)
                elif value != "":
                    sheet.write(at, place, value)
        book.close()
        return self.faults()

    def _place(self, column: str) -> int:
        return list(self.columns).index(column)

    def _fault(self, column: str, value: Any, wrong: str) -> dict[str, Any]:
        header = self.columns[column][0] if column else ""
        return {
            "sheet": self.sheet,
            "column": column,
            "header": header,
            "value": str(value),
            "wrong": wrong,
            "lost": None,
        }


def plain(value: Any) -> Any:
    return value


def fixed(digits: int, comma: bool = False, times: float = 1.0) -> Form:
    """A number as text with so many decimals."""

    def form(value: float) -> str:
        text = f"{value * times:.{digits}f}"
        return text.replace(".", ",") if comma else text

    return form


def as_number(digits: int, times: float = 1.0) -> Form:
    """A number as a workbook keeps it."""
    return lambda value: round(float(value) * times, digits)


def whole(value: Any) -> int:
    return int(value)


def day(pattern: str) -> Form:
    return lambda value: pd.Timestamp(value).strftime(pattern)


def date_cell(value: Any) -> dt.datetime:
    return pd.Timestamp(value).to_pydatetime()


def clock(pattern: str) -> Form:
    """A moment by the site's clock, which says nothing of summer time."""
    return lambda value: pd.Timestamp(value).tz_convert(TIME_ZONE).strftime(pattern)
