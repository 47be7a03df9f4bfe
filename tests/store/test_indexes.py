"""The indexes of a sheet's table: older stores get them, a large intake builds them afterwards."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from alembic import command
from sqlalchemy import create_engine
from sqlalchemy.engine import Connection
from sqlalchemy.exc import IntegrityError

from origin_compare import StoreFault, open_store
from origin_compare.store import rows
from origin_compare.store.connect import _settings
from origin_compare.store.schema import SHEET_TABLES
from origin_compare.store.store import Store
from tests.store import small
from tests.store.plans import HandPlan, plan_of

KEPT = "(intake_id, from_file, from_tab, from_row, raw_text, key_print, content_print, grower_id)"


def indexes(link: Connection, sheet: str) -> list[str]:
    """What the schema says of a table's indexes; one of a constraint has no text."""
    query = "SELECT sql FROM sqlite_master WHERE type = 'index' AND tbl_name = ? ORDER BY name"
    return list(link.exec_driver_sql(query, (sheet,)).scalars())


def both(sheet: str) -> list[str]:
    return [
        f"CREATE INDEX ix_{sheet}_intake_id ON {sheet} (intake_id)",
        f"CREATE UNIQUE INDEX ix_{sheet}_key_print ON {sheet} (key_print)",
    ]


def growers(first: int, number: int) -> HandPlan:
    names = [f"G{n:04d}" for n in range(first, first + number)]
    return plan_of({"growers": pd.DataFrame({"grower_id": names})})


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(f"sqlite:///{tmp_path / 'store.sqlite'}")


@pytest.mark.parametrize("last_taken_back", [False, True])
def test_a_filled_store_of_the_seventh_form_keeps_rows_and_counter(
    last_taken_back: bool, tmp_path: Path
) -> None:
    url = f"sqlite:///{tmp_path / 'store.sqlite'}"
    engine = create_engine(url)
    with engine.begin() as link:
        command.upgrade(_settings(link), "0007")
    with engine.begin() as link:
        link.exec_driver_sql("INSERT INTO intakes VALUES (1, 0, 'AB', 'two growers')")
        for number in range(1, 41):
            values = f"(1, 'g.csv', '', {number + 1}, 'it''s', {number * 7}, 12, 'G{number}')"
            link.exec_driver_sql(f"INSERT INTO growers {KEPT} VALUES {values}")
        if last_taken_back:
            link.exec_driver_sql("DELETE FROM growers WHERE row_id > 2")
        before = [dict(row) for row in link.exec_driver_sql("SELECT * FROM growers").mappings()]
    engine.dispose()
    with open_store(url) as store:
        with store.reading() as link:
            after = link.exec_driver_sql("SELECT * FROM growers").mappings()
            assert [{name: row[name] for name in before[0]} for row in after] == before
            for name in SHEET_TABLES:
                assert indexes(link, name) == both(name)
        store.take_in(growers(0, 1))
        with store.reading() as link:
            numbers = link.exec_driver_sql("SELECT max(row_id) FROM growers").scalar()
        assert numbers == 41, "a number once given is never given again"
        with pytest.raises(StoreFault, match=r"^The store refused: UNIQUE constraint failed: "):
            store_twice(store, 7)


def store_twice(store: Store, print_: int) -> None:
    with store.writing() as link:
        values = f"(1, 'g.csv', '', 2, '', {print_}, 12, 'G99')"
        link.exec_driver_sql(f"INSERT INTO growers {KEPT} VALUES {values}")


def test_an_emptied_table_counts_on(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'store.sqlite'}"
    engine = create_engine(url)
    with engine.begin() as link:
        command.upgrade(_settings(link), "0007")
        link.exec_driver_sql("INSERT INTO intakes VALUES (1, 0, 'AB', 'gone again')")
        values = "(1, 'g.csv', '', 2, '', 7, 12, 'G1')"
        link.exec_driver_sql(f"INSERT INTO growers {KEPT} VALUES {values}")
        link.exec_driver_sql("DELETE FROM growers")
    engine.dispose()
    with open_store(url) as store:
        store.take_in(growers(0, 1))
        with store.reading() as link:
            assert link.exec_driver_sql("SELECT row_id FROM growers").scalars().all() == [2]


@pytest.mark.parametrize("large", [1, 10_000])
def test_a_large_intake_leaves_the_same_store_as_a_small_one(
    large: int, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rows, "LARGE", large)
    store.take_in(plan_of(small.sheets()))
    with store.reading() as link:
        for name in SHEET_TABLES:
            assert indexes(link, name) == both(name)
    for name, frame in small.sheets().items():
        assert len(store.sheet(name)) == len(frame)
    assert store.take_in(plan_of(small.sheets())).intake_id is None
    assert store.take_back(1).rows["gone"].sum() == sum(map(len, small.sheets().values()))


def test_indexes_are_built_afterwards_only_for_many_rows_in_a_smaller_table(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rows, "LARGE", 5)
    seen: list[int] = []
    written = rows._insert_columns

    def spied(link: Connection, *given: object) -> None:
        seen.append(len(indexes(link, "growers")))
        written(link, *given)  # type: ignore[arg-type]

    monkeypatch.setattr(rows, "_insert_columns", spied)
    for first, number in ((0, 4), (10, 5), (20, 8), (30, 9)):
        store.take_in(growers(first, number))
    assert seen == [2, 0, 2, 2], "4 are few, 5 more than 4, 8 fewer than 9, 9 fewer than 17"


def test_a_large_intake_that_fails_leaves_rows_and_indexes_as_they_were(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.take_in(growers(0, 3))
    monkeypatch.setattr(rows, "LARGE", 1)

    def full(*_: object) -> None:
        raise IntegrityError("INSERT", {}, ValueError("disk is full"))

    monkeypatch.setattr(rows, "_insert_columns", full)
    with pytest.raises(StoreFault, match=r"^The store refused: disk is full\. Nothing was changed"):
        store.take_in(growers(10, 30))
    with store.reading() as link:
        assert indexes(link, "growers") == both("growers")
    assert len(store.sheet("growers")) == 3
