"""Where the pages, the demo and the user's own store lie, in a checkout or installed."""

from __future__ import annotations

import os
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent
FRONT = PACKAGE / "front"
_CHECKOUT = PACKAGE.parent


def _beside(checkout_name: str, installed_name: str) -> Path:
    in_checkout = _CHECKOUT / checkout_name
    if (_CHECKOUT / "pyproject.toml").exists() and in_checkout.is_dir():
        return in_checkout
    return PACKAGE / installed_name


DEMO = "the demo"
"""Who took the invented distillery's files in."""


def pages_folder() -> Path:
    """The Streamlit page scripts."""
    return _beside("pages", "_pages")


def demo_folder() -> Path:
    """The invented distillery's files, exactly as a user would drop them in."""
    return _beside("demo_harvests", "_demo_harvests") / "sheets"


def default_store_url() -> str:
    """`ORIGIN_COMPARE_STORE` if set, else a SQLite file in the user's data folder (created)."""
    url = os.environ.get("ORIGIN_COMPARE_STORE")
    if url:
        return url
    return f"sqlite:///{data_folder() / 'store.sqlite'}"


def data_folder() -> Path:
    """The user's data folder for this program (created)."""
    base = Path(os.environ.get("XDG_DATA_HOME", Path.home() / ".local" / "share"))
    folder = base / "origin_compare"
    folder.mkdir(parents=True, exist_ok=True)
    return folder
