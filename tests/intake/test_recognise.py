"""Headers of all spellings to columns, tables to sheets, and nothing guessed where two fit."""

from __future__ import annotations

import pandas as pd
import pytest

from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.files.readers import read_tables
from origin_compare.intake.recognise import guess_sheet
from origin_compare.sheets.catalogue import SHEETS
from tests.intake.helpers import SEASON, balanced, plan, said


def mapped(sheet: str, text: str) -> dict[str, tuple[str, str]]:
    (table,) = read_tables(f"{sheet}.csv", text.encode())
    verdict = guess_sheet(table)
    assert verdict.guess is not None and verdict.guess.sheet.name == sheet, verdict.wrong
    return {one.header: (one.column.name, one.unit) for one in verdict.guess.mapped}


@pytest.mark.parametrize("sheet", list(SHEETS))
def test_every_sheet_is_known_by_its_own_headers(sheet: str) -> None:
    names = SHEETS[sheet].names()
    found = mapped(sheet, ",".join(names) + "\n" + ",".join("1" for _ in names) + "\n")
    assert found == {name: (name, "") for name in names}


@pytest.mark.parametrize(
    ("header", "column", "unit"),
    [
        ("Temp (°C)", "temp_c", ""),
        ("Temp °F", "temp_c", "°f"),
        ("TEMPERATURE [F]", "temp_c", "f"),
        ("temp_c", "temp_c", ""),
        ("Temp C", "temp_c", ""),
        ("Temperature, °C", "temp_c", "°c"),
        ("Gravity °P", "sg", "°p"),
        ("SG", "sg", ""),
        ("specific-gravity", "sg", ""),
        ("pH value", "ph", ""),
        ("pH (20 °C)", "ph", ""),
        ("Cooling %", "cooling_pct", ""),
    ],
)
def test_header_spellings(header: str, column: str, unit: str) -> None:
    found = mapped("readings", f"Batch No.;Date Time;{header}\nB1;2025-03-01 08:00;5\n")
    assert found[header] == (column, unit)


@pytest.mark.parametrize(
    ("header", "cell", "litres"),
    [("Wort (hL)", "250", 25000), ("Wort litres", "25000", 25000), ("Wort (m³)", "25", 25000)],
)
def test_units_in_headers_are_converted(header: str, cell: str, litres: float) -> None:
    planned = plan({"f.csv": f"batch;yeast in;{header}\nB1;2025-03-01 08:00;{cell}\n"})
    assert planned.sheets["fermentations"]["wort_l"].tolist() == [litres]


@pytest.mark.parametrize(
    ("unit", "asks"),
    [
        ("gal", "What does gal mean in wort (gal)"),
        ("bulk gallons", "What does bulkgallons mean in wort (bulk gallons)"),
        ("kg", "wort (kg) is taken for wort pitched, L, but kg is no unit of it. What is it"),
        ("vat", "What is vat in wort (vat): a unit, or a remark"),
    ],
)
def test_brackets_that_are_not_clear_are_asked_about(unit: str, asks: str) -> None:
    text = f"batch,yeast in,og,wort ({unit})\nB1,2025-03-01 08:00,1.06,5000\n"
    planned = plan({"f.csv": text})
    assert planned.sheets["fermentations"].empty
    (told,) = said(planned)
    assert f"{asks[0].lower()}{asks[1:]}" in told


@pytest.mark.parametrize(
    ("header", "column", "cell", "value"),
    [
        ("Area (acre)", "area_ha", "15", 6.0703),
        ("Yield (t/acre)", "yield_t_ha", "2.6", 6.4247),
        ("Delivered (kgs)", "delivered_t", "9500", 9.5),
        ("Rainfall (inches)", "rain_mm", "4", 101.6),
        ("Rain (in)", "rain_mm", "4", 101.6),
        ("Moisture (NIR)", "grain_moisture_pct", "14.5", 14.5),
    ],
)
def test_units_in_brackets_are_converted(header: str, column: str, cell: str, value: float) -> None:
    planned = plan({"l.csv": f"lot,grower,harvest,{header}\nU1,G1,2025,{cell}\n"})
    assert planned.sheets["lots"][column].tolist() == [pytest.approx(value, rel=1e-4)]


