"""A grid whose rows are the rows of one table below one header, as most sheets are."""

from __future__ import annotations

import numpy as np
import pandas as pd

from origin_compare.intake.files.text_files import assemble
from origin_compare.intake.findings import Finding, finding
from origin_compare.intake.grid import Grid, address
from origin_compare.intake.headers import HEADER_WITHIN, find_header
from origin_compare.intake.raw_table import RawTable, says


def plain_table(grid: Grid) -> RawTable | None:
    """The table below the header row among the first rows; None if there is no such row."""
    at = find_header([grid.row(row) for row in range(min(HEADER_WITHIN, grid.height))])
    if at is None:
        return None
    headers = [cell.strip() for cell in grid.row(at)]
    while headers and not headers[-1]:
        headers.pop()
    body = grid.text[at + 1 :]
    extra = np.array([" ".join(row[len(headers) :]).strip() for row in body], dtype=object)
    cells = pd.DataFrame(body[:, : len(headers)], columns=range(len(headers)), dtype="str")
    rows = np.arange(at + 2, grid.height + 1, dtype=np.int64)
    findings = marked_cells(grid, headers, {int(row): place for place, row in enumerate(rows)})
    return assemble(grid.file, grid.tab, headers, cells, extra, at + 2, grid.source, findings, rows)


def marked_cells(grid: Grid, headers: list[str], at: dict[int, int]) -> tuple[Finding, ...]:
    """Formulas without a value and spreadsheet errors by column, each with its cell's address.

    `at`: row of the file -> position in the table.
    """
    by_column: dict[int, list[tuple[int, str, str, str]]] = {}
    for (row, column), mark in sorted(grid.marks.items()):
        if row in at and (mark.lacks_value or mark.error):
            text = str(grid.text[row - 1, column - 1])
            told = says(address(row, column), mark.lacks_value)
            by_column.setdefault(column - 1, []).append((at[row], text, *told))
    return tuple(
        finding(
            [place for place, *_ in cells],
            headers[column] if column < len(headers) else "",
            [text for _, text, *_ in cells],
            [wrong for *_, wrong, _ in cells],
            [mend for *_, mend in cells],
        )
        for column, cells in by_column.items()
    )
