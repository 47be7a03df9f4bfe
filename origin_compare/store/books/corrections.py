"""The book of corrections: which cell said what before and after, who changed it and why."""

from __future__ import annotations

import pandas as pd
from sqlalchemy import select
from sqlalchemy.engine import Connection

from origin_compare.store.schema import CORRECTIONS

CORRECTION_COLUMNS = [
    *["corrected_at", "sheet", "row_key", "column", "old", "new", "who", "why"],
]


def corrections(link: Connection, of_row: tuple[str, int] | None = None) -> pd.DataFrame:
    """Every correction, oldest first: `CORRECTION_COLUMNS`, `corrected_at` in UTC.

    `of_row`: those of one row alone, given by its sheet and its number in the store.
    """
    query = select(*(CORRECTIONS.c[name] for name in CORRECTION_COLUMNS))
    if of_row is not None:
        sheet, row_id = of_row
        query = query.where(CORRECTIONS.c.sheet == sheet, CORRECTIONS.c.row_id == row_id)
    found = link.execute(query.order_by(CORRECTIONS.c.correction_id)).all()
    frame = pd.DataFrame(found, columns=CORRECTION_COLUMNS)
    moments = pd.to_datetime(frame["corrected_at"].astype("int64"), unit="us", utc=True)
    return frame.assign(corrected_at=moments)
