from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from origin_compare import StoreFault, UnknownName, open_store
from origin_compare.house import default_rules
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.raw_table import SourceFile
from origin_compare.season.join import build_season
from origin_compare.sheets.faults import Fault
from origin_compare.store.books import originals
from origin_compare.store.store import Store
from tests.store import small
from tests.store.plans import HandPlan, plan_of

FILES = [("lots.csv", b"lot;grower\nL1;G1\n"), ("readings.csv", bytes(range(256)) * 40)]
STEM = ("growers", "lots", "malts")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(f"sqlite:///{tmp_path / 'store.sqlite'}") as opened:
        yield opened


def test_what_goes_in_comes_out_the_same(store: Store) -> None:
    store.take_in(plan_of(small.sheets()))
    stored, direct = store.season(), build_season(small.sheets())
    pd.testing.assert_frame_equal(stored.batches, direct.batches)
    pd.testing.assert_frame_equal(stored.shares, direct.shares)
    pd.testing.assert_frame_equal(stored.unmatched, direct.unmatched)
    for name, frame in direct.sheets.items():
        pd.testing.assert_frame_equal(stored.sheets[name], frame)


def test_moments_keep_their_microseconds(store: Store) -> None:
    sheets = small.sheets()
    fine = pd.Timestamp("2024-11-08 06:30:00.123457", tz="UTC")
    sheets["readings"].loc[0, "read_at"] = fine
    store.take_in(plan_of(sheets))
    assert store.season().sheets["readings"]["read_at"].iloc[0] == fine


def test_an_intake_says_what_it_brought(store: Store) -> None:
    taken = store.take_in(plan_of(small.sheets(), *STEM), "the brewer", FILES)
    assert taken.sentence() == (
        "Intake 1 brought 3 rows of growers, 4 rows of lots and 4 rows of malts."
    )
    assert taken.rests_on() == "2 files, 0 faults."
    listed = store.intakes().iloc[0]
    assert listed[["intake_id", "who", "files", "rows", "faults"]].tolist() == [
        *(1, "the brewer", 2, 11, 0)
    ]
    assert listed["what"] == "3 growers, 4 lots and 4 malts from lots.csv and readings.csv"
    age = pd.Timestamp.now(tz="UTC") - listed["taken_at"]
    assert pd.Timedelta(0) <= age < pd.Timedelta(minutes=1)


def test_the_same_file_twice_changes_nothing(store: Store) -> None:
    first = store.take_in(plan_of(small.sheets()), originals=FILES)
    again = store.take_in(plan_of(small.sheets()), originals=FILES)
    assert again.intake_id is None
    assert again.sentence() == "Nothing was new; 36 rows stood there already."
    assert again.revision == first.revision == store.revision == 1
    assert len(store.intakes()) == 1


def test_a_longer_file_brings_only_what_is_new(store: Store) -> None:
    sheets = small.sheets()
    store.take_in(plan_of({"lots": sheets["lots"].head(3)}))
    taken = store.take_in(plan_of({"lots": sheets["lots"]}))
    assert taken.rows.to_numpy().tolist() == [["lots", 1, 3, 0]]
    assert taken.sentence() == "Intake 2 brought 1 row of lots; 3 rows stood there already."


def test_a_row_contradicting_the_store_is_set_aside(store: Store) -> None:
    sheets = small.sheets()
    store.take_in(plan_of(sheets))
    sheets["lots"].loc[1, "rain_mm"] = 99.0
    taken = store.take_in(plan_of(sheets, "lots", file="new.csv"), originals=[("new.csv", b"x")])
    assert [str(fault) for fault in taken.faults] == [
        "new.csv row 3, lot_id: L2 stands in the store already with other figures "
        "(lots.csv row 3, intake 1). Correct the single cell in the store, or take intake 1 back."
    ]
    assert taken.rows.to_numpy().tolist() == [["lots", 0, 3, 1]]
    assert store.season().sheets["lots"]["rain_mm"].iloc[1] == 120.0
    aside = store.set_aside(2)
    assert list(aside) == ["lots, contradicting"]
    assert aside["lots, contradicting"]["rain_mm"].tolist() == ["99.0"]
    assert len(store.faults(2)) == 1


