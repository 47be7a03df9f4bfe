"""One cell back to the file it came from, and how it was corrected since."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd
from sqlalchemy import Row, select
from sqlalchemy.engine import Connection

from origin_compare.errors import UnknownName
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.headers import columns_for
from origin_compare.season.package import canonical_text
from origin_compare.sheets.catalogue import SHEETS, Column
from origin_compare.sheets.fingerprint import key_prints
from origin_compare.sheets.frames import shaped
from origin_compare.sheets.keys import key_text
from origin_compare.store.rows import cells_under, from_cells
from origin_compare.store.schema import CORRECTIONS, INTAKES, SHEET_TABLES
from origin_compare.trace.as_written import as_written, kept_name
from origin_compare.words import label

if TYPE_CHECKING:
    from origin_compare.store.store import Store

Key = Mapping[str, object] | Sequence[object] | str
CORRECTION_COLUMNS = ["corrected_at", "who", "why", "column", "old", "new"]


@dataclass(frozen=True)
class Traced:
    """Where one value came from.

    `value`: as it stands now, in words; `cell`: the text of that cell in the file, empty where
    the header it stood under cannot be told; `raw`: the row's cells as written, by header;
    `corrections` (`CORRECTION_COLUMNS`): what was changed since, oldest first.
    """

    sheet: str
    key: str
    column: str
    value: str
    cell: str
    file: str
    tab: str
    row: int | None
    raw: Mapping[str, str]
    intake_id: int
    taken_at: pd.Timestamp
    who: str
    corrections: pd.DataFrame

    def sentence(self) -> str:
        """Where the value stands, and whether it was corrected."""
        place = self.file + (f" tab {self.tab}" if self.tab else "")
        place += "" if self.row is None else f" row {self.row}"
        by = f" by {self.who}" if self.who else ""
        said = (
            f"{label(self.column)} of {self.key} is {self.value or 'empty'}; it came from {place}"
        )
        said += f", written {self.cell!r} there" if self.cell else ""
        said += f", taken in{by} on {self.taken_at:%Y-%m-%d} (intake {self.intake_id})"
        mine = self.corrections[self.corrections["column"] == self.column]
        if mine.empty:
            return f"{said}."
        last = mine.iloc[-1]
        return (
            f"{said}, and was corrected from {last['old'] or 'empty'} by {last['who']} on "
            f"{last['corrected_at']:%Y-%m-%d}: {last['why']}."
        )

    def table(self) -> pd.DataFrame:
        """The row as written: `header, text`."""
        return pd.DataFrame({"header": list(self.raw), "text": list(self.raw.values())})

    def rests_on(self) -> str:
        return f"{self.file}, intake {self.intake_id}."


def trace(store: Store, sheet: str, key: Key, column: str) -> Traced:
    """Where a value came from: file, tab, row, the text as written, the intake.

    `key`: the key columns' values by name or in order (one value alone as it is). Raises
    `UnknownName` for a sheet, column or row that is not there.
    """
    column_of(sheet, column)
    with store.reading() as link:
        row_id = row_of(link, sheet, key).row_id
    return trace_row(store, sheet, row_id, column)


def trace_row(store: Store, sheet: str, row_id: int, column: str) -> Traced:
    """As `trace`, for a row by its number in the store."""
    table = SHEET_TABLES[sheet]
    with store.reading() as link:
        row = link.execute(select(table).where(table.c.row_id == row_id)).one()
        intake = link.execute(select(INTAKES).where(INTAKES.c.intake_id == row.intake_id)).one()
        changed = corrections_of(link, sheet, row_id)
    place = (row.intake_id, row.from_file, row.from_tab, row.from_row)
    text = row.raw_text or as_written(store, [place]).get(place, "")
    raw, wanted = _raw(text) if text else {}, column_of(sheet, column)
    stored = frame_of(sheet, row)
    return Traced(
        sheet=sheet,
        key=key_text(sheet, stored).iloc[0],
        column=column,
        value=in_words(sheet, stored, wanted),
        cell=_cell(sheet, row, wanted, raw, store.reading_plans()),
        file=row.from_file,
        tab=row.from_tab,
        row=row.from_row,
        raw=raw,
        intake_id=row.intake_id,
        taken_at=pd.Timestamp(intake.taken_at, unit="us", tz="UTC"),
        who=intake.who,
        corrections=changed,
    )


def names_in(store: Store, sheet: str) -> list[str]:
    """The names in a sheet's first key column, in order."""
    column = SHEET_TABLES[sheet].c[SHEETS[sheet].key[0]]
    with store.reading() as link:
        return list(link.execute(select(column).distinct().order_by(column)).scalars())


def rows_under(store: Store, sheet: str, name: str) -> pd.DataFrame:
    """The key columns of the rows whose first key is `name`, and `row`, the key's other parts."""
    table, names = SHEET_TABLES[sheet], SHEETS[sheet].key
    query = select(*(table.c[one] for one in names)).where(table.c[names[0]] == name)
    with store.reading() as link:
        found = link.execute(query.order_by(table.c.row_id)).all()
    cells = {
        one: from_cells([row[place] for row in found], SHEETS[sheet].column(one).kind)
        for place, one in enumerate(names)
    }
    keys = shaped(sheet, pd.DataFrame(cells))
    rest = key_text(sheet, keys).str[len(name) :].str.removeprefix(" / ")
    return keys[list(names)].assign(row=rest)


