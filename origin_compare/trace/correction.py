"""One cell corrected: by whom, why, and in place of which value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd
from sqlalchemy import Row, select, update
from sqlalchemy.engine import Connection

from origin_compare.errors import StoreFault
from origin_compare.house import HouseRules
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.plan import plan_intake
from origin_compare.season.package import canonical_text
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.fingerprint import content_prints, key_prints
from origin_compare.sheets.frames import shaped
from origin_compare.sheets.keys import key_text
from origin_compare.store.revision import bump, now
from origin_compare.store.rows import insert_rows, to_cells
from origin_compare.store.schema import CORRECTIONS, SHEET_TABLES
from origin_compare.trace.cell_origin import (
    Key,
    Traced,
    column_of,
    corrections_of,
    frame_of,
    in_words,
    row_of,
    trace_row,
)
from origin_compare.words import label

if TYPE_CHECKING:
    from origin_compare.store.store import Store


@dataclass(frozen=True, slots=True)
class _Asked:
    """A correction as asked for; `new` is None where the cell is to be emptied."""

    column: str
    new: str | None
    instead_of: str
    who: str
    why: str


def correct(
    store: Store,
    sheet: str,
    key: Key,
    column: str,
    new_text: str | None,
    who: str,
    why: str,
    *,
    instead_of: str,
) -> Traced:
    """Correct one cell by a text as it would stand in a file; who, when and old are kept.

    `new_text` None empties the cell; a text without a character is refused, since it may be a slip.
    `instead_of`: the value corrected as `Traced.value` says it, empty for an empty cell; a cell
    that says otherwise by now is left alone. The same correction sent twice is one.
    Raises `StoreFault` for a text the intake would refuse, without who and why, and for a cell
    that has changed.
    """
    asked = _Asked(column, new_text, instead_of, who.strip(), why.strip())
    _well_asked(sheet, asked)
    rules = store.rules()
    with store.writing() as link:
        row_id = _corrected(link, rules, sheet, key, asked)
    return trace_row(store, sheet, row_id, column)


def _well_asked(sheet: str, asked: _Asked) -> None:
    column_of(sheet, asked.column)
    if not (asked.who and asked.why):
        raise StoreFault("A correction is kept with who made it and why. Give both.")
    if asked.new is not None and not asked.new.strip():
        raise StoreFault(
            f"{label(asked.column)}: nothing was typed, so nothing was changed. Type what belongs "
            "there; to leave the cell without a value, say that it is to be emptied."
        )


def _corrected(link: Connection, rules: HouseRules, sheet: str, key: Key, asked: _Asked) -> int:
    """Write one cell and keep old, who and why; the row's id. Nothing if it was done already."""
    column = column_of(sheet, asked.column)
    row = row_of(link, sheet, key)
    before = frame_of(sheet, row)
    after = _read_again(rules, sheet, before, asked)
    old, new = in_words(sheet, before, column), in_words(sheet, after, column)
    if _done_already(link, sheet, row, asked, old, new):
        return int(row.row_id)
    _refuse_a_change_of_nothing(sheet, before, asked, old, new)
    prints = int(key_prints(sheet, after).iloc[0]), int(content_prints(sheet, after).iloc[0])
    table = SHEET_TABLES[sheet]
    other = select(table.c.row_id).where(
        table.c.key_print == prints[0], table.c.row_id != row.row_id
    )
    if link.execute(other).first() is not None:
        name = key_text(sheet, after).iloc[0]
        raise StoreFault(f"There is a row {name} in {sheet} already. Two rows cannot share a key.")
    cell = to_cells(after[column.name], column.kind)[0]
    changed = {column.name: cell, "key_print": prints[0], "content_print": prints[1]}
    link.execute(update(table).where(table.c.row_id == row.row_id).values(changed))
    _keep_correction(link, sheet, row, asked, old, after)
    return int(row.row_id)


def _done_already(
    link: Connection, sheet: str, row: Row[Any], asked: _Asked, old: str, new: str
) -> bool:
    """Whether the last correction of this cell is the one asked for: a button pressed twice."""
    made = corrections_of(link, sheet, row.row_id)
    made = made[made["column"] == asked.column]
    if made.empty or old != new:
        return False
    last = made.iloc[-1]
    told = (last["old"], last["who"], last["why"])
    return told == (asked.instead_of, asked.who, asked.why)


def _refuse_a_change_of_nothing(
    sheet: str, before: pd.DataFrame, asked: _Asked, old: str, new: str
) -> None:
    name = f"{label(asked.column)} of {key_text(sheet, before).iloc[0]}"
    if old != asked.instead_of:
        raise StoreFault(
            f"{name} is {old or 'empty'} by now, no longer {asked.instead_of or 'empty'}: somebody "
            "corrected it in between, and it was left as it is. Look at it again, then correct "
            "it if need be."
        )
    if old == new:
        raise StoreFault(f"{name} is {old or 'empty'} already; nothing was changed.")


def _keep_correction(
    link: Connection, sheet: str, row: Row[Any], asked: _Asked, old: str, after: pd.DataFrame
) -> None:
    name = key_text(sheet, frame_of(sheet, row)).iloc[0]
    text = canonical_text(sheet, after)[asked.column].iloc[0]
    written = "" if pd.isna(text) else str(text)
    kept = (sheet, row.row_id, name, asked.column, old, written, asked.who, asked.why)
    names = ["sheet", "row_id", "row_key", "column", "old", "new", "who", "why", "corrected_at"]
    insert_rows(link, CORRECTIONS, names, [(*kept, now())])
    bump(link)


def _read_again(rules: HouseRules, sheet: str, before: pd.DataFrame, asked: _Asked) -> pd.DataFrame:
    """The row with the new text in one cell, read and checked exactly as a file would be."""
    column = asked.column
    text = canonical_text(sheet, before).astype("str").fillna("")
    text[column] = (asked.new or "").strip()
    given = [name for name in SHEETS[sheet].names() if text[name].iloc[0] or name == column]
    content = text[given].to_csv(index=False).encode()
    as_they_are = ReadingPlan(sheet, {name: name for name in given})
    plan = plan_intake([("correction.csv", content)], rules, [as_they_are])
    faults = [fault for fault in plan.faults if fault.is_to_mend]
    if faults:
        told = faults[0]
        raise StoreFault(f"{told.column}: {told.value} {told.wrong}. {told.mend}")
    return before.assign(**{column: shaped(sheet, plan.sheets[sheet])[column]})
