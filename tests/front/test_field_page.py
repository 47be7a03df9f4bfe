"""The field page: the answer first, for any flavour and batch, and a refusal in words."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.front.reading import opened, said, table_with, told

USUAL = r"At the house's usual process this barley would have scored "
RANGE = r"\d\.\d \(\d\.\d to \d\.\d\); it "


@pytest.fixture(autouse=True)
def _demo(read_only: Path) -> None:
    """Every test looks at the demo."""


def test_the_answer_then_the_figure_and_its_table() -> None:
    app = opened("field", attribute="fruity estery", batch="Q24-09")
    assert not app.exception
    assert not app.error
    assert not app.warning
    assert re.search(USUAL + "fruity estery " + RANGE + r".* and scored \d\.\d\.", said(app))
    assert [tab.label for tab in app.tabs] == [
        "Every batch",
        "This batch on every flavour",
        "Growers",
    ]
    every = table_with(app, "at usual process")
    assert len(every) == 58
    assert every["batch"].is_unique
    (figure,) = app.get("plotly_chart")
    assert "A line per batch on fruity estery" in figure.proto.alt
    assert "What this rests on." in said(app)


def test_another_batch_and_another_flavour_are_answered_for_themselves() -> None:
    app = opened("field", attribute="fruity estery", batch="Q24-04")
    assert "moved fruity estery of Q24-04: " in said(app)
    app.selectbox(key="attribute").select("floral").run()
    assert not app.exception
    assert "floral of Q24-04: " in said(app)
    assert app.selectbox(key="batch").value == "Q24-04"


def test_a_flavour_the_panel_cannot_tell_is_not_parted() -> None:
    app = opened("field", attribute="soapy", batch="Q24-09")
    assert not app.exception
    assert (
        "The panel cannot tell batches apart on soapy, so nothing can be parted for Q24-09."
        in said(app)
    )


def test_a_batch_of_mixed_origin_says_that_it_cannot_be_parted() -> None:
    app = opened("field", batch="Q25-30")
    assert not app.exception
    assert not app.error
    assert told(app.warning[0]).startswith("Batch Q25-30 is not among the 58 batches that ended")
    assert len(table_with(app, "at usual process")) == 58


def test_one_grower_over_all_batches() -> None:
    text = said(opened("field", grower="G01"))
    assert "G01: " in text
    assert "3 batches of G01. " in text