def test_one_file_contradicting_itself_keeps_the_first_row(store: Store) -> None:
    lots = small.sheets()["lots"]
    twice = pd.concat([lots, lots.head(1), lots.head(2).tail(1).assign(field="Else")])
    taken = store.take_in(plan_of({"lots": twice.reset_index(drop=True)}))
    assert taken.rows.to_numpy().tolist() == [["lots", 4, 1, 1]]
    assert [str(fault) for fault in taken.faults] == [
        "lots.csv row 7, lot_id: L2 stands twice with different figures (also lots.csv row 3). "
        "Keep the right one of the two rows."
    ]


def test_many_contradictions_are_counted_not_dropped(store: Store) -> None:
    growers = pd.DataFrame({"grower_id": [f"G{n}" for n in range(260)], "soil": "clay"})
    store.take_in(plan_of({"growers": growers}))
    taken = store.take_in(plan_of({"growers": growers.assign(soil="sand")}))
    assert len(taken.faults) == 201
    assert str(taken.faults[-1]) == (
        ": 60 more rows contradict what stands in the store. All of them are among the rows set "
        "aside."
    )


@pytest.mark.parametrize("large", [2**22, 16])
def test_originals_come_back_byte_for_byte(
    large: int, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(originals, "LARGE", large)  # past it a file is packed in another way
    store.take_in(plan_of(small.sheets(), "lots"), originals=FILES)
    for name, content in FILES:
        assert store.original(1, name) == content
    assert store.files(1)["bytes"].tolist() == [17, 10240]
    with pytest.raises(UnknownName) as told:
        store.original(1, "malts.csv")
    assert str(told.value) == "Intake 1 brought no file malts.csv. See its list of files."


def test_a_file_changed_since_its_check_is_refused(store: Store) -> None:
    checked = SourceFile("lots.csv", hashlib.sha256(b"lot\nL1\n").hexdigest(), 7)
    plan = replace(plan_of(small.sheets(), "lots"), files=(checked,))
    with pytest.raises(StoreFault) as told:
        store.take_in(plan, originals=FILES)
    assert str(told.value) == (
        "lots.csv is not the file that was checked: it has changed since. Check it again, then "
        "take it in."
    )
    store.take_in(plan)
    assert store.files(1)["bytes"].tolist() == [7]
    with pytest.raises(UnknownName) as also:
        store.original(1, "lots.csv")
    assert str(also.value) == (
        "Only the print of lots.csv was kept with intake 1, not the file itself."
    )


def test_faults_and_rows_set_aside_are_kept_for_download(store: Store) -> None:
    fault = Fault("lots.csv", "lots", 9, "season", "20x4", "is no year", "Write 2024.")
    rows = pd.DataFrame({"lot": ["L9"], "season": ["20x4"], "what to mend": ["season: no year"]})
    plan = HandPlan(plan_of(small.sheets(), "lots").sheets, (fault,), {"lots.csv": rows})
    store.take_in(plan, originals=FILES)
    assert store.faults(1)["value"].tolist() == ["20x4"]
    assert store.season().faults == (fault,)
    pd.testing.assert_frame_equal(store.set_aside(1)["lots.csv"], rows)


def test_a_faulty_file_sent_twice_is_kept_once(store: Store) -> None:
    fault = Fault("lots.csv", "lots", 9, "season", "20x4", "is no year", "Write 2024.")
    store.take_in(HandPlan({}, (fault,)), originals=FILES)
    again = store.take_in(HandPlan({}, (fault,)), originals=FILES)
    assert again.intake_id is None
    assert len(store.intakes()) == 1


def test_taking_back_leaves_the_store_as_it_was(store: Store) -> None:
    sheets = small.sheets()
    store.take_in(plan_of(sheets, *STEM), originals=FILES[:1])
    before = store.season()
    store.take_in(plan_of(sheets, "mashes", "fermentations"), originals=FILES)
    back = store.take_back(2)
    assert back.sentence() == "Intake 2 was taken back with 10 rows."
    after = store.season()
    for name, frame in before.sheets.items():
        pd.testing.assert_frame_equal(after.sheets[name], frame)
    assert after.revision == before.revision + 2, "the content changed twice"
    assert store.original(1, "lots.csv") == FILES[0][1], "shared with the intake gone"
    assert store.take_in(plan_of(sheets, "mashes")).intake_id == 3, "a number is not given twice"


def test_an_intake_others_hang_on_is_refused_by_name(store: Store) -> None:
    sheets = small.sheets()
    store.take_in(plan_of(sheets, "growers", "lots"))
    store.take_in(plan_of(sheets, "malts"))
    with pytest.raises(StoreFault) as told:
        store.take_back(1)
    assert str(told.value) == (
        "Intake 1 cannot be taken back alone: 4 rows of malts (intake 2) hang on its lots L1, L2 "
        "and L3. Take intake 2 back first, or take it back all the same and let those rows stand "
        "without their partner."
    )
    assert store.revision == 2
    back = store.take_back(1, with_dependants=True)
    assert back.sentence() == (
        "Intake 1 was taken back with 7 rows; 4 rows of other intakes lost a partner."
    )
    assert back.orphans["key"].tolist() == ["M1 / L1", "M2 / L1", "M2 / L2", "M3 / L3"]
    assert set(store.season().unmatched["cause"]) == {
        "lot not in the lots sheet",
        "malt not mashed",
    }


def test_rows_another_intake_also_carries_do_not_stop_it(store: Store) -> None:
    malts = small.sheets()["malts"]
    store.take_in(plan_of({"malts": malts.head(2)}))
    store.take_in(plan_of({"malts": malts.tail(2)}))
    store.take_in(plan_of({"mashes": small.sheets()["mashes"].iloc[[2]]}))
    assert store.take_back(1).orphans.empty, "malt M2 also stands in intake 2"


def test_an_intake_that_is_not_there_is_refused(store: Store) -> None:
    with pytest.raises(StoreFault) as told:
        store.take_back(7)
    sentence = "There is no intake 7 in the store. List the intakes to see their numbers."
    assert str(told.value) == sentence
    with pytest.raises(UnknownName) as also:
        store.faults(7)
    assert str(also.value) == sentence


def test_header_maps_are_remembered_once_per_set_of_headers(store: Store) -> None:
    first = ReadingPlan("readings", {"Back temp": "temp_c", "Ask Jo": "ignore"})
    better = replace(first, columns={"Ask Jo": "note", "Back temp": "temp_c"})
    other = ReadingPlan(
        "scores", {"Tropical": "attribute"}, {"tasting_id": "T9"}, "day first", True
    )
    for one in (first, other, better):
        store.remember_plan(one)
    assert store.reading_plans() == (better, other)


def test_house_rules_are_kept_and_move_the_revision(store: Store) -> None:
    assert store.rules() == default_rules()
    store.set_rules(replace(default_rules(), time_zone="Europe/Dublin"), "the distiller")
    assert store.rules().time_zone == "Europe/Dublin"
    assert store.season().rules.time_zone == "Europe/Dublin"
    assert store.revision == 1


def test_harvests_on_record(store: Store) -> None:
    assert store.seasons() == []
    store.take_in(plan_of(small.sheets()))
    assert store.seasons() == [2023, 2024]
    assert store.season(2024).batches["batch_id"].tolist() == ["B1", "B2", "B3"]
    assert store.season([2023, 2024]).batches["batch_id"].tolist() == ["B1", "B2", "B3"]
    assert len(store.season().batches) == 4, "a batch of unknown harvest is in the whole record"


def test_a_sheet_with_where_its_rows_came_from(store: Store) -> None:
    store.take_in(plan_of(small.sheets()))
    lots = store.sheet("lots")
    assert lots["from_file"].unique().tolist() == ["lots.csv"]
    assert lots["from_row"].tolist() == [2, 3, 4, 5]
    with pytest.raises(UnknownName, match=r"^There is no sheet casks\. Sheets: growers, lots, "):
        store.sheet("casks")


def test_a_store_in_memory(tmp_path: Path) -> None:
    with open_store("sqlite://") as store:
        store.take_in(plan_of(small.sheets()))
        assert len(store.season().batches) == 4
