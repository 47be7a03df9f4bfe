"""What a case holds, and how its truth is written down."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

Row = dict[str, Any]
Rows = list[Row]
Sheets = Mapping[str, Rows]
Expect = Literal["as is", "after one answer", "refused"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Files somebody keeps, and the rows that a person of the trade reads in them.

    `truth` and `parents` hold rows by sheet, in the program's own columns and units; a column
    that a row lacks is one its file does not tell.
    """

    id: str
    kind: str
    says: str
    files: Mapping[str, bytes]
    truth: Sheets = field(default_factory=dict)
    parents: Sheets = field(default_factory=dict)
    expect: Expect = "as is"
    why: str = ""
    maps: list[Row] = field(default_factory=list)
    rules: Row | None = None
    answers: Row = field(default_factory=dict)

    def entry(self) -> Row:
        """The case as it stands in `truth.json`."""
        told = {
            "id": self.id,
            "kind": self.kind,
            "files": sorted(self.files),
            "says": self.says,
            "expect": self.expect,
            "maps": self.maps,
            "rules": self.rules,
            "answers": self.answers,
            "parents": _plain(self.parents),
            "truth": _plain(self.truth),
        }
        return {**told, "why": self.why} if self.why else told


def _plain(sheets: Sheets) -> dict[str, Rows]:
    return {
        name: [{column: _value(value) for column, value in row.items()} for row in rows]
        for name, rows in sheets.items()
    }


def _value(value: Any) -> Any:
    return value.isoformat() if isinstance(value, dt.date) else value


def pick(rows: Iterable[Row], *columns: str) -> Rows:
    """The rows with these columns only, where they have them."""
    return [{name: row[name] for name in columns if name in row} for row in rows]


def page_map(sheet: str, columns: Mapping[str, str], match: str = "") -> Row:
    """The header map a user would give for one table; `match` is its tab, or empty for any."""
    return {"level": "page", "match": match, "sheet": sheet, "columns": dict(columns)}
