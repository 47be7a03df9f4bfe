"""A table as it stands in a file: every cell as text, every row with its number in the file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.intake.findings import Finding

MEND_HEADER = "what to mend"
"""The column added to rows set aside; ignored when such a file is read back in."""


@dataclass(frozen=True)
class RawTable:
    """One table of a file, nothing interpreted yet.

    `cells`: str frame with columns 0..n-1 (one per header), blank rows left out;
    `rows`: per row of `cells` its number as a spreadsheet numbers it;
    `blank`: rows that held nothing (or the header again); `findings`: what the reader itself
    found, such as a formula; `source`: the file as brought in (an archive for its members).
    """

    file: str
    tab: str
    headers: tuple[str, ...]
    cells: pd.DataFrame
    rows: np.ndarray
    header_row: int
    blank: int = 0
    findings: tuple[Finding, ...] = ()
    source: str = ""
    kind: tuple[str, ...] = ()
    """The print of the table's kind, where a layout found it (`ReadingPlan.kind`)."""
    places: np.ndarray | None = None
    """(rows, columns, 2) of int32, row and column in the file from 1, where a layout moved cells;
    None for a table whose every row is one row of the file."""

    @property
    def label(self) -> str:
        """The place as messages name it: the file, and the tab of a workbook."""
        return f"{self.file} tab {self.tab}" if self.tab else self.file

    @property
    def rows_read(self) -> int:
        """Rows below the header, blank ones included."""
        return len(self.rows) + self.blank


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file as it was brought in: its name, SHA-256 (hex) and length in bytes."""

    name: str
    sha256: str
    bytes: int


def says(where: str, lacks_value: bool) -> tuple[str, str]:
    """What is wrong with a cell that has an error, or a formula without its value, and the mend."""
    if lacks_value:
        return (
            f"is a formula in cell {where}",
            "Paste the column as values, then load the file again.",
        )
    return (
        f"is a spreadsheet's error in cell {where}",
        "Write the figure, or leave the cell empty.",
    )
