"""What of an intake is new to the store, what stands there already, and what contradicts it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from sqlalchemy.engine import Connection

from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.faults import Fault
from origin_compare.sheets.fingerprint import content_prints, content_under, key_prints
from origin_compare.sheets.frames import shaped
from origin_compare.sheets.keys import key_text
from origin_compare.store.rows import cells_under

MOST_LISTED = 200
_STANDING = ["key_print", "content_print", "intake_id", "from_file", "from_row"]


@dataclass(frozen=True)
class Sifted:
    """One sheet of an intake, its rows shaped, with provenance and prints.

    `fresh`: rows to write; `already_there`: how many say exactly what the store says;
    `contradicting`: rows whose key stands there with other figures, each with its fault.
    """

    fresh: pd.DataFrame
    already_there: int
    contradicting: pd.DataFrame
    faults: tuple[Fault, ...]


def sift(link: Connection, sheet: str, frame: pd.DataFrame) -> Sifted:
    """Compare a clean frame with the store; of two equal keys within it the first one counts.

    A plan was held against the store when it was made. Rows may have come in since, so it is
    asked again here, where no other writer comes in between.
    """
    rows = _with_prints(sheet, frame)
    key, content = rows["_key"].to_numpy(), rows["_content"].to_numpy()
    standing = _standing(link, sheet, rows["_key"])
    there, before = content_under(rows["_key"], standing["content_print"])
    codes, distinct = pd.factorize(key)
    first = np.arange(len(rows))
    if len(distinct) < len(rows):
        first = np.unique(codes, return_index=True)[1][codes]
    repeated = first != np.arange(len(rows))
    said = np.where(there, before, content[first])
    clash = (there | repeated) & (said != content)
    fresh = ~there & ~repeated
    return Sifted(
        fresh=rows if fresh.all() else rows[fresh],
        already_there=int((~fresh & ~clash).sum()),
        contradicting=rows[clash],
        faults=_clashes(sheet, rows, clash, first, standing),
    )


def _with_prints(sheet: str, frame: pd.DataFrame) -> pd.DataFrame:
    rows = shaped(sheet, frame, provenance=True)
    for name in ("_file", "_tab", "_row"):
        if name not in rows:
            rows[name] = pd.Series(pd.NA, index=rows.index, dtype="Int64") if name == "_row" else ""
    given = [name for name in ("_file", "_tab", "_raw") if name in rows]
    texts = {name: rows[name].astype("str").fillna("") for name in given}
    return rows.assign(**texts, _key=key_prints(sheet, rows), _content=content_prints(sheet, rows))


def _standing(link: Connection, sheet: str, keys: pd.Series) -> pd.DataFrame:
    """The stored rows under these keys (maybe others): `_STANDING`, by `key_print`."""
    frame = pd.DataFrame(cells_under(link, sheet, keys, _STANDING))
    frame = frame.astype({"key_print": "int64", "content_print": "int64"})
    return frame.set_index("key_print")


def _clashes(
    sheet: str, rows: pd.DataFrame, clash: np.ndarray, first: np.ndarray, standing: pd.DataFrame
) -> tuple[Fault, ...]:
    at = np.flatnonzero(clash)
    keys = key_text(sheet, rows.iloc[at[:MOST_LISTED]])
    faults = [
        _clash(sheet, rows.iloc[where], text, standing, rows.iloc[first[where]])
        for where, text in zip(at[:MOST_LISTED], keys, strict=True)
    ]
    more = len(at) - MOST_LISTED
    if more > 0:
        told = f"{more:,} more rows contradict what stands in the store"
        mend = "All of them are among the rows set aside."
        faults.append(Fault("", sheet, None, "", "", told, mend))
    return tuple(faults)


def _clash(
    sheet: str, row: pd.Series, text: str, standing: pd.DataFrame, first: pd.Series
) -> Fault:
    columns = ", ".join(SHEETS[sheet].key)
    if row["_key"] in standing.index:
        there = standing.loc[row["_key"]]
        place = f"{there['from_file']} row {there['from_row']}, intake {there['intake_id']}"
        wrong = f"stands in the store already with other figures ({place})"
        mend = f"Correct the single cell in the store, or take intake {there['intake_id']} back."
    else:
        wrong = f"stands twice with different figures (also {_place(first)} row {first['_row']})"
        mend = "Keep the right one of the two rows."
    number = None if pd.isna(row["_row"]) else int(row["_row"])
    return Fault(_place(row), sheet, number, columns, text, wrong, mend)


def _place(row: pd.Series) -> str:
    return f"{row['_file']} tab {row['_tab']}" if row["_tab"] else str(row["_file"])
