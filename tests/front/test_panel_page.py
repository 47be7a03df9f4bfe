"""The panel page: what can be told, its assessors, one tasting opened, difference tests."""

from __future__ import annotations

import pytest

from tests.front.reading import opened, said, told

pytestmark = pytest.mark.usefixtures("read_only")


def boxes(app, key):  # type: ignore[no-untyped-def]
    return next(box for box in app.selectbox if box.key == key)


def test_the_smallest_gap_is_said_and_what_a_given_gap_takes() -> None:
    app = opened("panel")
    text = said(app)
    assert "a gap between two batches of one tasting must be" in text
    assert "What is a 95 % interval?" in [one.label for one in app.expander]
    assert "Where the true value plausibly lies." in text
    assert "Anyone may sit out without giving a reason, and no reason of health is stored." in text
    gap = next(one for one in app.number_input if one.key == "needed_gap")
    gap.set_value(0.1)
    button = next(one for one in app.button if one.label == "What is needed?")
    assert "would not be seen reliably with up to 12 assessors" in said(button.click().run())


def test_attributes_not_told_apart_stand_last_and_are_marked() -> None:
    app = opened("panel")
    options = boxes(app, "needed_attribute").options
    marked = [option.endswith("(not told apart here)") for option in options]
    assert any(marked)
    assert marked == sorted(marked)
    gaps = next(one.value for one in app.dataframe if "smallest gap, points" in one.value.columns)
    told = gaps["told apart"].tolist()
    assert told == sorted(told, reverse=True)


def test_an_assessor_named_in_the_address_is_opened_with_evidence_and_training() -> None:
    app = opened("panel", assessor="A07")
    assert not app.error
    assert boxes(app, "assessor").value == "A07"
    text = said(app)
    assert "A07 is sound on 0 of 12 attributes" in text
    assert (
        "**fruity estery**: does not find the differences the panel finds on fruity estery" in text
    )
    assert "Train with references for fruity estery at several strengths" in text
    sound = boxes(app, "assessor").select("A01").run()
    assert "A01 is sound on 12 of 12 attributes." in said(sound)
    assert "Nothing to train here before the next tasting." in said(sound)


def test_a_tasting_named_in_the_address_is_opened() -> None:
    app = opened("panel", tasting="T25-4")
    text = said(app)
    assert "In T25-4 on 2026-04-01 10 assessors had 7 samples" in text
    served = next(one.value for one in app.dataframe if "glass 7" in one.value.columns)
    assert served["assessor"].tolist() == [f"A{i:02d}" for i in range(1, 11)]
    assert "Against the hidden control over 12 tastings, the panel as a whole did not" in text
    drifts = next(one.value for one in app.dataframe if "whose" in one.value.columns)
    assert drifts["whose"].tolist() == ["panel", *served["assessor"]]


def test_two_batches_held_against_each_other_say_what_could_have_been_missed() -> None:
    app = opened("panel", batch="Q24-01", beside="Q24-02")
    text = said(app)
    assert "Q24-01 and Q24-02 differ on cereal, nutty and sulphury; they cannot be told" in text
    assert "points could have been missed." in text
    margin = next(one for one in app.number_input if one.key == "alike_below")
    assert "are alike within the margin on" in said(margin.set_value(4.0).run())


def test_what_goes_with_the_cut_is_said_and_the_planted_attribute_found() -> None:
    # feinty is the one attribute whose truth goes with the cut (truth.json: slopes)
    text = said(opened("panel"))
    assert "With the strength of the cut goes feinty (-0." in text
    assert "Cut-on hardly changed." in text


def test_the_panel_as_a_whole_is_shown_in_the_sense_of_the_standard() -> None:
    app = opened("panel", view="Assessors")
    table = next(one.value for one in app.dataframe if "ICC of the mean" in one.value.columns)
    assert len(table) == 14
    assert table["ICC, one assessor"].lt(table["ICC of the mean"] + 1e-9).all()
    assert table["batches differ, p"].iloc[0] == "<0.001"
    assert "of their disagreement is mere use of the scale." in said(app)


def test_a_triangle_test_is_judged_exactly() -> None:
    # 13 of 24 is the least that shows a difference at 5 % (ISO 4120:2021, table of the triangle).
    app = opened("panel", view="Tests")
    assert "13 of 24 correct in the triangle test: the two are told apart" in said(app)
    metrics = {one.label: one.value for one in app.metric}
    assert metrics["Correct needed"] == "13"
    next(one for one in app.number_input if one.key == "correct").set_value(9)
    next(one for one in app.number_input if one.key == "margin").set_value(1.8)
    button = next(one for one in app.button if one.label == "What does it show?")
    app = button.click().run()
    assert "9 of 24 correct in the triangle test: the two are alike within d-prime 1.8" in said(app)
    assert "To call them alike within d-prime 1.8, at most **" in said(app)


def test_more_correct_than_answers_is_refused_in_words() -> None:
    app = opened("panel", view="Tests")
    next(one for one in app.number_input if one.key == "correct").set_value(30)
    button = next(one for one in app.button if one.label == "What does it show?")
    app = button.click().run()
    assert told(app.warning[0]) == "correct: 30 is not a whole number from 0 to 24."