def test_unknown_headers_are_named() -> None:
    planned = plan({"f.csv": "batch,yeast in,og,Mood\nB1,2025-03-01 08:00,1.06,fine\n"})
    assert said(planned, "warning") == [
        "f.csv row 1, Mood: is no column of fermentations and is left out. Map it once if it is "
        "wanted."
    ]


def test_a_needed_column_that_is_missing_is_named() -> None:
    planned = plan({"lots.csv": "lot,season,variety\nL1,2025,Ostrel\n"})
    assert said(planned) == [
        "lots.csv: looks like lots, but has no grower_id. Add the column, or map the header that "
        "stands for it once."
    ]
    assert planned.offers[0].candidates[0] == ("lots", ("grower_id",)) and balanced(planned)


def test_two_headers_for_one_column_are_not_chosen_between() -> None:
    planned = plan({"readings.csv": "batch,time,temp,temperature\nB1,2025-03-01 08:00,20,21\n"})
    assert said(planned) == [
        "readings.csv: looks like readings, but temp and temperature both stand for the same "
        "column. Rename one of them, or map it to be left out."
    ]


def test_a_table_two_sheets_fit_is_not_guessed() -> None:
    text = "batch,note,sg\nB1,x,1.05\n"
    both = "batch_id,lot_id,malt_id,grist,grain\nB1,L1,M1,100,2\n"
    assert said(plan({"any.csv": text}))[0].startswith("any.csv: looks like ")
    planned = plan({"any.csv": both})
    assert said(planned) == [
        "any.csv: fits malts and mashes equally well. Say once which sheet it is, or give the "
        "file its sheet's name."
    ]
    assert [name for name, _ in planned.offers[0].candidates] == ["malts", "mashes"]
    assert plan({"mashes 2025.csv": both}).table()["sheet"].tolist() == ["mashes"]


def test_a_mapping_made_once_is_remembered() -> None:
    text = "Sud;Zeit;Extrakt (°P);Laune\nB1;01.03.2025 08:00;15,9;gut\n"
    planned = plan({"karte.csv": text})
    (offer,) = planned.offers
    chosen = offer.map_as("readings", {"Sud": "batch_id", "Zeit": "read_at", "Extrakt (°P)": "sg"})
    again = plan({"karte 2.csv": text}, plans=[chosen])
    assert said(again) == []
    row = again.sheets["readings"].iloc[0]
    assert (row["batch_id"], round(row["sg"], 4)) == ("B1", 1.065)
    assert row["read_at"] == pd.Timestamp("2025-03-01 08:00", tz="UTC")


def test_a_map_may_settle_the_order_of_dates() -> None:
    text = "lot,grower,season,sown\nL1,G1,2025,03/04/2025\n"
    columns = {"lot": "lot_id", "grower": "grower_id", "season": "season", "sown": "sown_on"}
    month_first = ReadingPlan("lots", columns, date_order="month first")
    (day,) = plan({"lots.csv": text}, plans=[month_first]).sheets["lots"]["sown_on"]
    assert day == pd.Timestamp("2025-03-04")


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ({"sheet": "casks", "columns": {}}, "'casks' is no sheet. Choose one of growers, lots"),
        ({"sheet": "lots", "columns": {"a": "ph"}}, "'ph' is no column of lots."),
        (
            {"sheet": "lots", "columns": {}, "date_order": "year"},
            "'year' is no date order: day first or month first.",
        ),
    ],
)
def test_a_map_to_nowhere_is_refused(kind: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError) as refused:
        ReadingPlan(**kind)  # type: ignore[arg-type]
    assert str(refused.value).startswith(said)


