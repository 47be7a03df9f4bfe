"""The season a page looks at, kept once per store revision and choice of harvests.

`Questions` keeps its answers; they are frozen, shared between sessions and never changed by a page.
"""

from __future__ import annotations

import streamlit as st

from origin_compare.front import parts
from origin_compare.questions import Questions, ask

Years = tuple[int, ...]


def questions(years: Years) -> Questions:
    """What can be asked of these harvests; of everything on record where none is named."""
    return _questions(parts.store_url(), parts.store().revision, years)


@st.cache_resource(max_entries=6, show_spinner="Joining the sheets, field to spirit …")
def _questions(url: str, revision: int, years: Years) -> Questions:
    return ask(parts.store().season(years or None))
