"""Intake plans made by hand, so that the store is tested apart from the reading of files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from origin_compare.intake.raw_table import SourceFile
from origin_compare.sheets.faults import Fault


@dataclass(frozen=True)
class HandPlan:
    """What `Store.take_in` reads of an intake plan."""

    sheets: Mapping[str, pd.DataFrame]
    faults: tuple[Fault, ...] = ()
    set_aside: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    files: tuple[SourceFile, ...] = ()
    already_there: Mapping[str, int] = field(default_factory=dict)

    def raw_texts(self, rows: pd.DataFrame) -> pd.Series:
        """The cells as written where a frame brings them along, else nothing."""
        return rows["_raw"] if "_raw" in rows else pd.Series("", rows.index, dtype="str")


def plan_of(sheets: Mapping[str, pd.DataFrame], *names: str, file: str = "") -> HandPlan:
    """The named sheets (all if none is named), one file each, rows numbered below a header."""
    chosen = {name: sheets[name] for name in (names or sheets)}
    return HandPlan({name: _from_file(name, frame, file) for name, frame in chosen.items()})


def _from_file(name: str, frame: pd.DataFrame, file: str) -> pd.DataFrame:
    return frame.assign(
        _file=file or f"{name}.csv",
        _tab="",
        _row=range(2, len(frame) + 2),
        _raw=["|".join(map(str, row)) for row in frame.itertuples(index=False)],
    )
