"""The store: what a distillery has recorded, where each row came from, and how to take it back."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from types import TracebackType
from typing import TYPE_CHECKING, Self

import pandas as pd
from sqlalchemy import select
from sqlalchemy.engine import Connection
from sqlalchemy.exc import SQLAlchemyError

from origin_compare import places
from origin_compare.errors import StoreFault, UnknownName
from origin_compare.house import HouseRules
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.files.readers import told_apart
from origin_compare.season.join import build_season
from origin_compare.season.one_harvest import one_harvest
from origin_compare.season.season import Season
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.faults import fault_table
from origin_compare.store import taking, taking_back
from origin_compare.store.books import (
    corrections,
    intakes,
    kept_rules,
    originals,
    remembered_plans,
)
from origin_compare.store.books.originals import Original
from origin_compare.store.connect import Engines, connect
from origin_compare.store.revision import revision
from origin_compare.store.rows import read_frame
from origin_compare.store.schema import SHEET_TABLES
from origin_compare.store.standing_rows import StandingRows

if TYPE_CHECKING:
    from origin_compare.intake.files.readers import Sources
    from origin_compare.intake.plan import IntakePlan, Progress
    from origin_compare.store.taking import Taken
    from origin_compare.store.taking_back import TakenBack


def open_store(url: str | None = None) -> Store:
    """The store at `url` (`sqlite:///path/to/store.sqlite`), made if there is none.

    Without `url` the one in the user's data folder, or where `ORIGIN_COMPARE_STORE` points.
    Raises `StoreFault` when it cannot be opened or was written by a newer program.
    """
    return Store(connect(url or places.default_store_url()))


class Store:
    """One distillery's records. Every change is one transaction and moves `revision` on.

    Several threads and processes may use one store at once: changes wait for one another,
    reading waits for nothing and sees the last finished change.
    """

    def __init__(self, engines: Engines) -> None:
        self._engines = engines

    @property
    def url(self) -> str:
        """The address it was opened by."""
        return self._engines.url

    @property
    def revision(self) -> int:
        """Another number whenever the content is another; a cache key."""
        with self.reading() as link:
            return revision(link)

    def close(self) -> None:
        """Let go of the file."""
        self._engines.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # Intakes

    def plan(
        self,
        sources: Sources | Iterable[tuple[str, bytes]],
        progress: Progress | None = None,
        *,
        rules: HouseRules | None = None,
        plans: Sequence[ReadingPlan] = (),
    ) -> IntakePlan:
        """What taking in these files (name, bytes) would do, under its rules and reading plans.

        Nothing is stored. `progress` is told how far it is (0 to 1) and at what. `rules` and
        `plans` lie beside the files: rules count where the store has none of its own, plans before
        the store's. Raises `RefusedFile` if there is no file.
        """
        from origin_compare.intake.plan import plan_intake

        used = rules if rules and not self.has_own_rules else self.rules()
        told = [*plans, *self.reading_plans()]
        with self.reading() as link:
            return plan_intake(sources, used, told, StandingRows(link), progress)

    def take_in(
        self,
        plan: IntakePlan,
        who: str = "",
        originals: Mapping[str, bytes] | Iterable[tuple[str, bytes]] = (),
        progress: Progress | None = None,
    ) -> Taken:
        """Write what of the plan is new, in one transaction.

        `originals`: the files the plan was made of, to be kept as they were. Rows that stand in
        the store already are left alone, rows contradicting it are set aside with a fault. The
        same file sent twice changes nothing. Raises `StoreFault` if a file is not the one
        the plan was made of.
        """
        given = originals.items() if isinstance(originals, Mapping) else originals
        files = _files_of(plan, told_apart(given))
        with self.writing() as link:
            return taking.take_in(link, plan, files, who, progress)

    def take_back(self, intake_id: int, *, with_dependants: bool = False) -> TakenBack:
        """Remove what an intake brought.

        Raises `StoreFault` if rows of other intakes hang on it; with `with_dependants` it goes
        all the same, and those rows stay without their partner (`TakenBack.orphans`).
        """
        with self.writing() as link:
            return taking_back.take_back(link, intake_id, with_dependants=with_dependants)

    def intakes(self) -> pd.DataFrame:
        """One row per intake, latest first: `intakes.INTAKE_COLUMNS`, `taken_at` in UTC."""
        with self.reading() as link:
            return intakes.intakes(link)

    def files(self, intake_id: int) -> pd.DataFrame:
        """The files of an intake: `file, sha256, bytes`."""
        with self.reading() as link:
            return originals.files_of(link, intakes.known(link, intake_id))

    def original(self, intake_id: int, file: str) -> bytes:
        """The file exactly as it was brought in. `UnknownName` if that intake had no such file."""
        with self.reading() as link:
            return originals.original(link, intakes.known(link, intake_id), file)

    def set_aside(self, intake_id: int) -> dict[str, pd.DataFrame]:
        """The rows an intake set aside, as text, one table per file and sheet."""
        with self.reading() as link:
            return intakes.set_aside(link, intakes.known(link, intake_id))

    def faults(self, intake_id: int) -> pd.DataFrame:
        """What an intake found wrong, as a table (`faults.FAULT_COLUMNS`)."""
        with self.reading() as link:
            return fault_table(intakes.faults(link, intakes.known(link, intake_id)))

    # What the next intake needs to know

    def remember_plan(self, *plans: ReadingPlan) -> None:
        """Keep reading plans for the next files of their kind, each in place of its namesake."""
        with self.writing() as link:
            remembered_plans.remember(link, *plans)

    def reading_plans(self) -> tuple[ReadingPlan, ...]:
        """The reading plans remembered, by name."""
        with self.reading() as link:
            return remembered_plans.remembered(link)

    def forget_plan(self, name: str) -> None:
        """Forget a reading plan by its name; `UnknownName` if there is none of that name."""
        with self.writing() as link:
            remembered_plans.forget(link, name)

    # Corrections and house rules

    def corrections(self) -> pd.DataFrame:
        """Every correction, oldest first: `corrections.CORRECTION_COLUMNS`."""
        with self.reading() as link:
            return corrections.corrections(link)

    def rules(self) -> HouseRules:
        """The house rules set last, or those every store starts with."""
        with self.reading() as link:
            return kept_rules.rules(link)

    @property
    def has_own_rules(self) -> bool:
        """Whether house rules were ever set here."""
        with self.reading() as link:
            return kept_rules.has_own_rules(link)

    def rules_history(self) -> list[tuple[int, pd.Timestamp, str, HouseRules]]:
        """All house rules ever set here, oldest first: version, when (UTC), who, the rules."""
        with self.reading() as link:
            return kept_rules.history(link)

    def set_rules(self, rules: HouseRules, who: str = "") -> None:
        """Set the house rules; the ones before stay on record."""
        with self.writing() as link:
            kept_rules.set_rules(link, rules, who)

    # The joined records

    def seasons(self) -> list[int]:
        """The harvest years on record, oldest first."""
        column = SHEET_TABLES["lots"].c.season
        with self.reading() as link:
            return list(link.execute(select(column).distinct().order_by(column)).scalars())

    def filled_sheets(self) -> tuple[str, ...]:
        """The sheets of which at least one row is on record, in the order of the chain."""
        with self.reading() as link:
            return tuple(
                name
                for name, table in SHEET_TABLES.items()
                if link.execute(select(table.c.row_id).limit(1)).first() is not None
            )

    def sheet(self, name: str) -> pd.DataFrame:
        """One sheet as stored, `intake_id, from_file, from_tab, from_row` behind its columns."""
        if name not in SHEETS:
            raise UnknownName(f"There is no sheet {name}. Sheets: {', '.join(SHEETS)}.")
        with self.reading() as link:
            return read_frame(link, name, "intake_id", "from_file", "from_tab", "from_row")

    def season(self, seasons: int | Sequence[int] | None = None) -> Season:
        """All on record joined, or the given harvest years; `UnknownName` for one not there."""
        with self.reading() as link:
            sheets = {name: read_frame(link, name) for name in SHEETS}
            rules, faults, number = kept_rules.rules(link), intakes.faults(link), revision(link)
        whole = build_season(sheets, rules, faults=faults, revision=number)
        if seasons is None:
            return whole
        return one_harvest(whole, *([seasons] if isinstance(seasons, int) else seasons))

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection on one unchanging state of the store, for the records' own modules."""
        with _told_plainly(self.url), self._engines.read.begin() as link:
            yield link

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection that alone may write until it is done; an error undoes all of it."""
        with _told_plainly(self.url), self._engines.write.begin() as link:
            yield link


@contextmanager
def _told_plainly(url: str) -> Iterator[None]:
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error) as why:
        cause = str(getattr(why, "orig", None) or why).splitlines()[0].rstrip(".")
        raise StoreFault(
            f"The store refused: {cause}. Nothing was changed; if another program holds the "
            "store, wait for it and try again."
        ) from why


def _files_of(plan: IntakePlan, given: Iterable[tuple[str, bytes]]) -> list[Original]:
    """The plan's files with their bytes where given, and those given besides."""
    kept = {name: Original.of(name, content) for name, content in given}
    for file in plan.files:
        here = kept.setdefault(file.name, Original(file.name, file.sha256, file.bytes))
        if here.sha256 != file.sha256:
            raise StoreFault(
                f"{file.name} is not the file that was checked: it has changed since. Check it "
                "again, then take it in."
            )
    return list(kept.values())
