"""Names and remarks that look like markup: shown as typed, and no page asks another machine."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, Request, expect

from origin_compare.panel import plan_as_text, plan_tasting, with_keys
from origin_compare.panel.tastings.kept_plans import KeptPlan
from origin_compare.season.package import canonical_text
from origin_compare.season.season import Season
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.store.store import open_store
from origin_compare.store.tastings import keep_tasting
from tests.e2e.conftest import App, free_port, start
from tests.e2e.test_walk import settled
from tests.front.reading import TITLES

pytestmark = pytest.mark.browser
expect.set_options(timeout=120_000)

MARKUP = (
    " ![x](http://a.example/a.png) <img src=http://a.example/b.png> [l](http://a.example/c)"
    " $x^2$ :material/rocket_launch: :red[r] www.a.example **b** `c`"
)
TAKEN_FOR_MARKUP = (
    "img[src*='a.example'], a[href*='//a.example'], a[href*='//www.a.example'],"
    " .katex, .stMarkdownColoredText,"
    " [data-testid=stIconMaterial]:text-is('rocket_launch')"
)
BATCHES = 12
ATTRIBUTES = 3


def odd_files(season: Season) -> list[tuple[str, bytes]]:
    """The season's first batches as sheets with markup in every name, every remark, every file."""
    batches = season.batches["batch_id"].head(BATCHES)
    attributes = sorted(season.sheets["scores"]["attribute"].unique())[:ATTRIBUTES]
    files = []
    for name, sheet in SHEETS.items():
        frame = season.sheets[name]
        if "batch_id" in frame:
            frame = frame[frame["batch_id"].isin(batches)]
        if name == "scores":
            frame = frame[frame["attribute"].isin(attributes)]
        text = canonical_text(name, frame)
        for column in sheet.columns:
            if column.kind in ("key", "text") and not column.choices:
                text[column.name] = text[column.name] + MARKUP
        files.append((f"{name}{MARKUP}.csv", text.to_csv(index=False).encode()))
    return files


@pytest.fixture(scope="module")
def store_url(demo_season: Season, tmp_path_factory: pytest.TempPathFactory) -> str:
    url = f"sqlite:///{tmp_path_factory.mktemp('typed') / 'store.sqlite'}"
    with open_store(url) as store:
        files = odd_files(demo_season)
        plan = store.plan(files)
        assert len(plan.sheets["scores"]), plan.sentence()
        store.take_in(plan, f"AB{MARKUP}", files)
    return url


@pytest.fixture(scope="module")
def app(store_url: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[App]:
    running = start("--store", store_url, home=tmp_path_factory.mktemp("typed_home"))
    yield running
    running.stop()


@pytest.fixture
def outside(tab: Page) -> list[str]:
    """What the browser asks of other machines, which it does not get."""
    tab.set_default_timeout(120_000)  # the first page of a fresh app waits for its imports
    asked: list[str] = []

    def held_back(request: Request) -> bool:
        here = request.url.startswith(("http://127.0.0.1:", "data:", "blob:"))
        if not here:
            asked.append(request.url)
        return here

    tab.route(
        "**/*", lambda route, request: route.continue_() if held_back(request) else route.abort()
    )
    return asked


def shown_as_typed(tab: Page, outside: list[str]) -> None:
    assert tab.locator(TAKEN_FOR_MARKUP).count() == 0, tab.locator(TAKEN_FOR_MARKUP).first.evaluate(
        "node => node.closest('[data-testid=stElementContainer]')?.outerHTML"
    )
    assert not outside


@pytest.mark.parametrize("name", TITLES)
def test_no_page_takes_a_name_for_markup(
    name: str, app: App, tab: Page, outside: list[str]
) -> None:
    tab.goto(f"{app.url}/{name}")
    settled(tab)
    expect(tab.locator("h1")).to_have_text(TITLES[name])
    assert "This page could not be drawn" not in tab.locator("body").inner_text()
    shown_as_typed(tab, outside)
    for toggle in tab.locator("summary").all()[:12]:
        toggle.click()
    settled(tab)
    shown_as_typed(tab, outside)


@pytest.mark.parametrize("query", ["view=Assessors", "view=Tastings"])
def test_no_view_of_the_panel_does(query: str, app: App, tab: Page, outside: list[str]) -> None:
    tab.goto(f"{app.url}/panel?{query}")
    settled(tab)
    shown_as_typed(tab, outside)


def test_no_file_on_its_way_in_does(app: App, tab: Page, outside: list[str]) -> None:
    tab.goto(f"{app.url}/intake")
    settled(tab)
    header = MARKUP.strip()
    rows = f"what{MARKUP},{header}\n1,2\n".encode()
    known = f"grower_id,{header}\nG99{MARKUP},x\n,y\n".encode()
    tab.locator("input[type=file]").set_input_files(
        [
            {"name": f"odd{MARKUP}.csv".replace("/", "|"), "mimeType": "text/csv", "buffer": rows},
            {
                "name": f"growers{MARKUP}.csv".replace("/", "|"),
                "mimeType": "text/csv",
                "buffer": known,
            },
        ]
    )
    expect(tab.get_by_role("heading", name="What is ").first).to_be_visible()
    settled(tab)
    shown_as_typed(tab, outside)


def test_the_scoring_page_does_not(
    store_url: str, tab: Page, outside: list[str], tmp_path: Path
) -> None:
    name = f"T90{MARKUP}"
    plan = plan_tasting(
        [f"B1{MARKUP}", f"B2{MARKUP}"],
        [f"A1{MARKUP}", f"A2{MARKUP}"],
        1,
        8,
        attributes=[f"floral{MARKUP}", "oily"],
        tasting_id=name,
    )
    kept = with_keys(KeptPlan(plan, "2026-07-01"))
    with open_store(store_url) as store:
        keep_tasting(store, name, plan_as_text(kept))
    app = start("--store", store_url, home=tmp_path, verb=("score", name), port=free_port())
    try:
        tab.goto(app.url)
        expect(tab.get_by_label("Your key")).to_be_visible()
        shown_as_typed(tab, outside)
        for _ in kept.glasses(kept.assessors[0])["code"]:
            tab.goto(f"{app.url}/?key={kept.keys[kept.assessors[0]]}")
            expect(tab.get_by_text("Glass ").first).to_be_visible()
            shown_as_typed(tab, outside)
            tab.get_by_role("button", name="done, next").click()
            expect(tab.get_by_text("Still empty")).to_be_visible()
            shown_as_typed(tab, outside)
            tab.get_by_role("button", name="empty, next").click()
            settled(tab)
        expect(tab.get_by_text("That was the last glass")).to_be_visible()
        shown_as_typed(tab, outside)
    finally:
        app.stop()
