"""What is written short is written out, by what the file says or after asking."""

from __future__ import annotations

import pytest

from origin_compare.intake.asking.reading_plan import answer
from origin_compare.intake.attributes import attributes_asked
from tests.intake.layouts.made import grid, lines, only, read

REGISTER = [
    ["Batch", "Washback", "OG"],
    ["24-097", "WB1", "1.065"],
    ["098", "WB2", "1.058"],
    ["25-001", "WB1", "1.061"],
    ["002", "WB2", "1.060"],
]


def test_shortened_numbers_are_asked_about_and_written_out() -> None:
    block = only(grid(REGISTER))
    (question,) = block.questions
    assert question.holds and "098" in question.what and "24-098" in question.what
    again = only(grid(REGISTER), plans=answer({question: "yes"}))
    told = [line["Batch"] for line in lines(again)]
    assert told == ["24-097", "24-098", "25-001", "25-002"] and not again.questions


def test_fewer_figures_replace_the_last_ones() -> None:
    rows = [["98" if cell == "098" else cell for cell in row] for row in REGISTER]
    assert only(grid(rows)).column(0)[1] == "24-098"


def test_shortened_numbers_stay_where_they_are_names_of_their_own() -> None:
    (question,) = only(grid(REGISTER)).questions
    assert read(grid(REGISTER), plans=answer({question: "no"})).plain == (True,)


@pytest.mark.parametrize("other", ["8", "F098", "0098"])
def test_numbers_of_another_form_are_left_as_they_are(other: str) -> None:
    rows = [[other if cell == "098" else cell for cell in row] for row in REGISTER]
    assert read(grid(rows)).plain == (True,)


SCORES = [
    ["Batch", "Judge", "CER", "FRU"],
    ["B1", "AK", "2", "5"],
    ["B1", "RB", "3", "4"],
    ["B2", "AK", "4", "1"],
]


def test_a_key_below_spells_the_headers_and_is_listed_as_left() -> None:
    rows = [*SCORES, ["Key:", None, None, None]]
    rows += [["CER", "cereal", None, None], ["FRU", "fruity", None, None]]
    block = only(grid(rows))
    assert block.headers == ("Batch", "Judge", "cereal", "fruity") and block.height == 3
    assert [one.text for one in block.left] == ["Key:", "CER | cereal", "FRU | fruity"]


def test_a_line_above_spells_the_headers() -> None:
    rows = [["CER = cereal, FRU = fruity", None, None, None], *SCORES]
    assert only(grid(rows)).headers == ("Batch", "Judge", "cereal", "fruity")


def test_abbreviated_attributes_without_a_key_hold_the_table() -> None:
    assert attributes_asked(["cer", "fru"], []).holds
    assert not attributes_asked(["cereal", "fru"], []).holds


def test_compounds_without_a_unit_wait_for_it() -> None:
    rows = [["Batch", "Acetaldehyde", "Isobutanol"], ["B1", "59", "473"], ["B2", "66", "570"]]
    (question,) = only(grid(rows)).questions
    assert question.holds and question.key == "compounds in"
    again = only(grid(rows), plans=answer({question: "mg/L AA"}))
    assert "Result (mg/L AA)" in again.headers and not again.questions
