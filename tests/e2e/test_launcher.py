"""The launcher: this machine only, known host names only, and a clean stop."""

from __future__ import annotations

import base64
import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from origin_compare.front.launcher import NotOurAddress, launch_scoring, server_settings
from tests.e2e.conftest import App, free_port, start


def _upgrade(port: int, host: str, origin: str) -> str:
    """The status line a websocket upgrade gets."""
    key = base64.b64encode(os.urandom(16)).decode()
    request = (
        f"GET /_stcore/stream HTTP/1.1\r\nHost: {host}\r\nOrigin: {origin}\r\n"
        "Upgrade: websocket\r\nConnection: Upgrade\r\n"
        f"Sec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", port), timeout=10) as link:
        link.sendall(request.encode())
        return link.recv(200).decode(errors="replace").splitlines()[0]


def _own_addresses() -> list[str]:
    """Addresses of this machine other than the loopback."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address: nothing is sent
        except OSError:
            return []
        return [probe.getsockname()[0]]


def test_it_listens_on_the_loopback_only(demo_app: App) -> None:
    with socket.create_connection(("127.0.0.1", demo_app.port), timeout=5):
        pass
    for address in _own_addresses():
        with pytest.raises(OSError):
            socket.create_connection((address, demo_app.port), timeout=2)


def test_own_host_names_are_let_in_and_foreign_ones_refused(demo_app: App) -> None:
    own = f"127.0.0.1:{demo_app.port}"
    assert " 101 " in f"{_upgrade(demo_app.port, own, f'http://{own}')} "
    # A name that resolves here from elsewhere, as in DNS rebinding, with an origin that matches it.
    foreign = f"evil.example:{demo_app.port}"
    assert " 403 " in f"{_upgrade(demo_app.port, foreign, f'http://{foreign}')} "


def test_it_stops_cleanly_on_a_signal(tmp_path: Path) -> None:
    app = start(home=tmp_path)
    assert app.stop() == 0
    assert "Traceback" not in app.process.stdout.read()


def test_ctrl_c_stops_it_cleanly_too(tmp_path: Path) -> None:
    app = start(home=tmp_path)
    app.process.send_signal(signal.SIGINT)
    assert app.process.wait(timeout=20) == 0
    assert "Traceback" not in app.process.stdout.read()


def test_a_taken_port_is_said_in_words(tmp_path: Path) -> None:
    with socket.socket() as holder:
        port = free_port()
        holder.bind(("127.0.0.1", port))
        holder.listen()
        done = subprocess.run(
            [sys.executable, "-m", "origin_compare", "open", "--no-browser", "--port", str(port)],
            env={**os.environ, "XDG_DATA_HOME": str(tmp_path)},
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
    assert done.returncode == 2
    assert (
        f"Port {port} is in use on this machine. Stop what runs there, "
        f"or name another with --port {port + 1}." in done.stderr + done.stdout
    )
    assert "Traceback" not in done.stderr


def test_nothing_is_sent_out_and_the_theme_goes_along() -> None:
    settings = server_settings(8610)
    assert settings["server.address"] == "127.0.0.1"
    assert settings["browser.gatherUsageStats"] is False
    assert settings["client.showErrorDetails"] == "none"
    assert settings["theme.light.primaryColor"] == "#0b5f8a"


def test_a_sitting_is_served_at_an_address_of_this_machine_only() -> None:
    wanted = (
        "192.0.2.7 is not an address of this machine. Give the one it has in the house network, "
        "or leave --at out to serve this machine alone."
    )
    with pytest.raises(NotOurAddress, match=f"^{re.escape(wanted)}$"):
        launch_scoring("sqlite://", "T1", free_port(), "192.0.2.7")
    assert server_settings(8611, "192.168.1.20")["server.allowedHosts"] == ["192.168.1.20"]