def places(store: Store, sheet: str, keys: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """Where many rows of a sheet came from: `file, tab, row, raw`, in the order of `keys`.

    A key that is not in the store gives empty texts. A reading is sought with its hours as they
    were worked out (`_hours`) too, since a file may hold both clock and hours.
    """
    frame = pd.DataFrame(list(keys))
    first = _by_print(store, sheet, frame)
    if "_hours" in frame:
        second = _by_print(store, sheet, frame.assign(hours=frame["_hours"]))
        first = first.where(first["file"] != "", second)
    return first


_PLACE = ["file", "tab", "row", "raw"]


def _by_print(store: Store, sheet: str, frame: pd.DataFrame) -> pd.DataFrame:
    prints = key_prints(sheet, shaped(sheet, frame))
    names = ["key_print", "intake_id", "from_file", "from_tab", "from_row", "raw_text"]
    with store.reading() as link:
        standing = cells_under(link, sheet, prints, names)
    found = {key: tuple(place) for key, *place in zip(*standing.values(), strict=True)}
    in_files = as_written(store, [place[:4] for place in found.values() if not place[4]])
    nowhere = (0, "", "", None, "")
    places = [found.get(one, nowhere) for one in prints]
    lines = [(*place[1:4], place[4] or in_files.get(place[:4], "")) for place in places]
    return pd.DataFrame(lines, columns=_PLACE)


def original_of(store: Store, traced: Traced) -> tuple[str, bytes]:
    """The file a value came from as it was brought in; an archive whole. `UnknownName` if gone."""
    name = kept_name(store, traced.intake_id, traced.file)
    return name, store.original(traced.intake_id, name)


def column_of(sheet: str, column: str) -> Column:
    """The column; `UnknownName` if there is no such sheet or column."""
    if sheet not in SHEETS:
        raise UnknownName(f"There is no sheet {sheet}. Sheets: {', '.join(SHEETS)}.")
    names = SHEETS[sheet].names()
    if column not in names:
        raise UnknownName(f"{sheet} has no column {column}. Columns: {', '.join(names)}.")
    return SHEETS[sheet].column(column)


def row_of(link: Connection, sheet: str, key: Key) -> Row[Any]:
    """The stored row under a key; `UnknownName` if there is none."""
    names = SHEETS[sheet].key
    given = _by_name(names, key)
    frame = shaped(sheet, pd.DataFrame({name: [given.get(name)] for name in names}))
    table = SHEET_TABLES[sheet]
    sought = int(key_prints(sheet, frame).iloc[0])
    found = link.execute(select(table).where(table.c.key_print == sought)).first()
    if found is None:
        raise UnknownName(f"There is no row {key_text(sheet, frame).iloc[0]} in {sheet}.")
    return found


def _by_name(names: tuple[str, ...], key: Key) -> Mapping[str, object]:
    if isinstance(key, Mapping):
        return key
    values = [key] if isinstance(key, str) else list(key)
    return dict(zip(names, values, strict=False))


def frame_of(sheet: str, row: Row[Any]) -> pd.DataFrame:
    """A stored row as a shaped frame of one row."""
    cells = row._mapping
    columns = {
        column.name: from_cells([cells[column.name]], column.kind)
        for column in SHEETS[sheet].columns
    }
    return shaped(sheet, pd.DataFrame(columns))


def in_words(sheet: str, row: pd.DataFrame, column: Column) -> str:
    """A stored value as text, empty where it is missing; `row`: a frame of one row."""
    text = canonical_text(sheet, row)[column.name].iloc[0]
    if column.kind == "moment" and not pd.isna(text):
        return f"{text.removesuffix('Z').replace('T', ' ').removesuffix(':00')} UTC"
    if isinstance(text, float) and not pd.isna(text):
        return f"{text:.12g}"  # a figure divided by 1000 on the way in would show its sixteenth
    return "" if pd.isna(text) else str(text)


def _raw(text: str) -> dict[str, str]:
    try:
        read = json.loads(text)
    except ValueError:
        return {"": text}
    return read if isinstance(read, dict) else {"": text}


def _cell(
    sheet: str, row: Row[Any], column: Column, raw: Mapping[str, str], maps: Sequence[ReadingPlan]
) -> str:
    """The raw text of one column, found by the header it stood under."""
    wanted = {column.name}
    if sheet == "scores" and column.name == "score":
        wanted.add(str(row.attribute))  # a wide tasting sheet has one column per attribute
    told = {head: name for one in maps if one.sheet == sheet for head, name in one.columns.items()}
    for header, text in raw.items():
        names = {told.get(header, header)} | {
            one.name for one in columns_for(header, SHEETS[sheet])[0]
        }
        if names & wanted:
            return text
    return ""


def corrections_of(link: Connection, sheet: str, row_id: int) -> pd.DataFrame:
    """The corrections of one row, oldest first: `CORRECTION_COLUMNS`."""
    query = select(*(CORRECTIONS.c[name] for name in CORRECTION_COLUMNS)).where(
        CORRECTIONS.c.sheet == sheet, CORRECTIONS.c.row_id == row_id
    )
    found = link.execute(query.order_by(CORRECTIONS.c.correction_id)).all()
    frame = pd.DataFrame(found, columns=CORRECTION_COLUMNS)
    moments = pd.to_datetime(frame["corrected_at"].astype("int64"), unit="us", utc=True)
    return frame.assign(corrected_at=moments)