@pytest.mark.parametrize(
    "text",
    [
        "batch,date,time,sg\nB1,01/03/2025,16:00,1.05\nB1,14/03/2025,24:00,1.05\n",
        "batch,read date,read time,sg\nB1,01.03.2025,16.00,1.05\nB1,14.03.2025,24:00,1.05\n",
        "batch,read,clock,sg\nB1,2025-03-01,16:00,1.05\nB1,2025-03-14,24:00,1.05\n",
        "batch,date,time,sg\nB1,45717,0.666666666666667,1.05\nB1,45730,1,1.05\n",
        "batch;date;time;sg\nB1;01.03.2025;0,666666667;1,05\nB1;14.03.2025;24:00;1,05\n",
        "batch,date,time,sg\nB1,01/03/2025,1600,1.05\nB1,14/03/2025,2400,1.05\n",
        "batch,date,time,sg\nB1,01/03/2025,4 PM,1.05\nB1,14/03/2025,24h,1.05\n",
        "batch,date,hour,sg\nB1,01/03/2025,16,1.05\nB1,14/03/2025,24,1.05\n",
    ],
)
def test_day_and_time_in_two_columns_are_joined(text: str) -> None:
    planned = plan({"readings.csv": text})
    assert said(planned) == []
    assert planned.sheets["readings"]["read_at"].tolist() == [
        pd.Timestamp("2025-03-01 16:00", tz="UTC"),
        pd.Timestamp("2025-03-15", tz="UTC"),
    ]


def test_a_column_left_out_can_be_said_once_and_the_rest_stays_as_understood() -> None:
    text = "batch,date,time,sg,Thermo\nB1,01/03/2025,16:00,1.05,24\nB1,14/03/2025,8h,1.05,25\n"
    planned = plan({"log.csv": text})
    assert planned.sentence() == (
        "Takes in 2 readings. Thermo of log.csv is left out: no such column is known."
    )
    (rest,) = planned.left_out
    remembered = rest.map_as("readings", {"Thermo": "temp_c"})
    again = plan({"log.csv": text}, plans=[remembered])
    assert again.is_clean and again.left_out == ()
    assert again.sheets["readings"]["temp_c"].tolist() == [24, 25]
    before = planned.sheets["readings"].drop(columns="temp_c")
    pd.testing.assert_frame_equal(again.sheets["readings"].drop(columns="temp_c"), before)


def test_attributes_of_a_wide_sheet_stay_when_another_column_is_said() -> None:
    text = "Session,Taster,Sample,Rep,Fruity,Ort\nT1,A1,B1,1,4.5,control\nT1,A2,B1,1,5,control\n"
    planned = plan({**SEASON, "panel.csv": text})
    (rest,) = planned.left_out
    plans = [rest.map_as("scores", {"Ort": "sample_kind"})]
    scores = plan({**SEASON, "panel.csv": text}, plans=plans).sheets["scores"]
    assert scores["attribute"].tolist() == ["fruity", "fruity"]
    assert scores["sample_kind"].tolist() == ["control", "control"]


def test_minutes_are_no_parts_of_a_day_and_hours_since_pitching_no_time_of_day() -> None:
    text = "batch,date,time,sg\nB1,01/03/2025,0.30,1.05\nB1,14/03/2025,0.50,1.05\n"
    assert plan({"readings.csv": text}).sheets["readings"]["read_at"].dt.hour.tolist() == [0, 0]
    text = "batch,date,hours,sg\nB1,01/03/2025,16,1.05\nB1,02/03/2025,24,1.05\n"
    since = plan({"readings.csv": text}).sheets["readings"]
    assert since["hours"].tolist() == [16, 24] and since["read_at"].isna().all()


