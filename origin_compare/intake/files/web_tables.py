"""Web pages that hold tables, as laboratories' and loggers' exports named .xls often are."""

from __future__ import annotations

from html.parser import HTMLParser

from origin_compare.errors import RefusedFile
from origin_compare.intake.grid import Grid, Range, grid_of


def web_grids(name: str, text: str, source: str = "") -> tuple[Grid, ...]:
    """Every table of a page that has two rows or more; `RefusedFile` if there is none."""
    parser = _Tables()
    parser.feed(text)
    parser.close()
    tables = [table for table in parser.tables if len(table.rows) > 1]
    if not tables:
        raise RefusedFile(f"{name}: this is a web page, not a table. Save it as CSV or XLSX.")
    return tuple(
        grid_of(
            name,
            "" if len(tables) == 1 else f"table {number}",
            table.rows,
            source or name,
            merged=tuple(table.merged),
        )
        for number, table in enumerate(tables, start=1)
    )


class _Table:
    """A table on its way: rows of texts, a cell reaching over others leaving them blank."""

    def __init__(self) -> None:
        self.rows: list[list[str]] = []
        self.merged: list[Range] = []
        self.covered: dict[int, set[int]] = {}

    def begin_row(self) -> None:
        self.rows.append([])

    def add(self, text: str, wide: int, high: int) -> None:
        if not self.rows:
            self.begin_row()
        row = self.rows[-1]
        at = len(self.rows) - 1
        while len(row) in self.covered.get(at, ()):
            row.append("")
        column = len(row)
        row.extend([text, *[""] * (wide - 1)])
        for below in range(1, high):
            self.covered.setdefault(at + below, set()).update(range(column, column + wide))
        if wide > 1 or high > 1:
            self.merged.append((at + 1, column + 1, at + high, column + wide))


class _Tables(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[_Table] = []
        self._open: list[_Table] = []
        self._cell: list[str] | None = None
        self._span = (1, 1)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "table":
            self._open.append(_Table())
            self.tables.append(self._open[-1])
        elif tag == "tr" and self._open:
            self._end_cell()
            self._open[-1].begin_row()
        elif tag in ("td", "th") and self._open:
            self._end_cell()
            self._cell = []
            told = dict(attrs)
            self._span = (_count(told.get("colspan")), _count(told.get("rowspan")))
        elif tag == "br" and self._cell is not None:
            self._cell.append(" ")

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th", "tr"):
            self._end_cell()
        elif tag == "table" and self._open:
            self._end_cell()
            self._open.pop()

    def handle_data(self, data: str) -> None:
        if self._cell is not None:
            self._cell.append(data)

    def _end_cell(self) -> None:
        if self._cell is not None and self._open:
            self._open[-1].add(" ".join("".join(self._cell).split()), *self._span)
        self._cell = None


def _count(text: str | None) -> int:
    return max(1, min(int(text), 200)) if text and text.isdigit() else 1
