"""A walk through the app in headless Chromium, as a new user would take it."""

from __future__ import annotations

import re
import subprocess
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from origin_compare.front.masthead import GROUPS
from origin_compare.places import demo_folder
from tests.e2e.conftest import App, start
from tests.front.reading import TITLES, WITH_ANSWER

pytestmark = pytest.mark.browser
IN_THE_WAY = {name: title for _, pages in GROUPS for name, title in pages}
expect.set_options(timeout=60_000)


@pytest.fixture(scope="module")
def fresh_app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[App]:
    app = start(home=tmp_path_factory.mktemp("fresh_home"))
    yield app
    if app.process.poll() is None:
        app.stop()


def settled(page: Page) -> None:
    """Wait until nothing is being computed any more."""
    page.wait_for_selector("h1")
    page.wait_for_function(
        "() => !document.querySelector('[data-testid=stSpinner],[data-testid=stSkeleton],"
        "[data-testid=stStatusWidgetRunningIcon]')",
        timeout=90_000,
    )
    page.wait_for_timeout(300)


def _over(page: Page) -> int:
    """Pixels by which the page is wider than its window."""
    over: int = page.evaluate(
        "() => { const main = document.querySelector('[data-testid=stMain]');"
        " return main.scrollWidth - main.clientWidth }"
    )
    return over


def _said_to_a_screen_reader(page: Page) -> list[str]:
    """What each figure of the page says to who cannot see it."""
    said: list[str] = page.locator("[data-testid=stPlotlyChart]").evaluate_all(
        "charts => charts.map(node => [node, ...node.querySelectorAll('*'), node.parentElement]"
        ".map(one => one.getAttribute('aria-label') || '').join(' ').trim())"
    )
    return said


@pytest.mark.parametrize("name", TITLES)
def test_a_direct_link_opens_any_page_whole_at_any_width_and_asks_no_other_machine(
    name: str, demo_app: App, tab: Page
) -> None:
    tab.set_viewport_size({"width": 800, "height": 900})
    noise: list[str] = []
    tab.on("pageerror", lambda error: noise.append(str(error)))
    outside: list[str] = []
    tab.on(
        "request",
        lambda request: (
            outside.append(request.url)
            if not re.match(r"(https?|ws)://127\.0\.0\.1[:/]|data:|blob:", request.url)
            else None
        ),
    )
    tab.goto(f"{demo_app.url}/{name}")
    settled(tab)
    expect(tab.locator("h1")).to_have_text(TITLES[name])
    assert _over(tab) <= 1, "cut off sideways at 800"
    tab.set_viewport_size({"width": 1400, "height": 900})
    expect(tab.get_by_role("link", name="Fermentations", exact=True).first).to_be_visible()
    tab.wait_for_timeout(500)
    assert _over(tab) <= 1, "cut off sideways at 1400"
    if name in WITH_ANSWER:
        expect(tab.locator(".js-plotly-plot").first).to_be_visible()
    said = _said_to_a_screen_reader(tab)
    assert all(len(words) > 20 for words in said), said
    assert not noise
    assert not outside, "the page asked another machine for something"


@pytest.mark.parametrize("name", WITH_ANSWER)
def test_figure_table_and_download(name: str, demo_app: App, tab: Page) -> None:
    tab.goto(f"{demo_app.url}/{name}")
    settled(tab)
    expect(tab.locator(".js-plotly-plot").first).to_be_visible()
    expect(tab.locator("[data-testid=stDataFrame]").first).to_be_visible()
    with tab.expect_download() as waiting:
        tab.get_by_role("button", name="Download this table").first.click()
    lines = Path(waiting.value.path()).read_text("utf-8").splitlines()
    assert len(lines) > 1
    assert "," in lines[0]


