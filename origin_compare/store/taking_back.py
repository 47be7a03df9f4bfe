"""Taking an intake back out of the store, and what of other intakes hangs on it."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
from sqlalchemy import delete, select
from sqlalchemy.engine import Connection

from origin_compare.answers import count, listed
from origin_compare.errors import StoreFault
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.store.books.intakes import drop_intake, is_known, none_such
from origin_compare.store.books.originals import drop_files
from origin_compare.store.revision import bump
from origin_compare.store.schema import SHEET_TABLES

ORPHAN_COLUMNS = ["sheet", "key", "intake_id", "missing_sheet", "missing_key"]


@dataclass(frozen=True)
class TakenBack:
    """What left the store with an intake: `rows` per sheet, and the `orphans` it left behind.

    `orphans` (`ORPHAN_COLUMNS`): rows of other intakes that stay in the store but hang on rows
    which are gone; they join again when their partners come back.
    """

    intake_id: int
    rows: pd.DataFrame
    orphans: pd.DataFrame
    revision: int

    def sentence(self) -> str:
        """What left, in one sentence."""
        gone = count(int(self.rows["gone"].sum()), "row")
        left = f"; {count(len(self.orphans), 'row')} of other intakes lost a partner"
        said = f"Intake {self.intake_id} was taken back with {gone}"
        return f"{said}{left if len(self.orphans) else ''}."

    def table(self) -> pd.DataFrame:
        return self.rows

    def rests_on(self) -> str:
        return f"Intake {self.intake_id}."


def take_back(link: Connection, intake_id: int, *, with_dependants: bool) -> TakenBack:
    """Remove what an intake brought; rows of others that hang on it stop it unless waved on."""
    if not is_known(link, intake_id):
        raise StoreFault(none_such(intake_id))
    orphans = orphans_of(link, intake_id)
    if len(orphans) and not with_dependants:
        raise StoreFault(_refusal(intake_id, orphans))
    gone = {
        name: link.execute(delete(table).where(table.c.intake_id == intake_id)).rowcount
        for name, table in SHEET_TABLES.items()
    }
    drop_files(link, intake_id)
    drop_intake(link, intake_id)
    rows = pd.DataFrame([(name, n) for name, n in gone.items() if n], columns=["sheet", "gone"])
    return TakenBack(intake_id, rows.astype({"gone": "int64"}), orphans, bump(link))


def orphans_of(link: Connection, intake_id: int) -> pd.DataFrame:
    """Rows of other intakes whose partner only this intake brought: `ORPHAN_COLUMNS`."""
    lines: list[tuple[object, ...]] = []
    for name, sheet in SHEETS.items():
        for column in sheet.columns:
            if column.links_to:
                lines.extend(_orphans_by(link, name, column.name, column.links_to, intake_id))
    return pd.DataFrame(lines, columns=ORPHAN_COLUMNS)


def _orphans_by(
    link: Connection, name: str, column: str, target: str, intake_id: int
) -> list[tuple[object, ...]]:
    here, there = SHEET_TABLES[name], SHEET_TABLES[target]
    brought = select(there.c[column]).where(there.c.intake_id == intake_id)
    elsewhere = select(there.c[column]).where(
        there.c.intake_id != intake_id, there.c[column].is_not(None)
    )
    key = SHEETS[name].key
    found = link.execute(
        select(here.c.intake_id, here.c[column], *(here.c[part].label(f"_{part}") for part in key))
        .where(here.c.intake_id != intake_id)
        .where(here.c[column].in_(brought), here.c[column].not_in(elsewhere))
        .order_by(here.c.row_id)
    )
    return [
        (
            name,
            " / ".join(str(part) for part in row[2:] if part is not None),
            row[0],
            target,
            row[1],
        )
        for row in found
    ]


def _refusal(intake_id: int, orphans: pd.DataFrame) -> str:
    parts = []
    for sheet, rows in orphans.groupby("sheet", sort=False):
        names = listed(list(dict.fromkeys(rows["missing_key"].astype(str))))
        target = rows["missing_sheet"].iloc[0]
        intakes = listed([str(number) for number in sorted(rows["intake_id"].unique())])
        parts.append(
            f"{count(len(rows), 'row')} of {sheet} (intake {intakes}) hang on its {target} {names}"
        )
    later = listed([str(number) for number in sorted(orphans["intake_id"].unique())])
    return (
        f"Intake {intake_id} cannot be taken back alone: {'; '.join(parts)}. Take intake {later} "
        "back first, or take it back all the same and let those rows stand without their partner."
    )
