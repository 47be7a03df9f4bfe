"""Account of every row read: kept, set aside, already in the store, repeated or blank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from origin_compare.intake.clean import AT, Cleaned
from origin_compare.intake.findings import Finding

GOOD, ASIDE, THERE, REPEATED = 0, 1, 2, 3


@dataclass
class Ledger:
    """One table on its way through the plan: its clean rows shrink, its findings grow.

    `frame`: clean rows still to be taken in; `state`: per raw row what becomes of it.
    """

    number: int
    cleaned: Cleaned
    frame: pd.DataFrame
    state: np.ndarray
    findings: list[Finding] = field(default_factory=list)
    against_store: list[pd.DataFrame] = field(default_factory=list)
    """Cells that say something else than the store: see `against.differences`."""

    @property
    def label(self) -> str:
        """How the table is called to the user."""
        return self.cleaned.raw.label

    @property
    def sheet(self) -> str:
        """The name of its sheet."""
        return self.cleaned.sheet.name

    @property
    def rows(self) -> np.ndarray:
        """(n,) the file's own row numbers."""
        return self.cleaned.raw.rows

    def put_aside(self, found: Finding) -> None:
        """List a finding; the rows of a fault leave, with every clean row made from them."""
        self.findings.append(found)
        if found.weight == "fault":
            self.state[found.at] = ASIDE
            self.frame = self.frame[~self.frame[AT].isin(found.at)]

    def let_go(self, gone: np.ndarray, state: int) -> None:
        """Drop clean rows (a mask over `frame`); a raw row none is left of gets the state."""
        left = self.frame[~gone]
        emptied = np.setdiff1d(self.frame[AT].to_numpy()[gone], left[AT].to_numpy())
        self.state[emptied] = state
        self.frame = left

    def count(self, state: int) -> int:
        """How many rows are in this state."""
        return int((self.state == state).sum())


def open_ledger(number: int, cleaned: Cleaned) -> Ledger:
    """The ledger of a table as `clean` left it."""
    state = np.where(cleaned.bad, ASIDE, GOOD).astype(np.int8)
    return Ledger(number, cleaned, cleaned.frame, state, list(cleaned.findings))


def together(ledgers: list[Ledger], columns: Sequence[str]) -> pd.DataFrame:
    """Clean rows of several tables of one sheet; `_table` and `_place` tell where each is from."""
    parts = [
        one.frame[[*columns, "_row", AT]].assign(
            _table=np.int64(at), _place=np.arange(len(one.frame))
        )
        for at, one in enumerate(ledgers)
    ]
    return pd.concat(parts, ignore_index=True)
