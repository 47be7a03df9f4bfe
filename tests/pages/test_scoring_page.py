"""The score entry page: one glass at a time, kept at every Next, blind to what is in it."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from origin_compare.panel import KeptPlan, plan_as_text, plan_tasting
from origin_compare.records.store import Store, open_store
from origin_compare.records.tastings import enter_scores, entered_scores, keep_tasting
from tests.pages.test_pages import full, opened, said  # noqa: F401

BATCHES = ["Q25-01", "Q25-02", "Q25-03"]
WHO = {"tasting": "T90-1", "assessor": "A03"}


@pytest.fixture
def kept() -> KeptPlan:
    plan = plan_tasting(
        BATCHES, ["A03", "A04"], 1, 8, control="CONTROL", attributes=["floral", "oily"],
        tasting_id="T90-1",
    )  # fmt: skip
    return KeptPlan(plan, "2026-07-01")


@pytest.fixture
def store(full: Path, kept: KeptPlan) -> Store:  # noqa: F811
    opened_store = open_store(f"sqlite:///{full}")
    keep_tasting(opened_store, "T90-1", plan_as_text(kept))
    return opened_store


def fill(app: AppTest, *values: float) -> AppTest:
    for box, value in zip(app.number_input, values, strict=False):
        box.set_value(value)
    return press(app, "Next")


def press(app: AppTest, start: str) -> AppTest:
    return next(one for one in app.button if one.label.startswith(start)).click().run()


def everything(app: AppTest) -> str:
    found: list[str] = []

    def walk(block: object) -> None:
        proto = getattr(block, "proto", None)
        if proto is not None:
            found.append(str(proto))
        for child in getattr(block, "children", {}).values():
            walk(child)

    walk(app._tree)
    return "\n".join(found)


def test_one_glass_at_a_time_by_its_code_in_the_order_served(store: Store, kept: KeptPlan) -> None:
    codes = [str(code) for code in kept.glasses("A03")["code"]]
    app = opened("scoring", **WHO)
    for place, code in enumerate(codes):
        text = said(app)
        assert f"Glass {place + 1} of 4" in text
        assert f'<p class="oc-code">{code}</p>' in text
        assert [one.value for one in app.number_input] == [None, None]
        app = fill(app, 3.0 + place, 2.0)
    assert "That was the last glass: 4 glasses of tasting T90-1 are kept for A03." in said(app)
    own = entered_scores(store, "T90-1", "A03")
    assert own["floral"].tolist() == [3.0, 4.0, 5.0, 6.0]
    assert [str(code) for code in own["code"]] == codes
    assert own["done"].all()


def test_nothing_is_lost_on_reload_and_the_next_unfinished_glass_opens(
    store: Store, kept: KeptPlan
) -> None:
    fill(opened("scoring", **WHO), 3.0, 2.0)
    again = opened("scoring", **WHO)
    assert "Glass 2 of 4" in said(again)
    assert f'<p class="oc-code">{kept.glasses("A03")["code"].iloc[1]}</p>' in said(again)
    assert entered_scores(store, "T90-1", "A03")["oily"].tolist() == [2.0]


def test_an_empty_cell_is_asked_about_once_and_then_stays_empty(store: Store) -> None:
    app = fill(opened("scoring", **WHO), 3.0)
    assert app.info[0].value.startswith("Kept. Still empty: oily.")
    own = entered_scores(store, "T90-1", "A03")
    assert own[["floral", "done"]].values.tolist() == [[3.0, False]]
    app = press(app, "Leave the empty cells empty, next")
    assert "Glass 2 of 4" in said(app)
    own = entered_scores(store, "T90-1", "A03")
    assert own["done"].tolist() == [True]
    assert own["oily"].isna().all()


def test_a_slip_is_mended_by_going_back(store: Store) -> None:
    app = press(fill(opened("scoring", **WHO), 3.0, 2.0), "Back to the glass before")
    assert "Glass 1 of 4" in said(app)
    assert [one.value for one in app.number_input] == [3.0, 2.0]
    app = fill(app, 7.0, 2.0)
    assert "Glass 2 of 4" in said(app)
    assert entered_scores(store, "T90-1", "A03")["floral"].tolist() == [7.0]


def test_nothing_sent_to_the_assessor_names_a_batch_or_another_s_score(
    store: Store, kept: KeptPlan
) -> None:
    for code in kept.glasses("A04")["code"]:
        enter_scores(store, "T90-1", "A04", int(code), {"floral": 9.7, "oily": 8.3})
    assert "Q25-01" in everything(opened("tasting"))  # the walk would see a batch
    app = opened("scoring", **WHO)
    for _ in range(5):
        text = everything(app)
        assert "oc-answer" in text or "oc-code" in text
        for secret in (*BATCHES, "CONTROL", "sample_kind", "control", "A04", "9.7", "8.3"):
            assert secret not in text, secret
        others = kept.glasses("A04")["code"]
        assert not any(f">{code}<" in text for code in others)
        if app.number_input:
            app = fill(app, 5.0, 5.0)


def test_an_assessor_who_does_not_sit_is_told_so(store: Store) -> None:
    app = opened("scoring", tasting="T90-1", assessor="A77")
    assert app.warning[0].value == (
        "assessor A77: not in tasting T90-1. Ask the panel leader for the address."
    )
    app = opened("scoring", tasting="T1", assessor="A03")
    assert app.warning[0].value == (
        "tasting T1: no plan of that name is kept here. Ask the panel leader for the address."
    )


def test_without_an_address_the_code_is_asked_for(store: Store) -> None:
    app = opened("scoring")
    assert "Which tasting, and whose scores? The panel leader gives out the codes." in said(app)
    app.text_input[0].set_value("A03")
    app = press(app, "Begin")
    assert "Glass 1 of 4" in said(app)


@pytest.mark.usefixtures("full")
def test_without_a_tasting_it_says_who_draws_one_up() -> None:
    app = opened("scoring")
    assert "No tasting is waiting for scores. The panel leader draws one up first." in said(app)
    assert not app.error


def test_scores_taken_in_are_not_entered_again(store: Store, kept: KeptPlan) -> None:
    content = (
        b"tasting_id,assessor_id,batch_id,replicate,attribute,score\n"
        b"T90-1,A03,Q25-01,1,floral,4.5\n"
    )
    store.take_in(store.plan([("s.csv", content)]), "tests", {"s.csv": content})
    app = opened("scoring", **WHO)
    assert "The scores of A03 in tasting T90-1 were taken in. Thank you." in said(app)
    assert not app.number_input
