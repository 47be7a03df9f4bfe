"""One sitting's scoring page in a browser: nothing is lost, and nothing else can be reached."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from origin_compare.panel import KeptPlan, plan_as_text, plan_tasting, with_keys
from origin_compare.store.store import open_store
from origin_compare.store.tastings import entered_scores, keep_tasting
from tests.e2e.conftest import App, free_port, start

BATCHES = ["Q90-01", "Q90-02", "Q90-03"]


@pytest.fixture
def kept() -> KeptPlan:
    plan = plan_tasting(
        BATCHES,
        ["A03", "A04"],
        1,
        8,
        control="CONTROL",
        attributes=["floral", "oily", "sour"],
        tasting_id="T90-1",
    )
    return with_keys(KeptPlan(plan, "2026-07-01"))


@pytest.fixture
def url(kept: KeptPlan, tmp_path: Path) -> str:
    store_url = f"sqlite:///{tmp_path / 'sitting.sqlite'}"
    with open_store(store_url) as store:
        keep_tasting(store, "T90-1", plan_as_text(kept))
    return store_url


def serve(url: str, home: Path, port: int) -> App:
    return start("--store", url, home=home, verb=("score", "T90-1"), port=port)


def held(url: str) -> list[list[object]]:
    with open_store(url) as store:
        own = entered_scores(store, "T90-1", "A03")
    # a flavour nothing was typed for yet has no column
    shown = own.reindex(columns=["floral", "oily", "done"]).astype(object)
    return shown.where(shown.notna(), None).to_numpy().tolist()


def test_a_reload_and_a_server_that_dies_lose_nothing_and_nothing_else_opens(
    url: str, kept: KeptPlan, tab: Page, tmp_path: Path
) -> None:
    port = free_port()
    app = serve(url, tmp_path, port)
    try:
        tab.goto(f"{app.url}/?key={kept.keys['A03']}")
        floral = tab.get_by_label("floral", exact=True)
        expect(floral).to_have_js_property("inputMode", "decimal")  # figures on a tablet's keys
        floral.press_sequentially("6,5")  # and the cell is not left
        expect(tab.get_by_test_id("stStatusWidget")).to_have_count(0)
        tab.wait_for_timeout(600)
        tab.reload()
        expect(tab.get_by_label("floral", exact=True)).to_have_value("6.5")
        assert held(url) == [[6.5, None, False]]

        tab.get_by_label("oily", exact=True).press_sequentially("3")
        app.process.kill()  # within the pause after which a cell is kept
        app.process.wait()
        expect(tab.get_by_label("oily", exact=True)).to_be_disabled()
        app = serve(url, tmp_path, port)
        expect(tab.get_by_label("oily", exact=True)).to_be_enabled()
        expect(tab.get_by_label("floral", exact=True)).to_have_value("6.5")
        expect(tab.get_by_label("oily", exact=True)).to_have_value("3")
        tab.get_by_label("sour", exact=True).fill("1")
        tab.get_by_role("button", name="Next").click()
        expect(tab.get_by_text("Glass 2 of 4")).to_be_visible()
        assert held(url) == [[6.5, 3.0, True]]
        _nothing_else_opens(tab, app, kept)
    finally:
        assert app.stop() == 0
    said = app.process.stdout.read()
    assert f"A04  {app.url}/?key={kept.keys['A04']}" in said
    assert "Traceback" not in said


def _nothing_else_opens(tab: Page, app: App, kept: KeptPlan) -> None:
    """No address leads to another page, to a batch's name, or without a key to any sheet."""
    for address in ("panel", "scoring", ""):
        tab.goto(f"{app.url}/{address}?key={kept.keys['A03']}")
        expect(tab.get_by_text("Glass 2 of 4")).to_be_visible()
        assert tab.locator("h1").all_inner_texts() == ["What do you find in this glass?"]
        assert tab.locator("nav").count() == 0
        assert not any(batch in tab.content() for batch in [*BATCHES, "CONTROL"])
    tab.goto(f"{app.url}/?tasting=T90-1&assessor=A04")
    expect(tab.get_by_label("Your key")).to_be_visible()
    assert "A04" not in tab.locator("body").inner_text()
