"""Names written in more than one way: the rarer way earns a warning, since it counts as another."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pandas as pd

from origin_compare.intake.clean import AT
from origin_compare.intake.findings import finding
from origin_compare.intake.ledger import Ledger
from origin_compare.sheets.catalogue import Sheet

_NAMES: Mapping[str, tuple[str, ...]] = {
    "growers": ("region", "soil"),
    "lots": ("variety", "soil", "previous_crop"),
    "fermentations": ("vessel",),
    "yeasts": ("strain",),
    "spirits": ("still",),
    "congeners": ("compound",),
    "scores": ("assessor_id", "tasting_id", "attribute"),
}
"""Columns whose names the answers group by, and which no other sheet checks."""


def bare(name: str) -> str:
    """A name without case, blanks, signs and leading zeros: `A 01`, `a-1` and `A1` are alike."""
    kept = "".join(sign for sign in name.casefold() if sign.isalnum())
    return re.sub(r"(?<!\d)0+(?=\d)", "", kept)


def check_spellings(
    ledgers: Sequence[Ledger], sheet: Sheet, stored: Callable[[str], pd.Series] | None
) -> None:
    """Warn at every row that writes a name in a rarer way than other rows, new or stored.

    `stored`: for a column the number of stored rows by name, None where there is no store.
    """
    for column in _NAMES.get(sheet.name, ()) if ledgers else ():
        ways = [stored(column)] if stored else []  # first, so that of equals the stored way counts
        ways += [one.frame[column].value_counts() for one in ledgers]
        counts = pd.concat(ways).groupby(level=0, sort=False).sum()
        usual = _usual(counts.sort_values(ascending=False, kind="stable"))
        if usual:
            for one in ledgers:
                _warn(one, column, usual)


def _usual(counts: pd.Series) -> dict[str, tuple[str, int]]:
    """Rarer way of writing -> (the most usual way, in how many rows)."""
    ways: dict[str, list[str]] = {}
    for name in counts.index:  # the most frequent first
        ways.setdefault(bare(str(name)), []).append(str(name))
    return {
        other: (names[0], int(counts[names[0]])) for names in ways.values() for other in names[1:]
    }


def _warn(one: Ledger, column: str, usual: Mapping[str, tuple[str, int]]) -> None:
    rows = one.frame[one.frame[column].isin(list(usual))].drop_duplicates(AT)
    if rows.empty:
        return
    values = rows[column].tolist()
    wrong = [f"is written {usual[name][0]} in {_rows(usual[name][1])}" for name in values]
    mend = "Write it the same way if it is the same; now it counts as another."
    one.put_aside(
        finding(np.asarray(rows[AT], dtype=np.int64), column, values, wrong, mend, "warning")
    )


def _rows(number: int) -> str:
    return f"{number:,} other row{'' if number == 1 else 's'}"