def test_upload_map_a_header_see_faults_take_in_and_open_every_page(
    fresh_app: App, tab: Page, tmp_path: Path
) -> None:
    packed = tmp_path / "harvests.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        for file in sorted(demo_folder().glob("*.*")):
            if file.suffix in (".csv", ".xlsx"):
                archive.write(file, file.name)
    tab.goto(f"{fresh_app.url}/season")
    expect(tab.get_by_text("There is nothing in this store yet.")).to_be_visible()
    tab.get_by_role("link", name="Go to Intake").click()
    expect(tab.locator("h1")).to_have_text(TITLES["intake"])
    tab.locator("input[type=file]").set_input_files(str(packed))
    expect(tab.get_by_role("heading", name="What to mend")).to_be_visible(timeout=60_000)
    settled(tab)
    expect(
        tab.get_by_role("heading", name=re.compile("What is .*vessel_log_minutes.csv"))
    ).to_be_visible()
    _map_the_minute_log(tab)
    take_in = tab.get_by_role("button", name=re.compile("Take in .* rows"))
    take_in.click()
    expect(tab.get_by_text(re.compile("Intake 1 brought"))).to_be_visible(timeout=60_000)
    for name in WITH_ANSWER:
        tab.get_by_role("link", name=IN_THE_WAY[name], exact=True).first.click()
        expect(tab.locator("h1")).to_have_text(TITLES[name], timeout=60_000)
        settled(tab)
        expect(tab.locator("[data-testid=stAlertContentError]")).to_have_count(0)
        expect(tab.locator(".js-plotly-plot").first).to_be_visible()


def _map_the_minute_log(tab: Page) -> None:
    wanted = {
        "batch (needed)": "WB_RUN",
        "read at": "TS_LOCAL",
        "gravity": "DT204.PV",
        "temp, °C": "TT204.PV",
        "cooling, %": "CV204.OUT",
        "instrument": "SRC",
    }
    _choose(tab, "Sheet", "readings: each row is one reading of a vessel")
    for label, header in wanted.items():
        _choose(tab, label, header)
    tab.get_by_role("button", name="Remember these headers").click()
    expect(tab.get_by_role("button", name="Remember these headers")).to_have_count(
        0, timeout=60_000
    )
    settled(tab)


def _choose(tab: Page, label: str, option: str) -> None:
    """Choose by typing, since long lists only draw the options in sight."""
    box = tab.get_by_role("combobox", name=re.compile(f"{re.escape(label)}$")).last
    box.click()
    tab.keyboard.type(option)
    tab.get_by_role("option", name=option, exact=True).first.click()
    tab.wait_for_timeout(250)


def test_a_bookmark_reopens_the_same_batch(demo_app: App, tab: Page) -> None:
    tab.goto(f"{demo_app.url}/chain?batch=Q25-09")
    settled(tab)
    expect(tab.get_by_text("Batch Q25-09 is mixed from several growers")).to_be_visible()


def test_choosing_a_batch_puts_it_into_the_address(demo_app: App, tab: Page) -> None:
    tab.goto(f"{demo_app.url}/chain")
    settled(tab)
    _choose(tab, "Batch", "Q25-09")
    expect(tab).to_have_url(re.compile("batch=Q25-09"))


def test_the_growers_page_prints_on_one_side_of_a4(
    demo_app: App, tab: Page, tmp_path: Path
) -> None:
    tab.goto(f"{demo_app.url}/growers?grower=G04")
    settled(tab)
    file = tmp_path / "page.pdf"
    tab.pdf(path=str(file), format="A4", prefer_css_page_size=True, print_background=True)
    told = subprocess.run(["pdfinfo", str(file)], capture_output=True, text=True, check=True).stdout
    assert re.search(r"Pages:\s+1\n", told), told


def test_keys_alone_reach_the_next_page(demo_app: App, tab: Page) -> None:
    tab.goto(f"{demo_app.url}/season")
    settled(tab)
    tab.get_by_role("link", name="Chain", exact=True).first.focus()
    tab.keyboard.press("Enter")
    expect(tab.locator("h1")).to_have_text(TITLES["chain"], timeout=30_000)
