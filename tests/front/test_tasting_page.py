"""The tasting page: drawn up, kept, its papers, filled sheets back as one intake."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import Workbook
from streamlit.testing.v1 import AppTest

from origin_compare.errors import RefusedFile
from origin_compare.panel import KeptPlan, filled_rows, plan_tasting, read_back, read_plan
from origin_compare.reports.exports import safe_csv, safe_xlsx
from origin_compare.reports.tasting_sheets import key_html, pours, sheets_html
from origin_compare.store.store import open_store
from origin_compare.store.tastings import enter_scores, kept_tasting, tastings
from tests.front.reading import opened, said, told

ATTRIBUTES = ["floral", "fruity estery"]


@pytest.fixture
def kept() -> KeptPlan:
    plan = plan_tasting(
        ["Q25-01", "Q25-02", "Q25-03"],
        ["A01", "A02"],
        2,
        4,
        control="CONTROL",
        attributes=ATTRIBUTES,
        tasting_id="T90-1",
    )
    return KeptPlan(plan, "2026-07-01", 20.0)


def pressed(app: AppTest, start: str) -> AppTest:
    return next(one for one in app.button if one.label.startswith(start)).click().run()


def keep_one(name: str = "T90-1") -> AppTest:
    app = opened("tasting")
    box = next(one for one in app.text_input if one.label == "Name of the tasting")
    box.set_value(name)
    app = pressed(app, "Draw up")
    return pressed(app, f"Keep tasting {name}")


def filled(store_file: Path, name: str = "T90-1", people: int = 2) -> tuple[pd.DataFrame, bytes]:
    """The sheets of a kept tasting, filled in by the first assessors."""
    kept = read_plan(kept_tasting(open_store(f"sqlite:///{store_file}"), name))
    sheet = kept.plan.sheets()
    mine = sheet["assessor_id"].isin(kept.assessors[:people])
    for number, attribute in enumerate(kept.plan.attributes):
        sheet[attribute] = sheet[attribute].where(~mine, f"{4 + number % 3}.5")
    sheet.loc[0, kept.plan.attributes[0]] = ""
    return sheet, safe_csv(sheet)


@pytest.mark.usefixtures("full")
def test_the_defaults_are_common_practice_and_the_plan_is_there_at_once() -> None:
    app = opened("tasting")
    values = {one.label: one.value for one in app.number_input}
    assert values["Strength in the glass, % vol"] == 20.0
    assert values["Glasses a sitting"] == 6
    assert next(one for one in app.selectbox if one.label == "How").value == "nose only"
    text = said(app)
    assert "120 glasses for 10 assessors:" in text
    assert "Anyone may sit out without giving a reason, and no reason of health is stored." in text
    labels = [one.proto.label for one in app.get("download_button")]
    assert {"Sheets to print", "Key to print", "Sheets as a table (CSV)"} <= set(labels)


@pytest.mark.usefixtures("full")
def test_too_few_batches_are_refused_in_words() -> None:
    app = opened("tasting")
    next(one for one in app.multiselect if one.key == "plan_batches").set_value(["Q25-01"])
    app = pressed(app, "Draw up")
    assert told(app.warning[0]) == "samples: 1 sample given. Serve at least two."
    assert not app.error


def test_a_kept_tasting_shows_its_keys_and_can_be_dropped(full: Path) -> None:
    app = keep_one()
    assert told(app.success[0]).startswith("Tasting T90-1 is kept.")
    text = said(app)
    assert "Tasting T90-1 waits for its 10 assessors; nothing has been entered here yet." in text
    assert "so that nobody can turn from it to a page that names batches" in text
    command = f"origin-compare score T90-1 --store sqlite:///{full}"
    assert [one.value for one in app.code] == [command], "it has to find this very store"
    table = next(one.value for one in app.dataframe if "scoring key" in one.value.columns)
    assert table["scoring key"].str.fullmatch("[a-z2-9]{6}").all()
    assert table["scoring key"].nunique() == 10
    pressed(app, "Drop tasting T90-1")
    assert tastings(open_store(f"sqlite:///{full}")).empty


def test_filled_sheets_come_back_as_one_intake_that_can_be_taken_back(
    full: Path,
) -> None:
    keep_one()
    sheet, content = filled(full)
    app = opened("tasting", tasting="T90-1")
    app.file_uploader[0].upload("filled.csv", content, "text/csv")
    app = app.run()
    glasses = int(sheet["assessor_id"].isin(["A01", "A02"]).sum())
    assert f"{14 * glasses - 1} scores read" in said(app)
    app = pressed(app, "Take in these sheets")
    assert not app.error
    assert told(app.success[0]) == (
        f"Intake 2 brought {14 * glasses} rows of scores. It can be taken back on the Intake page."
    )
    store = open_store(f"sqlite:///{full}")
    scores = store.sheet("scores")
    mine = scores[scores["tasting_id"].eq("T90-1")]
    assert len(mine) == 14 * glasses
    assert set(mine["assessor_id"]) == {"A01", "A02"}
    assert int(mine["score"].isna().sum()) == 1
    assert mine["served_abv_pct"].eq(20.0).all()
    assert store.original(2, "filled.csv") == content
    assert set(store.files(2)["file"]) == {"filled.csv", "scores_T90-1.csv"}
    store.take_back(2)
    assert not store.sheet("scores")["tasting_id"].eq("T90-1").any()


def test_entered_scores_are_taken_in_by_the_leader(full: Path) -> None:
    keep_one()
    store = open_store(f"sqlite:///{full}")
    kept = read_plan(kept_tasting(store, "T90-1"))
    scores: dict[str, float | None] = dict.fromkeys(kept.plan.attributes, 5.5)
    for code in kept.glasses("A03")["code"]:
        enter_scores(store, "T90-1", "A03", int(code), scores)
    enter_scores(store, "T90-1", "A04", int(kept.glasses("A04")["code"].iloc[0]), scores)
    app = opened("tasting", tasting="T90-1")
    assert "In tasting T90-1 1 of 10 assessors have entered every glass." in said(app)
    chosen = next(one for one in app.multiselect if one.key == "take_T90-1")
    assert chosen.value == ["A03"]
    app = pressed(app, "Take in these scores")
    assert told(app.success[0]).startswith("Intake 2 brought 168 rows of scores.")
    mine = store.sheet("scores")
    mine = mine[mine["tasting_id"].eq("T90-1")]
    assert set(mine["assessor_id"]) == {"A03"}
    assert set(store.files(2)["file"]) == {"entered_T90-1.csv", "scores_T90-1.csv"}


def test_filled_rows_leave_out_glasses_without_any_score(kept: KeptPlan) -> None:
    sheet = kept.plan.sheets()
    sheet.loc[sheet["assessor_id"].eq("A01"), "floral"] = "3,5"
    text = sheet.to_csv(index=False, sep=";").encode()
    rows = filled_rows(kept, {"a.csv": text})
    assert set(rows["assessor_id"]) == {"A01"}
    back = read_back(kept, rows)
    floral = back.scores[back.scores["attribute"].eq("floral")]
    assert floral["score"].eq(3.5).all()
    assert set(floral["batch_id"]) == {"Q25-01", "Q25-02", "Q25-03", "CONTROL"}


def test_a_filled_workbook_reads_as_well(kept: KeptPlan) -> None:
    sheet = kept.plan.sheets()
    sheet["floral"] = 3.5
    rows = filled_rows(kept, {"a.xlsx": safe_xlsx(sheet)})
    back = read_back(kept, rows).scores
    assert back.loc[back["attribute"].eq("floral"), "score"].eq(3.5).all()
    assert len(back) == 2 * len(kept.plan.key)


def test_a_formula_or_a_column_given_twice_is_refused(kept: KeptPlan) -> None:
    book = Workbook()
    page = book.active
    assert page is not None
    who, code = kept.plan.key[["assessor_id", "code"]].iloc[0]
    page.append(["assessor_id", "code", "floral", "fruity estery"])
    page.append([who, int(code), "=1+2", 4.0])
    packed = io.BytesIO()
    book.save(packed)
    with pytest.raises(
        RefusedFile,
        match=re.escape(
            "a.xlsx tab Sheet row 2: =1+2 is a formula in cell C2. Paste the column as values, "
            "then load the file again."
        ),
    ):
        filled_rows(kept, {"a.xlsx": packed.getvalue()})
    with pytest.raises(
        RefusedFile,
        match=re.escape("a.csv: two columns floral. Keep one of each, then bring it again."),
    ):
        filled_rows(kept, {"a.csv": b"assessor_id,code,floral,Floral,fruity estery\nA01,1,2,3,4\n"})


def test_a_file_that_is_no_sheet_of_this_tasting_is_refused(kept: KeptPlan) -> None:
    with pytest.raises(
        RefusedFile,
        match=re.escape(
            "other.csv: no column floral and fruity estery. Keep the header of the sheet that was "
            "printed for tasting T90-1."
        ),
    ):
        filled_rows(kept, {"other.csv": b"assessor_id,code\nA01,123\n"})
    blank = safe_csv(kept.plan.sheets())
    with pytest.raises(
        RefusedFile,
        match=re.escape("These sheets hold no score yet. Fill them in, then bring them back."),
    ):
        filled_rows(kept, {"blank.csv": blank})


def test_printed_sheets_name_codes_only_and_the_key_names_the_samples(kept: KeptPlan) -> None:
    sheets = sheets_html(kept)
    key = key_html(kept, pd.Series({"Q25-01": 68.0, "Q25-02": 70.0}))
    for name in ("Q25-01", "Q25-02", "Q25-03", "CONTROL"):
        assert name not in sheets
        assert name in key
    for code in kept.plan.key["code"]:
        assert f">{code}</th>" in sheets
        assert f"<td>{code}</td>" in key
    assert sheets.count("<section>") == 4  # two assessors, two rounds
    assert "For the one who pours. Keep it away from the panel." in key
    assert "Anyone may sit out without giving a reason, and no reason of health" in sheets


def test_what_is_poured_adds_up_to_the_glasses(kept: KeptPlan) -> None:
    table = pours(kept, pd.Series({"Q25-01": 68.0, "Q25-02": 15.0}))
    own = table["sample"].eq("Q25-01")
    # 4 glasses of 30 mL at 20 % vol hold 24 mL of pure alcohol: 35.3 mL of new make at 68 %.
    columns = ["glasses", "new_make_ml", "water_ml"]
    assert table.loc[own, columns].to_numpy().tolist() == [[4, 35.0, 85.0]]
    assert table.loc[~own, "new_make_ml"].isna().all()


def test_text_from_outside_stays_text_on_paper() -> None:
    plan = plan_tasting(
        ["<b>X</b>", "Y"], ["A<1>"], 1, 1, attributes=["<i>oily"], tasting_id="<script>"
    )
    kept = KeptPlan(plan)
    for page in (sheets_html(kept), key_html(kept)):
        assert "<script>" not in page
        assert "<b>X" not in page
        assert "<i>oily" not in page
