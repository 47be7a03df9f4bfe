"""The book of intakes: which there were, what they found wrong, and the rows they set aside."""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import astuple

import pandas as pd
from sqlalchemy import ColumnElement, delete, func, insert, select
from sqlalchemy.engine import Connection

from origin_compare.errors import UnknownName
from origin_compare.sheets.faults import FAULT_COLUMNS, Fault
from origin_compare.store.revision import now
from origin_compare.store.rows import insert_rows
from origin_compare.store.schema import (
    FAULTS,
    INTAKE_FILES,
    INTAKES,
    SET_ASIDE,
    SHEET_TABLES,
)

INTAKE_COLUMNS = ["intake_id", "taken_at", "who", "what", "files", "rows", "faults"]


def new_intake(link: Connection, who: str, what: str) -> int:
    """A line for a new intake, `what` it brings in words; its number."""
    made = insert(INTAKES).values(taken_at=now(), who=who, what=what)
    return int(link.execute(made.returning(INTAKES.c.intake_id)).scalar_one())


def is_known(link: Connection, intake_id: int) -> bool:
    """Whether there is such an intake."""
    found = link.execute(select(INTAKES.c.intake_id).where(INTAKES.c.intake_id == intake_id))
    return found.first() is not None


def known(link: Connection, intake_id: int) -> int:
    """The intake's number; `UnknownName` if there is none."""
    if not is_known(link, intake_id):
        raise UnknownName(none_such(intake_id))
    return intake_id


def none_such(intake_id: int) -> str:
    """What to say where an intake is asked for that is not there."""
    return f"There is no intake {intake_id} in the store. List the intakes to see their numbers."


def intakes(link: Connection) -> pd.DataFrame:
    """One row per intake, latest first: `INTAKE_COLUMNS`, `taken_at` in UTC."""
    found = link.execute(select(INTAKES).order_by(INTAKES.c.intake_id.desc())).all()
    frame = pd.DataFrame(found, columns=["intake_id", "taken_at", "who", "what"])
    counts = {
        "files": _count_by_intake(link, INTAKE_FILES.c.intake_id),
        "rows": _sum_by_intake(
            _count_by_intake(link, table.c.intake_id) for table in SHEET_TABLES.values()
        ),
        "faults": _count_by_intake(link, FAULTS.c.intake_id),
    }
    for name, numbers in counts.items():
        frame[name] = numbers.reindex(frame["intake_id"]).fillna(0).astype("int64").to_numpy()
    frame["taken_at"] = pd.to_datetime(frame["taken_at"].astype("int64"), unit="us", utc=True)
    return frame[INTAKE_COLUMNS]


def _count_by_intake(link: Connection, column: ColumnElement[int]) -> pd.Series:
    found = link.execute(select(column, func.count()).group_by(column)).all()
    return pd.Series(
        [rows for _, rows in found], index=[number for number, _ in found], dtype="int64"
    )


def _sum_by_intake(counts: Iterable[pd.Series]) -> pd.Series:
    return pd.concat(list(counts)).groupby(level=0).sum()


def keep_faults(link: Connection, intake_id: int, faults: Iterable[Fault]) -> None:
    """Keep what an intake found wrong."""
    names = ["intake_id", *FAULT_COLUMNS]
    insert_rows(link, FAULTS, names, ((intake_id, *astuple(fault)) for fault in faults))


def faults(link: Connection, intake_id: int | None = None) -> tuple[Fault, ...]:
    """What an intake found wrong, or all of them, in the order found."""
    query = select(*(FAULTS.c[name] for name in FAULT_COLUMNS)).order_by(FAULTS.c.fault_id)
    if intake_id is not None:
        query = query.where(FAULTS.c.intake_id == intake_id)
    return tuple(Fault(*row) for row in link.execute(query))


def keep_aside(link: Connection, intake_id: int, aside: Mapping[str, pd.DataFrame]) -> None:
    """Keep the rows an intake set aside, packed, one table to a name."""
    for name, frame in aside.items():
        packed = zlib.compress(frame.to_csv(index=False).encode(), 6)
        link.execute(
            insert(SET_ASIDE).values(intake_id=intake_id, name=name, rows=len(frame), packed=packed)
        )


def set_aside(link: Connection, intake_id: int) -> dict[str, pd.DataFrame]:
    """The rows an intake set aside, as text, one table per file and sheet."""
    found = link.execute(
        select(SET_ASIDE.c.name, SET_ASIDE.c.packed)
        .where(SET_ASIDE.c.intake_id == intake_id)
        .order_by(SET_ASIDE.c.name)
    )
    return {name: _unpacked(packed) for name, packed in found}


def _unpacked(packed: bytes) -> pd.DataFrame:
    return pd.read_csv(
        io.BytesIO(zlib.decompress(packed)), dtype="str", keep_default_na=False, index_col=False
    )


def drop_intake(link: Connection, intake_id: int) -> None:
    """Strike an intake from the book, with its faults and the rows it set aside."""
    for table in (FAULTS, SET_ASIDE, INTAKES):
        link.execute(delete(table).where(table.c.intake_id == intake_id))
