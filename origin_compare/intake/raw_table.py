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
