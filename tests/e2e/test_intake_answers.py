"""Other people's files answered on the page in a browser: a card, a wide sheet, a panel form."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from playwright.sync_api import Page, expect

from origin_compare.sheets.catalogue import SHEETS
from origin_compare.store.store import open_store
from tests.e2e.conftest import start
from tests.e2e.test_walk import settled

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)

GIVEN = Path(__file__).parents[1] / "intake" / "strangers" / "given"
CHOICES = {"Is this table readings?": "readings: each row is"}


@pytest.mark.parametrize("number", ["01", "03", "25"])
def test_a_strangers_file_goes_in_right_once_it_is_answered(
    number: str, tab: Page, tmp_path: Path
) -> None:
    case = next(
        one
        for one in json.loads((GIVEN / "truth.json").read_text("utf-8"))
        if one["id"].startswith(number)
    )
    url = f"sqlite:///{tmp_path / 'store.sqlite'}"
    _with_parents(url, case)
    app = start("--store", url, home=tmp_path)
    try:
        tab.goto(f"{app.url}/intake")
        settled(tab)
        file = str(GIVEN / "files" / case["files"][0])
        tab.locator("input[type=file]").first.set_input_files(file)
        expect(tab.get_by_role("heading", name="How the files were read")).to_be_visible()
        settled(tab)
        _answer_all(tab)
        expect(tab.locator(".oc-grid").first).to_be_visible()
        tab.get_by_role("button", name=re.compile("Take in .* rows")).click()
        expect(tab.get_by_text(re.compile(r"Intake \d+ brought"))).to_be_visible()
        expect(tab.locator("[data-testid=stAlertContentError]")).to_have_count(0)
    finally:
        app.stop()
    with open_store(url) as store:
        for sheet, rows in case["truth"].items():
            _stands(sheet, rows, store.sheet(sheet))


def _with_parents(url: str, case: dict[str, Any]) -> None:
    parents = [
        (f"{sheet}.csv", pd.DataFrame(rows).to_csv(index=False).encode())
        for sheet, rows in case.get("parents", {}).items()
        if rows
    ]
    with open_store(url) as store:
        if parents:
            store.take_in(store.plan(parents))


def _answer_all(tab: Page) -> None:
    """Send the form until nothing holds a table: the choice of `CHOICES`, else the default."""
    for _ in range(4):
        waits = tab.get_by_text(re.compile("The table waits for this"))
        if not waits.count():
            return
        for label, option in CHOICES.items():
            box = tab.get_by_role("combobox", name=re.compile(re.escape(label)))
            if box.count():
                box.first.click()
                tab.keyboard.type(option)
                tab.get_by_role("option", name=re.compile(f"^{option}")).first.click()
        tab.get_by_role("button", name="Read it so").click()
        tab.wait_for_timeout(1_500)
        settled(tab)


def _stands(sheet: str, rows: list[dict[str, Any]], stored: pd.DataFrame) -> None:
    """Every row of the truth is in the store, with its figures."""
    assert len(stored) >= len(rows)
    for name in rows[0]:
        kind = SHEETS[sheet].column(name).kind
        wanted = pd.Series([row.get(name) for row in rows]).dropna()
        if kind in ("number", "gravity", "temperature", "count"):
            got = stored[name].dropna().astype(float)
            assert sorted(got.round(3)) == pytest.approx(sorted(wanted.astype(float)), abs=0.051)
        elif kind in ("key", "text"):
            assert set(wanted.astype(str).str.casefold()) <= set(
                stored[name].astype(str).str.casefold()
            )
