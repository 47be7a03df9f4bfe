"""Each layout on a grid of its kind: what comes out, where its cells stand, what was said."""

from __future__ import annotations

import pytest

from origin_compare.intake.asking.reading_plan import ReadingPlan, answer, read_plans
from origin_compare.intake.blocks.block import Block
from tests.intake.layouts.made import grid, lines, only, read


def said(block: Block) -> list[str]:
    return [step.name for step in block.steps]


def test_hours_across_become_rows_and_keep_their_places() -> None:
    rows = [["", "Gravity", "", "Temperature (°C)", ""], ["Batch", "0h", "8h", "0h", "8h"]]
    rows += [["B1", "1.060", "1.050", "20", "23"], ["B2", "1.061", "", "21", ""]]
    block = only(grid(rows))
    assert lines(block) == [
        {"Batch": "B1", "Hours": "0", "Gravity": "1.060", "Temperature (°C)": "20"},
        {"Batch": "B1", "Hours": "8", "Gravity": "1.050", "Temperature (°C)": "23"},
        {"Batch": "B2", "Hours": "0", "Gravity": "1.061", "Temperature (°C)": "21"},
    ]
    at = block.headers.index("Gravity")
    assert [tuple(place) for place in block.places[:, at]] == [(3, 2), (3, 3), (4, 2)]
    assert said(block) == ["hours across"]


def test_hours_across_are_asked_about_where_nothing_says_what_was_read() -> None:
    rows = [["Batch", "0h", "8h"], ["B1", "5.2", "4.9"], ["B2", "5.3", "5.0"]]
    (question,) = only(grid(rows)).questions
    assert (question.key, question.default, question.holds) == ("cells are", "", True)
    again = only(grid(rows), plans=answer({question: "pH"}))
    assert again.headers == ("Batch", "Hours", "pH") and not again.questions


def test_blank_below_is_filled_down_where_each_value_stands_once() -> None:
    rows = [["Batch", "Read at", "SG"]]
    rows += [["B1", "2025-03-01 08:00", "1.06"], ["", "2025-03-01 16:00", "1.05"]]
    rows += [["", "2025-03-02 00:00", "1.04"], ["B2", "2025-03-02 08:00", "1.06"]]
    block = only(grid(rows))
    assert [line["Batch"] for line in lines(block)] == ["B1", "B1", "B1", "B2"]
    assert tuple(block.places[2, 0]) == (2, 1)
    assert block.steps[0].says == "filled down Batch (2 cells)"


def test_one_forgotten_cell_is_not_filled() -> None:
    rows = [["Batch", "Read at", "SG"], ["B1", "2025-03-01 08:00", "1.06"]]
    rows += [["B1", "2025-03-01 16:00", "1.05"], ["", "2025-03-02 00:00", "1.04"]]
    assert read(grid(rows)).plain == (True,)


def test_a_layout_is_switched_off_by_an_answer() -> None:
    rows = [["Batch", "Read at", "SG"], ["B1", "2025-03-01 08:00", "1.06"]]
    rows += [["", "2025-03-01 16:00", "1.05"], ["", "2025-03-02 00:00", "1.04"]]
    off = ReadingPlan("", answers={"fill down": "no"}, kind=("batch", "readat", "sg"))
    assert read(grid(rows), plans=[off]).plain == (True,)


def test_totals_and_notes_are_left_and_listed() -> None:
    rows = [["Batch", "Date", "New make litres", "New make ABV"]]
    rows += [["B1", "2025-03-01", "900", "68"], ["Subtotal March", "", "900", ""]]
    rows += [["B2", "2025-04-01", "910", "69"], ["Total", "", "1810", ""]]
    rows += [["", "", "", ""], ["Figures checked by the office", "", "", ""]]
    found = read(grid(rows))
    assert [line["Batch"] for line in lines(found.blocks[0][0])] == ["B1", "B2"]
    assert [(left.row, left.why) for _, left in found.left] == [
        (7, "is a line of text below the table"),
        (3, "sums up other rows"),
        (5, "sums up other rows"),
    ]


def test_a_card_gives_its_head_and_its_table() -> None:
    rows = [["FERMENTATION RECORD"], ["Batch No", "F1", "", "Washback", "WB1"]]
    rows += [["Pitched", "2025-03-01 08:00", "", "OG", "1.060"], []]
    rows += [["Date", "Time", "Gravity", "pH"], ["2025-03-01", "16:00", "1.050", "5.0"]]
    head, table = read(grid(rows, "F1")).blocks[0]
    assert lines(head) == [
        {"Batch No": "F1", "Washback": "WB1", "Pitched": "2025-03-01 08:00", "OG": "1.060"}
    ]
    assert lines(table)[0]["Batch No"] == "F1"
    assert tuple(table.places[0, table.headers.index("Batch No")]) == (2, 2)
    assert "Washback" not in table.headers


def test_headings_between_rows_name_what_stands_below() -> None:
    rows = [["Read at", "SG", "pH", "Temp"], ["Batch F1 - WB1"]]
    rows += [["2025-03-01 08:00", "1.06", "5.2", "20"], ["Batch F2"]]
    rows += [["2025-03-02 08:00", "1.06", "5.2", "20"]]
    block = only(grid(rows))
    assert [line["Batch"] for line in lines(block)] == ["F1", "F2"]
    assert block.questions == ()


