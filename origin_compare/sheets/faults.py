"""A fault in a sheet: where it stands, what was found, what was wanted and what to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Literal

import pandas as pd

Weight = Literal["fault", "cell", "warning"]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to mend. `row` is the row as a spreadsheet numbers it, header included.

    A `fault` sets its row aside; a `cell` sets the cell aside and lets the row in without it; a
    `warning` lets the row in and says what looks unusual.
    """

    file: str
    sheet: str
    row: int | None
    column: str
    value: str
    wrong: str
    mend: str
    weight: Weight = "fault"

    @property
    def is_to_mend(self) -> bool:
        """Whether something did not go in; a warning only looks unusual."""
        return self.weight != "warning"

    def __str__(self) -> str:
        place = self.file if self.row is None else f"{self.file} row {self.row}"
        where = f"{place}, {self.column}" if self.column else place
        found = f"{self.value} " if self.value else ""
        return f"{where}: {found}{self.wrong}. {self.mend}"


FAULT_COLUMNS = ["file", "sheet", "row", "column", "value", "wrong", "mend", "weight"]


def fault_table(faults: Iterable[Fault]) -> pd.DataFrame:
    """One row per fault with the columns of `FAULT_COLUMNS`; empty frame if there is none."""
    table = pd.DataFrame([asdict(fault) for fault in faults], columns=FAULT_COLUMNS)
    return table.astype({"row": "Int64"})
