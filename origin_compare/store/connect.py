"""Opening a store's database: one engine to write with, one to read with, and its version."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, create_engine, event, inspect
from sqlalchemy.engine import Connection, make_url
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.pool import StaticPool

from origin_compare.errors import StoreFault

MIGRATIONS = Path(__file__).parent / "migrations"
BUSY_MS = 30_000
CACHE_KIB = 64 * 1024


@dataclass(frozen=True)
class Engines:
    """`write` takes the one writing place at once when it begins; `read` never waits for it."""

    url: str
    write: Engine
    read: Engine

    def close(self) -> None:
        """Let go of the file."""
        self.read.dispose()
        self.write.dispose()


def connect(url: str) -> Engines:
    """Engines for `url`, its tables brought up to this program's version.

    Raises `StoreFault` when the place cannot be opened, is not a store, or is newer than this
    program.
    """
    plain = _plain(url)
    try:
        engines = _engines(url)
        with engines.read.connect() as link:
            current = _is_current(link, plain)
        if not current:
            with engines.write.begin() as link:
                _upgrade(link, plain)
    except SQLAlchemyError as why:
        raise StoreFault(
            f"The store {plain} cannot be opened: {_cause(why)}. Check that the place exists, "
            "that you may write there and that it is a store of this program."
        ) from why
    return engines


def _engines(url: str) -> Engines:
    address = make_url(url)
    if address.get_backend_name() != "sqlite":
        raise StoreFault(
            f"The store {_plain(url)} is no SQLite file, and only such a store is kept by this "
            "program. Give an address such as sqlite:///records.sqlite."
        )
    if address.database in (None, "", ":memory:"):
        only = create_engine(
            address, poolclass=StaticPool, connect_args={"check_same_thread": False}
        )
        _prepare(only, "BEGIN IMMEDIATE")
        return Engines(url, only, only)
    Path(str(address.database)).resolve().parent.mkdir(parents=True, exist_ok=True)
    write, read = create_engine(address), create_engine(address)
    # The driver's own BEGIN comes too late: two threads would read the same state before writing.
    _prepare(write, "BEGIN IMMEDIATE")
    _prepare(read, "BEGIN")
    return Engines(url, write, read)


def _prepare(engine: Engine, begin: str) -> None:
    def on_connect(link: Any, _record: object) -> None:
        link.isolation_level = None
        cursor = link.cursor()
        for setting in (
            f"PRAGMA busy_timeout = {BUSY_MS}",
            "PRAGMA journal_mode = WAL",
            "PRAGMA foreign_keys = ON",
            "PRAGMA synchronous = FULL",
            "PRAGMA temp_store = MEMORY",
            f"PRAGMA cache_size = -{CACHE_KIB}",
        ):
            cursor.execute(setting)
        cursor.close()

    def on_begin(link: Connection) -> None:
        link.exec_driver_sql(begin)

    listen: Callable[..., None] = event.listen
    listen(engine, "connect", on_connect)
    listen(engine, "begin", on_begin)


def _is_current(link: Connection, plain: str) -> bool:
    """Whether the store has this program's form; refuses what is newer, or no store at all."""
    scripts = ScriptDirectory.from_config(_settings(link))
    version, head = _version(link), scripts.get_current_head()
    if version is None and inspect(link).get_table_names():
        raise StoreFault(
            f"{plain} is a database, but not a store of this program: it holds other tables. "
            "Give another place; nothing was changed."
        )
    if version is not None and version not in {step.revision for step in scripts.walk_revisions()}:
        raise StoreFault(
            f"The store {plain} was written by a newer version of this program (its form is "
            f"{version}, this program knows forms up to {head}). "
            "Install the newer version; nothing was changed."
        )
    return version == head


def _upgrade(link: Connection, plain: str) -> None:
    # Another process may have brought it up to date while this one waited for its turn.
    if not _is_current(link, plain):
        command.upgrade(_settings(link), "head")


def _version(link: Connection) -> str | None:
    return MigrationContext.configure(link).get_current_revision()


def _settings(link: Connection) -> Config:
    settings = Config()
    settings.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    settings.attributes["connection"] = link
    return settings


def _plain(url: str) -> str:
    """The address without its password."""
    try:
        return make_url(url).render_as_string(hide_password=True)
    except SQLAlchemyError:
        return repr(url)


def _cause(why: SQLAlchemyError) -> str:
    return str(getattr(why, "orig", None) or why).splitlines()[0].rstrip(".")
