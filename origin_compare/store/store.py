"""The store: what a distillery has recorded, where each row came from, and how to take it back."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from types import TracebackType
from typing import TYPE_CHECKING, Self

import pandas as pd
from sqlalchemy import ColumnElement, func, insert, select
from sqlalchemy.engine import Connection
from sqlalchemy.exc import SQLAlchemyError

from origin_compare import places
from origin_compare.errors import StoreFault, UnknownName
from origin_compare.house import HouseRules, default_rules, read_rules, rules_as_toml
from origin_compare.intake.files.readers import told_apart
from origin_compare.intake.recognise import HeaderMap
from origin_compare.season.join import build_season
from origin_compare.season.one_harvest import one_harvest
from origin_compare.season.season import Season
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.faults import FAULT_COLUMNS, Fault, fault_table
from origin_compare.store import taking
from origin_compare.store.connect import Engines, connect
from origin_compare.store.rows import read_frame
from origin_compare.store.schema import (
    CORRECTIONS,
    FAULTS,
    HEADER_MAPS,
    HOUSE_RULES,
    INTAKE_FILES,
    INTAKES,
    ORIGINALS,
    SET_ASIDE,
    SHEET_TABLES,
)
from origin_compare.store.standing_rows import StandingRows
from origin_compare.store.taking import Original, Taken, TakenBack

if TYPE_CHECKING:
    from origin_compare.intake.files.readers import Sources
    from origin_compare.intake.plan import IntakePlan, Progress

INTAKE_COLUMNS = ["intake_id", "taken_at", "who", "what", "files", "rows", "faults"]


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
        return self._engines.url

    @property
    def revision(self) -> int:
        """Another number whenever the content is another; a cache key."""
        with self.reading() as link:
            return taking.revision(link)

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
        maps: Sequence[HeaderMap] = (),
    ) -> IntakePlan:
        """What taking in these files (name, bytes) would do, under this store's rules and maps.

        Nothing is stored. `progress` is told how far it is (0 to 1) and at what. `rules` and
        `maps` lie beside the files: rules count where the store has none of its own, maps before
        the store's. Raises `RefusedFile` if there is no file.
        """
        from origin_compare.intake.plan import plan_intake

        used = rules if rules and not self.has_own_rules else self.rules()
        told = [*maps, *self.header_maps()]
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
            planned = (plan.sheets, plan.faults, plan.set_aside, plan.already_there)
            raw_texts = getattr(plan, "raw_texts", None)
            return taking.take_in(link, *planned, files, who, progress, raw_texts)

    def take_back(self, intake_id: int, *, with_dependants: bool = False) -> TakenBack:
        """Remove what an intake brought.

        Raises `StoreFault` if rows of other intakes hang on it; with `with_dependants` it goes
        all the same, and those rows stay without their partner (`TakenBack.orphans`).
        """
        with self.writing() as link:
            return taking.take_back(link, intake_id, with_dependants=with_dependants)

    def intakes(self) -> pd.DataFrame:
        """One row per intake, latest first: `INTAKE_COLUMNS`, `taken_at` in UTC."""
        with self.reading() as link:
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

    def files(self, intake_id: int) -> pd.DataFrame:
        """The files of an intake: `file, sha256, bytes`."""
        with self.reading() as link:
            _known_intake(link, intake_id)
            found = link.execute(
                select(INTAKE_FILES.c.file, ORIGINALS.c.sha256, ORIGINALS.c.size)
                .join(ORIGINALS, INTAKE_FILES.c.sha256 == ORIGINALS.c.sha256)
                .where(INTAKE_FILES.c.intake_id == intake_id)
                .order_by(INTAKE_FILES.c.file)
            ).all()
        return pd.DataFrame(found, columns=["file", "sha256", "bytes"])

    def original(self, intake_id: int, file: str) -> bytes:
        """The file exactly as it was brought in. `UnknownName` if that intake had no such file."""
        with self.reading() as link:
            _known_intake(link, intake_id)
            kept = link.execute(
                select(ORIGINALS.c.packed, ORIGINALS.c.size)
                .join(INTAKE_FILES, INTAKE_FILES.c.sha256 == ORIGINALS.c.sha256)
                .where(INTAKE_FILES.c.intake_id == intake_id, INTAKE_FILES.c.file == file)
            ).first()
        if kept is None:
            raise UnknownName(f"Intake {intake_id} brought no file {file}. See its list of files.")
        if kept.packed is None:
            raise UnknownName(
                f"Only the print of {file} was kept with intake {intake_id}, not the file itself."
            )
        return taking.unpacked(kept.packed, kept.size)

    def set_aside(self, intake_id: int) -> dict[str, pd.DataFrame]:
        """The rows an intake set aside, as text, one table per file and sheet."""
        with self.reading() as link:
            _known_intake(link, intake_id)
            found = link.execute(
                select(SET_ASIDE.c.name, SET_ASIDE.c.packed)
                .where(SET_ASIDE.c.intake_id == intake_id)
                .order_by(SET_ASIDE.c.name)
            ).all()
        return {name: taking.unpacked_aside(packed) for name, packed in found}

    def faults(self, intake_id: int) -> pd.DataFrame:
        """What an intake found wrong, as a table (`faults.FAULT_COLUMNS`)."""
        with self.reading() as link:
            _known_intake(link, intake_id)
            return fault_table(_faults(link, intake_id))

    # What the next intake needs to know

    def remember_headers(self, mapped: HeaderMap) -> None:
        """Keep a header map for the next file with the same headers of the same sheet."""
        said = json.dumps(asdict(mapped), ensure_ascii=False, sort_keys=True)
        name = f"{mapped.sheet}: {', '.join(sorted(mapped.columns))}"
        with self.writing() as link:
            link.execute(HEADER_MAPS.delete().where(HEADER_MAPS.c.name == name))
            link.execute(insert(HEADER_MAPS).values(name=name, said=said))
            taking.bump(link)

    def header_maps(self) -> tuple[HeaderMap, ...]:
        """The header maps remembered."""
        with self.reading() as link:
            found = link.execute(select(HEADER_MAPS.c.said).order_by(HEADER_MAPS.c.name)).scalars()
            return tuple(HeaderMap(**json.loads(said)) for said in found)

    # Corrections

    def corrections(self) -> pd.DataFrame:
        """Every correction, oldest first: `corrected_at, sheet, row_key, column, old, new, ...`."""
        names = ["corrected_at", "sheet", "row_key", "column", "old", "new", "who", "why"]
        with self.reading() as link:
            found = link.execute(
                select(*(CORRECTIONS.c[name] for name in names)).order_by(
                    CORRECTIONS.c.correction_id
                )
            ).all()
        frame = pd.DataFrame(found, columns=names)
        moments = pd.to_datetime(frame["corrected_at"].astype("int64"), unit="us", utc=True)
        return frame.assign(corrected_at=moments)

    # House rules

    def rules(self) -> HouseRules:
        """The house rules set last, or those every store starts with."""
        with self.reading() as link:
            said = link.execute(
                select(HOUSE_RULES.c.said).order_by(HOUSE_RULES.c.version.desc()).limit(1)
            ).scalar()
        return default_rules() if said is None else read_rules(said)

    @property
    def has_own_rules(self) -> bool:
        """Whether house rules were ever set here."""
        with self.reading() as link:
            return link.execute(select(HOUSE_RULES.c.version).limit(1)).first() is not None

    def rules_history(self) -> list[tuple[int, pd.Timestamp, str, HouseRules]]:
        """All house rules ever set here, oldest first: version, when (UTC), who, the rules."""
        columns = (HOUSE_RULES.c[name] for name in ("version", "set_at", "who", "said"))
        with self.reading() as link:
            found = link.execute(select(*columns).order_by(HOUSE_RULES.c.version)).all()
        return [
            (number, pd.Timestamp(set_at, unit="us", tz="UTC"), who, read_rules(said))
            for number, set_at, who, said in found
        ]

    def set_rules(self, rules: HouseRules, who: str = "") -> None:
        """Set the house rules; the ones before stay on record."""
        with self.writing() as link:
            said = rules_as_toml(rules)
            link.execute(insert(HOUSE_RULES).values(set_at=taking.now(), who=who, said=said))
            taking.bump(link)

    # The joined records

    def seasons(self) -> list[int]:
        """The harvest years on record, oldest first."""
        column = SHEET_TABLES["lots"].c.season
        with self.reading() as link:
            return list(link.execute(select(column).distinct().order_by(column)).scalars())

    def sheet(self, name: str) -> pd.DataFrame:
        """One sheet as stored, `intake_id, from_file, from_tab, from_row` behind its columns."""
        if name not in SHEETS:
            raise UnknownName(f"There is no sheet {name}. Sheets: {', '.join(SHEETS)}.")
        with self.reading() as link:
            return read_frame(link, name, "intake_id", "from_file", "from_tab", "from_row")

    def season(self, seasons: int | Sequence[int] | None = None) -> Season:
        """All on record joined, or the given harvest years; `UnknownName` for one not there."""
        rules = self.rules()
        with self.reading() as link:
            sheets = {name: read_frame(link, name) for name in SHEETS}
            faults, revision = _faults(link, None), taking.revision(link)
        whole = build_season(sheets, rules, faults=faults, revision=revision)
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


def _known_intake(link: Connection, intake_id: int) -> None:
    if link.execute(select(INTAKES).where(INTAKES.c.intake_id == intake_id)).first() is None:
        raise UnknownName(
            f"There is no intake {intake_id} in the store. List the intakes to see their numbers."
        )


def _count_by_intake(link: Connection, column: ColumnElement[int]) -> pd.Series:
    found = link.execute(select(column, func.count()).group_by(column)).all()
    return pd.Series(
        [rows for _, rows in found], index=[number for number, _ in found], dtype="int64"
    )


def _sum_by_intake(counts: Iterable[pd.Series]) -> pd.Series:
    return pd.concat(list(counts)).groupby(level=0).sum()


def _faults(link: Connection, intake_id: int | None) -> tuple[Fault, ...]:
    query = select(*(FAULTS.c[name] for name in FAULT_COLUMNS)).order_by(FAULTS.c.fault_id)
    if intake_id is not None:
        query = query.where(FAULTS.c.intake_id == intake_id)
    return tuple(Fault(*row) for row in link.execute(query))
