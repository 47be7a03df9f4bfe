"""Prints clicks and seconds waited per task: `python -m tests.e2e.tasks [ADDRESS]`.

Without an address the demo is started in a home of its own. What a user types is not counted; every
click, choice and drop is. The seconds are those between a click and the page standing still.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests.e2e.conftest import CHROMIUM, FLAGS, start
from tests.e2e.tasks.ten import TASKS
from tests.e2e.tasks.walker import Walker

MOST_CLICKS, MOST_SECONDS = 6, 10.0


def main() -> int:
    """Every task in a fresh tab from the first page; 1 if one could not be done."""
    undone = 0
    with _address() as url, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        _open(browser.new_page(), url)
        print(f"{'clicks':>6} {'seconds':>8}  task")
        for who, says, task in TASKS:
            walker = Walker(_open(browser.new_page(), url))
            try:
                task(walker)
            except Exception as failed:
                undone += 1
                print(f"{'-':>6} {'-':>8}  {who}: {says}: NOT DONE ({_first_line(failed)})")
                continue
            finally:
                walker.page.close()
            late = walker.clicks > MOST_CLICKS or walker.seconds > MOST_SECONDS
            over = " (over the goal)" if late else ""
            print(f"{walker.clicks:>6} {walker.seconds:>8.1f}  {who}: {says}{over}", flush=True)
        browser.close()
    return int(undone > 0)


@contextmanager
def _address() -> Iterator[str]:
    if len(sys.argv) > 1:
        yield sys.argv[1].rstrip("/")
        return
    with tempfile.TemporaryDirectory() as home:
        app = start("--demo", home=Path(home))
        try:
            yield app.url
        finally:
            app.stop()


def _open(page: Page, url: str) -> Page:
    """The first page, standing still; the time it takes is the app's start, not a task's."""
    page.goto(url)
    Walker(page).settle(time.monotonic())
    return page


def _first_line(failed: Exception) -> str:
    return str(failed).splitlines()[0] if str(failed) else type(failed).__name__


if __name__ == "__main__":
    sys.exit(main())
