"""One user in one tab: clicks are counted, and how long the page took to stand still."""

from __future__ import annotations

import re
import time
from collections.abc import Sequence
from pathlib import Path

from playwright.sync_api import Locator, Page, expect

MOST_MS = 180_000
_STILL = (
    "() => document.querySelector('h1') && !document.querySelector('[data-testid=stSpinner],"
    "[data-testid=stSkeleton],[data-testid=stStatusWidgetRunningIcon]')"
)


class Walker:
    """`clicks` made and `seconds` waited since the tab was handed over."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.clicks = 0
        self.seconds = 0.0

    def link(self, name: str) -> None:
        """Follow a link."""
        self._click(self.page.get_by_role("link", name=name, exact=True).first)

    def link_like(self, words: str) -> None:
        """Follow the first link whose words match."""
        self._click(self.page.get_by_role("link", name=re.compile(words)).first)

    def button(self, words: str) -> None:
        """Press the first button whose words match."""
        self._click(self.page.get_by_role("button", name=re.compile(words)).first)

    def choose(self, label: str, option: str) -> None:
        """Choose by typing in a box: one click on it, one on what is found."""
        box = self.page.get_by_role("combobox", name=re.compile(f"{re.escape(label)}$")).last
        box.click(timeout=MOST_MS)
        self.clicks += 1
        self.page.keyboard.type(option)
        self._click(self.page.get_by_role("option", name=option, exact=True).first)

    def drop(self, files: Sequence[Path]) -> None:
        """Drop files: counted as one click."""
        begun = time.monotonic()
        self.page.locator("input[type=file]").first.set_input_files([str(one) for one in files])
        self.clicks += 1
        self.settle(begun)

    def download(self, words: str) -> bytes:
        """Press a button that hands a file over; its content."""
        begun = time.monotonic()
        with self.page.expect_download(timeout=MOST_MS) as waiting:
            self.page.get_by_role("button", name=re.compile(words)).first.click(timeout=MOST_MS)
        self.clicks += 1
        self.seconds += time.monotonic() - begun
        return Path(waiting.value.path()).read_bytes()

    def sees(self, words: str) -> None:
        """The answer stands on the page; the wait for it counts."""
        begun = time.monotonic()
        expect(self.page.get_by_text(re.compile(words)).first).to_be_visible(timeout=MOST_MS)
        self.seconds += time.monotonic() - begun

    def settle(self, begun: float) -> None:
        """Wait until nothing is being computed; the wait since `begun` is added."""
        self.page.wait_for_timeout(250)
        self.page.wait_for_function(_STILL, timeout=MOST_MS)
        self.seconds += time.monotonic() - begun

    def _click(self, what: Locator) -> None:
        begun = time.monotonic()
        what.click(timeout=MOST_MS)
        self.clicks += 1
        self.settle(begun)
