"""The score entry page: one glass at a time, kept while typed, blind to what is in it."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from origin_compare.panel import KeptPlan, plan_as_text, plan_tasting, with_keys
from origin_compare.places import FRONT
from origin_compare.store.store import Store, open_store
from origin_compare.store.tastings import enter_scores, entered_scores, keep_tasting
from tests.front.reading import opened as opened_in_the_app
from tests.front.reading import said, told

BATCHES = ["Q25-01", "Q25-02", "Q25-03"]


@pytest.fixture
def kept() -> KeptPlan:
    plan = plan_tasting(
        BATCHES,
        ["A03", "A04"],
        1,
        8,
        control="CONTROL",
        attributes=["floral", "oily"],
        tasting_id="T90-1",
    )
    return with_keys(KeptPlan(plan, "2026-07-01"))


@pytest.fixture
def store(tmp_path: Path, kept: KeptPlan, monkeypatch: pytest.MonkeyPatch) -> Store:
    return sitting(f"sqlite:///{tmp_path / 'sitting.sqlite'}", kept, monkeypatch)


def sitting(url: str, kept: KeptPlan, monkeypatch: pytest.MonkeyPatch) -> Store:
    """A store with this plan in it, open for scores."""
    monkeypatch.setenv("ORIGIN_COMPARE_STORE", url)
    monkeypatch.setenv("ORIGIN_COMPARE_TASTING", "T90-1")
    opened_store = open_store(url)
    keep_tasting(opened_store, "T90-1", plan_as_text(kept))
    return opened_store


def opened(kept: KeptPlan | None = None) -> AppTest:
    """The scoring app, by the address of A03 where the plan is given."""
    app = AppTest.from_file(str(FRONT / "scoring_app.py"), default_timeout=60)
    if kept is not None:
        app.query_params["key"] = kept.keys["A03"]
    return app.run()


def cells(app: AppTest) -> list[str]:
    return [one.value for one in app.text_input]


def fill(app: AppTest, *values: str) -> AppTest:
    for box, value in zip(app.text_input, values, strict=False):
        box.set_value(value)
    return press(app, "done, next")


def press(app: AppTest, words: str) -> AppTest:
    return next(one for one in app.button if words in one.label).click().run()


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
    app = opened(kept)
    for place, code in enumerate(codes):
        text = said(app)
        assert f"Glass {place + 1} of 4" in text
        assert f'<p class="oc-code">{code}</p>' in text
        assert cells(app) == ["", ""]
        assert f"Glass {code} done, next" in [one.label for one in app.button]
        app = fill(app, f"{3 + place},5", "2")
    assert "That was the last glass: 4 glasses of tasting T90-1 are kept for A03." in said(app)
    own = entered_scores(store, "T90-1", "A03")
    assert own["floral"].tolist() == [3.5, 4.5, 5.5, 6.5]
    assert [str(code) for code in own["code"]] == codes
    assert own["done"].all()


def test_each_cell_is_kept_at_once_and_stands_there_after_a_reload(
    store: Store, kept: KeptPlan
) -> None:
    app = opened(kept)
    app.text_input[1].set_value("2.5").run()
    own = entered_scores(store, "T90-1", "A03")
    assert own["oily"].tolist() == [2.5]
    assert not own["done"].any()
    again = opened(kept)
    assert "Glass 1 of 4" in said(again)
    assert cells(again) == ["", "2.5"]
    fill(again, "3", "2.5")
    later = opened(kept)
    assert "Glass 2 of 4" in said(later)
    assert f'<p class="oc-code">{kept.glasses("A03")["code"].iloc[1]}</p>' in said(later)


def test_an_empty_cell_is_asked_about_once_and_then_stays_empty(
    store: Store, kept: KeptPlan
) -> None:
    app = fill(opened(kept), "3")
    assert told(app.info[0]).startswith("Kept. Still empty: oily.")
    own = entered_scores(store, "T90-1", "A03")
    assert own[["floral", "done"]].values.tolist() == [[3.0, False]]
    app = press(app, "empty, next")
    assert "Glass 2 of 4" in said(app)
    own = entered_scores(store, "T90-1", "A03")
    assert own["done"].tolist() == [True]
    assert own["oily"].isna().all()


@pytest.mark.parametrize("typed", ["11", "-1", "5..2", "much"])
def test_what_is_no_score_is_refused_in_words_and_holds_the_glass(
    store: Store, kept: KeptPlan, typed: str
) -> None:
    app = fill(opened(kept), typed, "2")
    assert told(app.warning[0]) == "floral: not a number from 0 to 10. Mend it, then go on."
    assert "Glass 1 of 4" in said(app)
    own = entered_scores(store, "T90-1", "A03")
    assert own["oily"].tolist() == [2.0]
    assert "floral" not in own
    assert "Glass 2 of 4" in said(fill(app, "10", "2"))


def test_a_slip_is_mended_by_going_back(store: Store, kept: KeptPlan) -> None:
    app = press(fill(opened(kept), "3", "2"), "Back to the glass before")
    assert "Glass 1 of 4" in said(app)
    assert cells(app) == ["3", "2"]
    app = fill(app, "7", "2")
    assert "Glass 2 of 4" in said(app)
    assert entered_scores(store, "T90-1", "A03")["floral"].tolist() == [7.0]


def test_an_older_page_takes_no_score_away(store: Store, kept: KeptPlan) -> None:
    older, newer = opened(kept), opened(kept)
    newer.text_input[0].set_value("5").run()
    older.text_input[1].set_value("3").run()
    own = entered_scores(store, "T90-1", "A03")
    assert own[["floral", "oily"]].values.tolist() == [[5.0, 3.0]]
    older.run()
    assert cells(older) == ["5", "3"], "what was kept elsewhere is shown"
    newer.run()
    assert cells(newer) == ["5", "3"]


def test_two_figures_for_one_cell_are_asked_about(store: Store, kept: KeptPlan) -> None:
    def kept_now() -> list[float]:
        return entered_scores(store, "T90-1", "A03")["floral"].tolist()

    older, newer = opened(kept), opened(kept)
    newer.text_input[0].set_value("5").run()
    older = fill(older, "4", "2")
    assert told(older.warning[0]) == (
        "floral: 5 was kept from another page opened with your key, 4 was typed here. Which counts?"
    )
    assert "Glass 1 of 4" in said(older)
    assert kept_now() == [5.0]
    older = press(older, "floral: 4")
    assert kept_now() == [4.0]
    assert cells(older) == ["4", "2"]
    assert not older.warning
    newer.text_input[0].set_value("6").run()
    newer = press(newer, "floral: 4")
    assert cells(newer)[0] == "4"
    assert kept_now() == [4.0]
    assert "Glass 2 of 4" in said(press(newer, "done, next"))


def test_nothing_sent_to_the_assessor_names_a_batch_or_another_s_score(
    store: Store, kept: KeptPlan, demo_store_file: Path
) -> None:
    for code in kept.glasses("A04")["code"]:
        enter_scores(store, "T90-1", "A04", int(code), {"floral": 9.7, "oily": 8.3})
    with pytest.MonkeyPatch.context() as other:  # the walk would see a batch
        other.setenv("ORIGIN_COMPARE_STORE", f"sqlite:///{demo_store_file}")
        assert "Q25-01" in everything(opened_in_the_app("tasting"))
    app = opened(kept)
    secrets = (*BATCHES, "CONTROL", "sample_kind", "control", "A04", "9.7", "8.3", kept.keys["A04"])
    for _ in range(5):
        text = everything(app)
        assert "oc-answer" in text or "oc-code" in text
        for secret in secrets:
            assert secret not in text, secret
        others = kept.glasses("A04")["code"]
        assert not any(f">{code}<" in text for code in others)
        if app.text_input:
            app = fill(app, "5", "5")


def test_the_key_is_asked_for_and_a_wrong_one_opens_nothing(store: Store, kept: KeptPlan) -> None:
    app = opened()
    assert "Tasting T90-1: whose scores? The panel leader gives out the keys." in said(app)
    app.text_input[0].set_value("A03")
    app = press(app, "Begin")
    assert told(app.warning[0]) == (
        "The key A03 opens no sheet of this tasting. Check it, or ask the panel leader."
    )
    assert "oc-code" not in said(app)
    app.text_input[0].set_value(f" {kept.keys['A03'].upper()} ")
    assert "Glass 1 of 4" in said(press(app, "Begin"))


def test_scores_taken_in_are_not_entered_again(
    full: Path, kept: KeptPlan, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = sitting(f"sqlite:///{full}", kept, monkeypatch)
    content = (
        b"tasting_id,assessor_id,batch_id,replicate,attribute,score\n"
        b"T90-1,A03,Q25-01,1,floral,4.5\n"
    )
    store.take_in(store.plan([("s.csv", content)]), "tests", {"s.csv": content})
    app = opened(kept)
    assert "The scores of A03 in tasting T90-1 were taken in. Thank you." in said(app)
    assert not app.text_input
