"""Starts the app on this machine only, or one sitting's scoring page, and stops it cleanly."""

from __future__ import annotations

import errno
import os
import signal
import socket
import tomllib
import webbrowser
from threading import Timer
from typing import Any

import streamlit as st

from origin_compare.errors import OriginCompareError
from origin_compare.places import FRONT

HOME = "127.0.0.1"


class PortTaken(OriginCompareError):
    """The port asked for is in use."""


class NotOurAddress(OriginCompareError):
    """The address asked for is not one of this machine."""


def launch(store_url: str, port: int = 8610, headless: bool = True) -> None:
    """Serve the app on 127.0.0.1 until stopped by Ctrl-C or a SIGTERM.

    `store_url`: where the store lies. `headless`: leave the browser alone.
    Raises `PortTaken` if something already listens on `port`.
    """
    _refuse_a_taken_port(port)
    os.environ["ORIGIN_COMPARE_STORE"] = store_url
    print(f"origin_compare is at http://{HOME}:{port} - stop it with Ctrl-C", flush=True)
    if not headless:
        Timer(1.5, webbrowser.open, [f"http://{HOME}:{port}"]).start()
    _serve("app.py", port, HOME)


def launch_scoring(store_url: str, tasting_id: str, port: int = 8611, address: str = HOME) -> None:
    """Serve the scoring page of one tasting, and no other page, until stopped.

    `address`: an address of this machine; the default is reached from this machine alone.
    Raises `PortTaken`, and `NotOurAddress` for an address that is not one of this machine.
    """
    _refuse_a_taken_port(port, address)
    os.environ["ORIGIN_COMPARE_STORE"] = store_url
    os.environ["ORIGIN_COMPARE_TASTING"] = tasting_id
    print(f"Tasting {tasting_id} is open for scores - stop it with Ctrl-C", flush=True)
    _serve("scoring_app.py", port, address)


def _serve(entry: str, port: int, address: str) -> None:
    # The server re-raises the signal after its own clean stop; swallow it, so that Ctrl-C
    # ends with exit code 0 and no traceback.
    for stop in (signal.SIGTERM, signal.SIGINT):
        signal.signal(stop, lambda *_: None)
    st.App(FRONT / entry).run(config=server_settings(port, address))


def server_settings(port: int, address: str = HOME) -> dict[str, Any]:
    """The server's settings: one address, known host names only, nothing sent out."""
    settings: dict[str, Any] = {
        "server.address": address,
        "server.port": port,
        "server.headless": True,
        "server.allowedHosts": [HOME, "localhost"] if address == HOME else [address],
        "server.enableXsrfProtection": True,
        "server.maxUploadSize": 256,
        "server.fileWatcherType": "none",
        "server.enableAgentApi": False,
        "server.showEmailPrompt": False,
        "browser.gatherUsageStats": False,
        "client.showErrorDetails": "none",
        "client.toolbarMode": "viewer",
    }
    return settings | _theme()


def _theme() -> dict[str, Any]:
    # The packaged config.toml is only read by `streamlit run`; here it has to be handed over.
    with (FRONT / ".streamlit" / "config.toml").open("rb") as file:
        return _flat("theme", tomllib.load(file)["theme"])


def _flat(prefix: str, table: dict[str, Any]) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for name, value in table.items():
        dotted = f"{prefix}.{name}"
        flat |= _flat(dotted, value) if isinstance(value, dict) else {dotted: value}
    return flat


def _refuse_a_taken_port(port: int, address: str = HOME) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
        except OSError as cause:
            if isinstance(cause, socket.gaierror) or cause.errno == errno.EADDRNOTAVAIL:
                raise NotOurAddress(
                    f"{address} is not an address of this machine. Give the one it has in the "
                    "house network, or leave --at out to serve this machine alone."
                ) from cause
            raise PortTaken(
                f"Port {port} is in use on this machine. Stop what runs there, "
                f"or name another with --port {port + 1}."
            ) from cause