def test_a_wide_tasting_sheet_becomes_long() -> None:
    text = (
        "Session,Taster,Sample,Rep,Fruity,Green_Grassy,Empty,Remark\n"
        "T1,A1,B1,1,4.5,3,,fine\nT1,A2,B1,1,,2,,\n"
    )
    planned = plan({**SEASON, "panel.csv": text})
    scores = planned.sheets["scores"]
    assert scores["assessor_id"].tolist() == ["A1", "A1", "A2", "A2"]
    assert scores["attribute"].tolist() == ["fruity", "green grassy"] * 2
    assert scores["score"].fillna(-1).tolist() == [4.5, 3.0, -1.0, 2.0]
    assert [text.split(":")[0] for text in said(planned, "warning")] == [
        "panel.csv row 1, Empty",
        "panel.csv row 1, Remark",
    ]
    assert '"Green_Grassy": "3"' in planned.raw_texts(scores).iloc[0]


def test_an_attribute_is_the_same_in_a_header_and_in_a_cell() -> None:
    wide = "Session,Taster,Sample,Green_Grassy\nT1,A1,B1,3\n"
    long = "Session,Taster,Sample,Attribute,Score\nT2,A1,B1,Green grassy,4\nT2,A1,B2,,4\n"
    planned = plan({**SEASON, "wide.csv": wide, "long.csv": long})
    assert planned.sheets["scores"]["attribute"].tolist() == ["green grassy"] * 2
    assert said(planned) == [
        "long.csv row 3, attribute: is empty. Every row of scores needs its attribute."
    ]


def test_the_scale_of_a_sheet_bounds_its_scores() -> None:
    text = "tasting,assessor,batch,scale,attribute,score\nT1,A1,B1,0-10,fruity,45\n"
    assert said(plan({**SEASON, "scores.csv": text})) == [
        "scores.csv row 2, score: 45 is outside 0 to 10. A decimal point lost? Write 4.5."
    ]


def test_what_cannot_come_before_is_a_fault() -> None:
    text = "lot,grower,season,sown,harvested\nL1,G1,2025,2025-08-20,2025-03-20\n"
    assert said(plan({"lots.csv": text})) == [
        "lots.csv row 2, harvested_on: 2025-03-20 is before sown_on (2025-08-20). One of the two "
        "is wrong: check both."
    ]
    runs = "batch,run,new make abv,wash abv,cut on,cut off\nB1,1,68,8,60,74\n"
    assert said(plan({"spirits.csv": runs})) == [
        "spirits.csv row 2, cut_off_abv_pct: 74 is above cut_on_abv_pct (60). One of the two is "
        "wrong: check both."
    ]


PANEL = (
    "Tasting,Assessor,Sample,Booth,Cereal (0-10),Fruity (0-10),Oily (0-10),Score sum\n"
    "T1,A1,B1,3,4,5,1,10\nT1,A2,B1,4,3,6,2,11\nT1,A3,B1,5,2,7,1,10\n"
)


def test_totals_and_booths_are_no_attributes_and_the_rest_are_shown() -> None:
    verdict = guess_sheet(read_tables("panel.csv", PANEL.encode())[0])
    assert verdict.guess is not None
    assert [name for _, name in verdict.guess.attributes] == ["cereal", "fruity", "oily"]
    assert verdict.guess.constants["scale"] == "0-10"
    assert set(verdict.guess.unknown) == {"Booth", "Score sum"}
    (asked,) = verdict.guess.open_points
    assert not asked.holds
    assert str(asked) == (
        "Are cereal, fruity and oily the attributes that were scored? Say yes, or their names as "
        "in `CER = cereal, FRU = fruity`. They are the columns of figures that nothing else "
        "explains. Not taken for attributes: Booth and Score sum. Likeliest: yes."
    )


def test_a_thin_match_is_asked_about_with_its_evidence() -> None:
    text = (
        "Batch,Date,Moisture,Extract,Friability,FAN,SNR,DP\n"
        "4471,2025-03-01,4.2,81.2,88,180,40,70\n4472,2025-03-02,4.3,81.0,87,182,41,71\n"
    )
    planned = plan({"analyses.csv": text})
    assert planned.sheets["spirits"].empty
    (told,) = said(planned)
    assert "is this table spirits" in told
    assert (
        "2 of its 8 headers are columns of spirits (Batch and Date). 6 are columns of malts" in told
    )
    named = ReadingPlan("spirits", {"Batch": "batch_id", "Date": "distilled_on"})
    answered = plan({"analyses.csv": text}, plans=[named])
    assert len(answered.sheets["spirits"]) == 2


