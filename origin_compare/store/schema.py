"""The store's tables: one per sheet, with where each row came from, and the intakes' own books."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
)
from sqlalchemy.types import TypeEngine

from origin_compare.sheets.catalogue import SHEETS, Kind, Sheet

BOOKS = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

TYPES: Mapping[Kind, type[TypeEngine[Any]]] = {
    "key": Text,
    "text": Text,
    "number": Float,
    "gravity": Float,
    "temperature": Float,
    "count": Integer,
    "date": Text,  # YYYY-MM-DD
    "moment": BigInteger,  # microseconds since 1970-01-01 00:00 UTC
}

FROM_COLUMNS = ("intake_id", "from_file", "from_tab", "from_row", "raw_text", "from_cells")
"""Where a row came from: its intake, the file, the tab of a workbook, the row, its text as read,
and, where its cells stand in several rows, their addresses."""

PRINT_COLUMNS = ("key_print", "content_print")


def _sheet_table(sheet: Sheet) -> Table:
    return Table(
        sheet.name,
        BOOKS,
        Column("row_id", Integer, primary_key=True),
        Column("intake_id", Integer, ForeignKey("intakes.intake_id"), nullable=False, index=True),
        Column("from_file", Text, nullable=False),
        Column("from_tab", Text, nullable=False),
        Column("from_row", Integer),
        Column("raw_text", Text, nullable=False),
        Column("key_print", BigInteger, nullable=False, index=True, unique=True),
        Column("content_print", BigInteger, nullable=False),
        *(
            Column(column.name, TYPES[column.kind], nullable=not column.needed)
            for column in sheet.columns
        ),
        Column("from_cells", Text),
        sqlite_autoincrement=True,  # a correction names its row by a number nobody else gets
    )


INTAKES = Table(
    "intakes",
    BOOKS,
    Column("intake_id", Integer, primary_key=True),
    Column("taken_at", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
    Column("what", Text, nullable=False),
    sqlite_autoincrement=True,  # the number of an intake taken back is never given again
)

ORIGINALS = Table(
    "originals",
    BOOKS,
    Column("sha256", String(64), primary_key=True),
    Column("size", BigInteger, nullable=False),
    Column("packed", LargeBinary),  # missing where only the file's print was handed over
)

INTAKE_FILES = Table(
    "intake_files",
    BOOKS,
    Column("intake_id", Integer, ForeignKey("intakes.intake_id"), primary_key=True),
    Column("file", Text, primary_key=True),
    Column("sha256", String(64), ForeignKey("originals.sha256"), nullable=False, index=True),
)

FAULTS = Table(
    "faults",
    BOOKS,
    Column("fault_id", Integer, primary_key=True),
    Column("intake_id", Integer, ForeignKey("intakes.intake_id"), nullable=False, index=True),
    Column("file", Text, nullable=False),
    Column("sheet", Text, nullable=False),
    Column("row", Integer),
    Column("column", Text, nullable=False),
    Column("value", Text, nullable=False),
    Column("wrong", Text, nullable=False),
    Column("mend", Text, nullable=False),
    Column("weight", Text, nullable=False),
)

SET_ASIDE = Table(
    "set_aside",
    BOOKS,
    Column("intake_id", Integer, ForeignKey("intakes.intake_id"), primary_key=True),
    Column("name", Text, primary_key=True),
    Column("rows", Integer, nullable=False),
    Column("packed", LargeBinary, nullable=False),
)

READING_PLANS = Table(
    "reading_plans",
    BOOKS,
    Column("name", Text, primary_key=True),
    Column("said", Text, nullable=False),
)

HOUSE_RULES = Table(
    "house_rules",
    BOOKS,
    Column("version", Integer, primary_key=True),
    Column("set_at", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
    Column("said", Text, nullable=False),
)

CORRECTIONS = Table(
    "corrections",
    BOOKS,
    Column("correction_id", Integer, primary_key=True),
    Column("sheet", Text, nullable=False),
    Column("row_id", Integer, nullable=False),
    Column("row_key", Text, nullable=False),
    Column("column", Text, nullable=False),
    Column("old", Text, nullable=False),
    Column("new", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("corrected_at", BigInteger, nullable=False),
    Index("ix_corrections_sheet_row_id", "sheet", "row_id"),
)

TASTINGS = Table(
    "tastings",
    BOOKS,
    Column("tasting_id", Text, primary_key=True),
    Column("made_at", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
    Column("said", Text, nullable=False),
)

ENTERED_SCORES = Table(
    "entered_scores",
    BOOKS,
    Column("tasting_id", Text, ForeignKey("tastings.tasting_id"), primary_key=True),
    Column("assessor_id", Text, primary_key=True),
    Column("code", Integer, primary_key=True),
    Column("said", Text, nullable=False),
    Column("done", Integer, nullable=False),
    Column("entered_at", BigInteger, nullable=False),
)

REVISION = Table(
    "revision",
    BOOKS,
    Column("only", Integer, primary_key=True),
    Column("number", Integer, nullable=False),
)

SHEET_TABLES: Mapping[str, Table] = {name: _sheet_table(sheet) for name, sheet in SHEETS.items()}
