"""Rows struck through or hidden are asked about; comments are kept as remarks."""

from __future__ import annotations

import io

import openpyxl
from openpyxl.comments import Comment
from openpyxl.styles import Font

from origin_compare.intake.asking.reading_plan import ReadingPlan, answer
from origin_compare.intake.plan import IntakePlan
from tests.intake.helpers import SEASON, plan

ROWS = [
    ["batch_id", "hours", "sg", "ph"],
    ["B1", 8, 1.05, 5.1],
    ["B1", 12, 1.045, 4.9],
    ["B1", 16, 1.04, 4.8],
    ["B1", 24, 1.03, 4.6],
]


def _book() -> bytes:
    """Row 3 is struck through, row 4 hidden, and D5 has a comment."""
    book = openpyxl.Workbook()
    tab = book.active
    for row in ROWS:
        tab.append(row)
    for cell in tab[3]:
        cell.font = Font(strike=True)
    tab.row_dimensions[4].hidden = True
    tab["D5"].comment = Comment("probe cleaned", "KO")
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


FILES: dict[str, str | bytes] = {**SEASON, "readings.csv": "", "readings.xlsx": _book()}


def test_rows_struck_through_and_hidden_are_asked_about() -> None:
    planned = plan(FILES)
    assert planned.sheets["readings"].empty
    struck, hidden = (one for one in planned.questions if one.holds)
    assert (struck.key, struck.default) == ("struck-out rows", "leave them out")
    assert (hidden.key, hidden.default) == ("hidden rows", "read them")
    assert "A row is struck through" in struck.what
    assert "Row 3." in struck.evidence
    assert "Row 4." in hidden.evidence


def test_what_was_said_of_them_is_done_and_told() -> None:
    told = answered("read them")
    assert told.sheets["readings"]["hours"].tolist() == [8, 16, 24]
    steps = [step.says for _, step in told.did]
    assert any("left out rows that are struck through, as was said: 3" in one for one in steps)
    assert told.not_used["why"].tolist() == ["is struck through"]
    left = answered("leave them out").sheets["readings"]
    assert left["hours"].tolist() == [8, 24]


def test_comments_are_kept_with_their_row() -> None:
    notes = answered("read them").sheets["readings"]["note"]
    assert notes.fillna("").tolist() == ["", "", "probe cleaned"]


def answered(hidden: str) -> IntakePlan:
    """The plan once both questions are answered."""
    asked = [one for one in plan(FILES).questions if one.holds]
    said = {one: hidden if "hidden" in one.key else one.default for one in asked}
    plans: tuple[ReadingPlan, ...] = answer(said)
    return plan(FILES, plans=plans)