def test_a_second_malt_left_out_is_not_lost_unsaid() -> None:
    text = "Batch,Malt 1,kg 1,Malt 2,kg 2\nB1,M1,5000,M2,4000\n"
    columns = {"Batch": "batch_id", "Malt 1": "malt_id", "kg 1": "grist_kg"}
    ignored = {"Malt 2": "ignore", "kg 2": "ignore"}
    planned = plan({"mashes.csv": text}, plans=[ReadingPlan("mashes", {**columns, **ignored})])
    assert planned.sheets["mashes"].empty
    assert "malt 2 and kg 2 are left out" in said(planned)[0]
    agreed = ReadingPlan(
        "mashes", {**columns, **ignored}, answers={"repeated columns": "leave them out"}
    )
    assert len(plan({"mashes.csv": text}, plans=[agreed]).sheets["mashes"]) == 1


def test_a_strength_beside_a_volume_is_the_strength_of_it() -> None:
    text = "Batch,Low wines (L),Low wines % vol,New make L,New make % vol\nB1,2100,24,650,69\n"
    spirits = plan({"spirits.csv": text}).sheets["spirits"].iloc[0]
    assert (spirits["low_wines_l"], spirits["low_wines_abv_pct"]) == (2100, 24)
    assert (spirits["new_make_l"], spirits["new_make_abv_pct"]) == (650, 69)


def test_a_gravity_beside_a_volume_is_the_gravity_of_it() -> None:
    text = "Batch,Malt,Wort hL,Wort °P,Strike °F\nB1,M1,79.2,14.9,150.1\n"
    mash = plan({"mashes.csv": text}).sheets["mashes"].iloc[0]
    assert (mash["wort_l"], round(mash["wort_sg"], 4)) == (7920, 1.0607)
    assert mash["strike_temp_c"] == pytest.approx(65.611, abs=1e-3)


def test_what_headers_say_outweighs_the_name_of_the_file() -> None:
    text = "Batch,Gravity,Temp,pH\nB1,1.050,21,5.1\n"
    verdict = guess_sheet(read_tables("Fermentation log.csv", text.encode())[0])
    assert verdict.guess is None
    assert verdict.wrong == "looks like readings, but has no read_at or hours"


def test_two_columns_that_read_alike_are_told_by_their_places() -> None:
    text = "Batch,Compound,g/hL aa,g/hL aa\nB1,ethyl acetate,24,25\n"
    verdict = guess_sheet(read_tables("lab.csv", text.encode())[0])
    assert verdict.wrong == (
        "looks like congeners, but columns 3 and 4, headed g/hL aa, both stand for the same column"
    )


def test_a_row_of_units_may_have_a_dash_where_there_is_none() -> None:
    text = "Batch,Hours,Gravity,Temperature,pH\n,,°,°F,-\nB1,8,58.9,72.9,5.25\n"
    readings = plan({"r.csv": text}).sheets["readings"]
    assert readings["sg"].tolist() == [pytest.approx(1.0589)]
    assert readings["temp_c"].tolist() == [pytest.approx(22.7222, abs=1e-4)]


def test_one_sentence_says_that_a_column_is_to_be_filled_down() -> None:
    rows = "".join(f",2025-03-01 {hour:02d}:00,1.05\n" for hour in range(9, 20))
    left_alone = ReadingPlan("", answers={"fill down": "no"}, kind=("batchid", "readat", "sg"))
    text = f"batch_id,read_at,sg\nB1,2025-03-01 08:00,1.06\n{rows}"
    planned = plan({"r.csv": text}, plans=[left_alone])
    assert said(planned) == [
        "r.csv row 3, batch_id: is empty here and in 10 more rows down to row 13. Every row of "
        "readings needs its batch number. Where an empty cell means the same as above, fill the "
        "column down."
    ]
    assert len(planned.set_aside["r.csv"]) == 11
