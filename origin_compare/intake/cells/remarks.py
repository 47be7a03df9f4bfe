"""Marks beside figures (`1060.5*`, `~1055`, `<0.5`): kept as remarks, never lost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from origin_compare.intake.cells.reading import Parsed
from origin_compare.intake.findings import Finding, finding

NOTE = "note"
MOST_TOLD = 5
"""More marks than this in one column are told as one warning."""


def with_remarks(
    columns: Mapping[str, pd.Series], remarks: Sequence[tuple[str, pd.Series]]
) -> dict[str, pd.Series]:
    """The columns with remarks (header, text per row) written behind the sheet's own note."""
    result = dict(columns)
    if NOTE not in result or not remarks:
        return result
    told = result[NOTE].fillna("").astype("str")
    for header, texts in remarks:
        said = (f"{header}: " + texts).where(texts != "", "")
        between = pd.Series("; ", index=told.index).where((told != "") & (said != ""), "")
        told = told + between + said
    result[NOTE] = told.where(told != "", np.nan).astype("str")
    return result


def marks_told(column: str, read: Parsed) -> list[Finding]:
    """A warning per mark: the figure is read, and what stood beside it."""
    if read.remarks is None:
        return []
    at = np.flatnonzero(((read.remarks != "") & read.values.notna()).to_numpy())
    if not len(at):
        return []
    texts = read.remarks.iloc[at].tolist()
    wrong = "has a mark beside the figure, which is read without it"
    mend = "The mark is kept as a remark where the sheet has a note."
    if len(at) > MOST_TOLD:
        wrong = f"and {len(at) - 1} more cells have a mark beside the figure, read without it"
        at, texts = at[:1], texts[:1]
    return [finding(at, column, texts, wrong, mend, "warning")]
