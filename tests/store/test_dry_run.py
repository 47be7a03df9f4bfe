"""The dry run holds: what the plan says would change is what changes, and nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from origin_compare import open_store
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.store import rows
from origin_compare.store.store import Store

FIRST = {
    "growers.csv": "grower_id,farm_name\nG1,High Rigg\nG2,Low Rigg\n",
    "lots.csv": "lot,grower,harvest,nitrogen %,barley\nL1,G1,2024,1.46,Ardent\nL2,G2,2024,1.50,\n",
}
SECOND = {
    "growers.csv": "grower_id,farm_name\nG1,High Rigg\nG3,Mill\n",
    "lots.csv": (
        "lot,grower,harvest,nitrogen %,barley\n"
        "L1,G1,2024,1.64,Brook\nL2,G2,2024,1.50,\nL3,G3,2024,1.55,Ardent\n"
    ),
}


def files(texts: dict[str, str]) -> list[tuple[str, bytes]]:
    return [(name, text.encode()) for name, text in texts.items()]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(f"sqlite:///{tmp_path / 'store.sqlite'}") as opened:
        opened.take_in(opened.plan(files(FIRST)), "AB", files(FIRST))
        yield opened


def test_new_there_and_contradicting_are_told_per_sheet_with_old_and_new(store: Store) -> None:
    plan = store.plan(files(SECOND))
    assert plan.changes().values.tolist() == [["growers", 1, 1, 0], ["lots", 1, 1, 1]]
    assert plan.contradictions.values.tolist() == [
        ["lots", "L1", "variety", "Ardent", "Brook", "lots.csv", 2],
        ["lots", "L1", "grain_n_pct_dm", "1.46", "1.64", "lots.csv", 2],
    ]


def test_rows_that_came_in_since_the_plan_are_met_when_it_is_taken(store: Store) -> None:
    header = "grower_id,farm_name,soil\n"
    mine = files({"mine.csv": f"{header}G3,Mill,clay\nG4,Weir,clay\nG5,Ford,sand\n"})
    theirs = files({"theirs.csv": f"{header}G4,Weir,clay\nG5,Ford,loam\n"})
    plan = store.plan(mine)
    assert plan.changes().values.tolist() == [["growers", 3, 0, 0]]
    store.take_in(store.plan(theirs), "CD", theirs)
    taken = store.take_in(plan, "AB", mine)
    assert taken.rows.values.tolist() == [["growers", 1, 1, 1]]
    assert [str(fault) for fault in taken.faults if fault.is_to_mend] == [
        "mine.csv row 4, grower_id: G5 stands in the store already with other figures "
        "(theirs.csv row 3, intake 2). Correct the single cell in the store, or take intake 2 back."
    ]
    assert list(store.sheet("growers")["grower_id"]) == ["G1", "G2", "G4", "G5", "G3"]


def test_after_taking_in_nothing_else_differs(store: Store) -> None:
    before = {name: store.sheet(name) for name in SHEETS}
    rules, maps = store.rules(), store.reading_plans()
    plan = store.plan(files(SECOND))
    said = plan.changes().set_index("sheet")
    assert {name: len(store.sheet(name)) for name in SHEETS} == {
        name: len(frame) for name, frame in before.items()
    }, "planning stores nothing"
    taken = store.take_in(plan, "CD", files(SECOND))
    for name, frame in before.items():
        after = store.sheet(name)
        new = int(said["new"].get(name, 0))
        pd.testing.assert_frame_equal(after.iloc[: len(frame)], frame)
        assert len(after) == len(frame) + new
        columns = list(SHEETS[name].names())
        pd.testing.assert_frame_equal(
            after.iloc[len(frame) :][columns].reset_index(drop=True),
            plan.sheets[name][columns],
            check_dtype=False,
        )
    counted = taken.rows.set_index("sheet")
    assert counted["new"].to_dict() == {"growers": 1, "lots": 1}
    assert counted["already_there"].to_dict() == {"growers": 1, "lots": 1}
    assert store.rules() == rules and store.reading_plans() == maps
    assert store.corrections().empty


def test_how_far_it_is_is_told_in_order(store: Store) -> None:
    told: list[tuple[float, str]] = []
    plan = store.plan(files(SECOND), lambda share, what: told.append((share, what)))
    store.take_in(plan, "CD", files(SECOND), lambda share, what: told.append((1 + share, what)))
    shares = [share for share, _ in told]
    assert shares == sorted(shares)
    assert [what for _, what in told] == [
        "opening the files",
        "looking where the tables lie",
        "reading every cell of growers.csv",
        "reading every cell of lots.csv",
        "holding rows against one another and the store",
        "writing 1 row of growers",
        "writing 1 row of lots",
    ]


def test_a_small_intake_reads_only_the_rows_it_names(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    lots = "lot,grower,harvest,barley\n" + "".join(f"N{n},G1,2024,Brook\n" for n in range(400))
    store.take_in(store.plan(files({"lots.csv": lots})))
    read: list[int] = []
    read_on = rows._read_on

    def counted(columns: list[list[object]], cursor: object) -> None:
        read_on(columns, cursor)
        read.append(len(columns[0]))

    monkeypatch.setattr(rows, "_read_on", counted)
    few = "lot,grower,harvest,barley\nN7,G1,2024,Brook\nN8,G1,2024,brook\nN999,G1,2024,Brook\n"
    plan = store.plan(files({"lots.csv": few}))
    assert plan.changes().values.tolist() == [["lots", 1, 1, 1]]
    assert plan.contradictions["in_store"].tolist() == ["Brook"]
    assert sum(read) == 3, "the prints of N7 and N8, and the row of N8"
    assert [fault.weight for fault in plan.faults] == ["fault"]


def test_a_name_written_as_no_stored_row_writes_it_is_told(store: Store) -> None:
    plan = store.plan(files({"lots.csv": "lot,grower,harvest,barley\nL9,G1,2024,ardent\n"}))
    assert [str(fault) for fault in plan.faults] == [
        "lots.csv row 2, variety: ardent is written Ardent in 1 other row. Write it the same way "
        "if it is the same; now it counts as another."
    ]
