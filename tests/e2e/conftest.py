"""A running app and a headless browser for the walk through every page."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@dataclass
class App:
    """A started app: its address, its process and the port."""

    url: str
    process: subprocess.Popen[str]
    port: int

    def stop(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(timeout=20)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start(
    *words: str,
    home: Path,
    verb: tuple[str, ...] = ("open", "--no-browser"),
    port: int | None = None,
) -> App:
    """`origin-compare open` (or `verb`) with these words, in its own home, once it answers."""
    port = port or free_port()
    command = [sys.executable, "-m", "origin_compare", *verb]
    process = subprocess.Popen(
        [*command, "--port", str(port), *words],
        env={**os.environ, "XDG_DATA_HOME": str(home), "ORIGIN_COMPARE_STORE": ""},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    app = App(f"http://127.0.0.1:{port}", process, port)
    _wait_until_it_answers(app)
    return app


def _wait_until_it_answers(app: App, seconds: float = 90) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if app.process.poll() is not None:
            raise AssertionError(f"the app stopped: {app.process.stdout.read()}")
        try:
            with urllib.request.urlopen(f"{app.url}/_stcore/health", timeout=2) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise AssertionError("the app did not answer in time")


@pytest.fixture(scope="session")
def demo_app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[App]:
    app = start("--demo", home=tmp_path_factory.mktemp("demo_home"))
    yield app
    if app.process.poll() is None:
        app.stop()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("CI has to have Chromium: install Debian's package chromium")
        pytest.skip("Chromium is not on this machine (Debian: apt-get install chromium)")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()


@pytest.fixture
def tab(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(
        viewport={"width": 1400, "height": 900}, accept_downloads=True, locale="en-GB"
    )
    page = context.new_page()
    page.set_default_timeout(30_000)
    yield page
    context.close()
