"""Reading the published cases of tests/outside, with their hashes held."""

import hashlib
from pathlib import Path

import pandas as pd

OUTSIDE = Path(__file__).resolve().parents[1] / "outside"


def read(case: str, name: str, **how: object) -> pd.DataFrame:
    """A file of a case, whose hash must be the one its SOURCE.md states."""
    path = OUTSIDE / f"mixed_{case}" / name
    stated = {}
    for line in (path.parent / "SOURCE.md").read_text().splitlines():
        words = line.split()
        if len(words) == 2 and len(words[0]) == 64:
            stated[words[1]] = words[0]
    assert hashlib.sha256(path.read_bytes()).hexdigest() == stated[name], f"{name} was changed"
    return pd.read_csv(path, **how)  # type: ignore[call-overload]


def wanted(table: pd.DataFrame, **match: str) -> pd.Series:
    """The `value`s by `term` of the rows that match; failing if there is none."""
    for column, value in match.items():
        table = table[table[column] == value]
    assert len(table), f"no expected figure for {match}"
    return table.set_index("term")["value"]
