"""The columns of a spirit charge: old stores get them, old rows keep their print."""

from __future__ import annotations

from pathlib import Path

import pytest
from alembic import command
from sqlalchemy import create_engine

from origin_compare import open_store
from origin_compare.house import default_rules
from origin_compare.intake.plan import plan_intake
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.fingerprint import _prints, content_prints
from origin_compare.sheets.frames import shaped
from origin_compare.store.connect import _settings
from tests.store import small

CHARGE = ("low_wines_l", "low_wines_abv_pct", "returned_l", "returned_abv_pct")


@pytest.mark.parametrize("form", ["0001", "0002", "0003", "0004"])
def test_an_older_store_gets_the_columns_and_keeps_its_rows(form: str, tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'store.sqlite'}"
    engine = create_engine(url)
    with engine.begin() as link:
        command.upgrade(_settings(link), form)
    with engine.begin() as link:
        link.exec_driver_sql("INSERT INTO intakes VALUES (1, 0, 'AB', 'one run')")
        link.exec_driver_sql(
            "INSERT INTO spirits (intake_id, from_file, from_tab, from_row, raw_text, key_print, "
            "content_print, batch_id, run_no, new_make_l) "
            "VALUES (1, 's.csv', '', 2, '{}', 11, 12, 'B1', 1, 400.5)"
        )
    engine.dispose()
    with open_store(url) as store:
        kept = store.sheet("spirits")
        assert kept[["batch_id", "run_no", "new_make_l"]].values.tolist() == [["B1", 1, 400.5]]
        assert kept[list(CHARGE)].isna().all(axis=None)


def test_a_run_kept_before_keeps_its_print() -> None:
    frame = shaped("spirits", small.sheets()["spirits"])
    then = tuple(one.name for one in SHEETS["spirits"].columns if one.since == 1)
    assert set(SHEETS["spirits"].names()) - set(then) == set(CHARGE)
    assert content_prints("spirits", frame).tolist() == _prints(frame, then).tolist()


def test_a_still_sheet_fills_them_under_its_own_headers() -> None:
    text = (
        "Batch,Run,Still date,New make,Low wines,Low wines strength,Feints,Feints strength\n"
        "B1,1,2024-11-14,400,2000,24,1000,30\n"
    )
    plan = plan_intake([("stills.csv", text.encode())], default_rules())
    assert [str(fault) for fault in plan.faults if fault.weight == "fault"] == []
    assert plan.sheets["spirits"][list(CHARGE)].values.tolist() == [[2000.0, 24.0, 1000.0, 30.0]]