def test_tables_side_by_side_are_told_apart_by_their_titles() -> None:
    rows = [["Batch S1", "", "", "Batch S2", ""], ["Read at", "SG", "", "Read at", "SG"]]
    rows += [["2025-03-01 08:00", "1.06", "", "2025-03-01 09:00", "1.07"]]
    first, second = read(grid(rows)).blocks[0]
    assert lines(first) == [{"Batch": "S1", "Read at": "2025-03-01 08:00", "SG": "1.06"}]
    assert lines(second) == [{"Batch": "S2", "Read at": "2025-03-01 09:00", "SG": "1.07"}]
    assert tuple(second.places[0, 2]) == (3, 5)


def test_tables_below_one_another_are_told_apart_by_their_headers() -> None:
    rows = [["Batch", "Read at", "SG"], ["B1", "2025-03-01 08:00", "1.06"], []]
    rows += [["Yeast lot", "Strain", "Format"], ["Y1", "MX", "pressed"]]
    readings, yeasts = read(grid(rows)).blocks[0]
    assert lines(readings)[0]["SG"] == "1.06" and lines(yeasts)[0]["Strain"] == "MX"


def test_two_malts_of_a_mash_become_two_rows() -> None:
    rows = [["Batch", "Malt 1", "kg 1", "Malt 2", "kg 2"], ["B1", "M1", "900", "M2", "100"]]
    rows += [["B2", "M1", "950", "", ""]]
    assert lines(only(grid(rows))) == [
        {"Batch": "B1", "Malt": "M1", "Grist (kg)": "900"},
        {"Batch": "B1", "Malt": "M2", "Grist (kg)": "100"},
        {"Batch": "B2", "Malt": "M1", "Grist (kg)": "950"},
    ]


def test_a_tasting_form_with_assessors_across() -> None:
    rows = [["Sample", "B1", "", "Date", "2025-03-04"], []]
    rows += [["Attribute", "AK", "RB", "Mean"], ["Cereal", "6", "1", "3.5"]]
    block = only(grid(rows, "B1"))
    pairs = [(line["Assessor"], line["Score"]) for line in lines(block)]
    assert pairs == [("AK", "6"), ("RB", "1")]
    (question,) = block.questions
    assert (question.key, question.default) == ("tasting_id from", "the day")


def test_tags_become_columns_where_letters_and_figures_agree() -> None:
    rows = [["Tag", "Timestamp", "Value"]]
    for hour, sg, temp in ((8, "1.0571", "20.3"), (9, "1.0568", "20.4"), (10, "1.0560", "20.6")):
        rows += [["WB1.DT", f"2025-09-01 {hour:02d}:00", sg]]
        rows += [["WB1.TT", f"2025-09-01 {hour:02d}:00", temp]]
        rows += [["WB1.TIC.SP", f"2025-09-01 {hour:02d}:00", "32"]]
    block = read(grid([["Batch", "L1"], [], *rows])).blocks[0][-1]
    first = lines(block)[0]
    assert (first["Batch"], first["Timestamp"]) == ("L1", "2025-09-01 08:00")
    assert (first["Gravity"], first["Temperature"]) == ("1.0571", "20.3")


def test_blind_codes_are_looked_up_in_their_key() -> None:
    head = ["Session", "Taster", "Code", "Cereal", "Fruity", "Floral"]
    rows = [["P7", "AK", code, "1", "2", "3"] for code in ("417", "862")]
    key = grid([["Code", "Batch"], ["417", "B1"], ["862", "B2"]], "Key")
    block = only(grid([head, *rows], "Scores"), key)
    assert [line["Batch"] for line in lines(block)] == ["B1", "B2"]
    assert tuple(block.places[0, 0]) == (2, 3)


def test_loads_of_one_lot_are_added_up_and_asked_about() -> None:
    rows = [["Lot", "Grower", "Harvest", "Delivered (t)"]]
    rows += [["L1", "G1", "2025", "12.5"], ["L1", "G1", "2025", "8.25"], ["L2", "G2", "2025", "9"]]
    block = only(grid(rows))
    assert [line["Delivered (t)"] for line in lines(block)] == ["20.75", "9"]
    assert [one.key for one in block.questions] == ["rows to sum"]


def test_a_table_on_its_side_is_turned() -> None:
    rows = [["Fields 2025"], [], ["Lot", "K5", "K6"], ["Grower", "G1", "G2"]]
    rows += [["Harvest", "2025", "2025"], ["Variety", "Marrit", "Ostrel"]]
    second = lines(only(grid(rows)))[1]
    assert second == {"Lot": "K6", "Grower": "G2", "Harvest": "2025", "Variety": "Ostrel"}


@pytest.mark.parametrize("tab", ["Gravity", "Temperature"])
def test_batches_across_say_what_was_read_on_their_tab(tab: str) -> None:
    rows = [["Hours", "B1", "B2"], ["0", "1.06", "1.07"], ["8", "1.05", "1.06"]]
    block = only(grid(rows, tab), batches=["B1", "B2"])
    assert block.headers == ("Hours", "Batch", tab) and not block.questions


def test_units_of_a_title_join_their_headers() -> None:
    rows = [["Washback log - volumes in hL, yeast in lbs"]]
    rows += [["Batch", "Yeast in", "Volume", "Yeast"], ["B1", "2025-03-01 08:00", "80", "44"]]
    assert only(grid(rows)).headers == ("Batch", "Yeast in", "Volume (hL)", "Yeast (lbs)")


def test_plans_go_to_toml_and_back() -> None:
    columns = {'Run "A"': "batch_id", "Ask\nJo": "ignore"}
    plan = ReadingPlan(
        "readings",
        columns,
        {"instrument": "hand"},
        "day first",
        True,
        {"fill down": "yes"},
        ("batch", "sg"),
    )
    assert ReadingPlan.from_toml(plan.to_toml()) == plan
    assert read_plans("") == ()
