"""What stands over every page: whose house it is, which harvest, and the way to the other pages."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import streamlit as st

from origin_compare.answers import listed
from origin_compare.errors import OriginCompareError
from origin_compare.front import parts
from origin_compare.places import DEMO
from origin_compare.typed import as_html

if TYPE_CHECKING:
    from streamlit.navigation.page import StreamlitPage

GROUPS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    ("", (("week", "This week"),)),
    (
        "Batches",
        (("season", "Season"), ("fermentations", "Fermentations"), ("chain", "Chain")),
    ),
    (
        "Flavour",
        (
            ("panel", "Panel"),
            ("tasting", "Tasting"),
            ("drivers", "Drivers"),
            ("field", "Field"),
            ("trials", "Trials"),
        ),
    ),
    ("Stock", (("families", "Blending"),)),
    ("Barley", (("growers", "Growers"),)),
    ("Records", (("intake", "Intake"), ("trace", "Trace"), ("rules", "Rules"))),
)
"""The pages by who asks: address and title of each. Every one stands in sight at any width."""

_CSS = """
<style>
[data-testid="stHeader"] {background: transparent; pointer-events: none;}
[data-testid="stHeader"] * {pointer-events: auto;}
.stMainBlockContainer {padding-top: .9rem;}
.oc-mast {margin: 0 3rem 0 0; font-size: 1rem;}
.oc-mast b {font-family: serif; font-size: 1.15rem;}
.oc-invented {border: 1px solid currentColor; border-radius: .25rem; padding: 0 .4rem;}
.oc-printed {display: none;}
.st-key-noprint_way {row-gap: 0; column-gap: 1.1rem; border-bottom: 1px solid #8886;
  padding-bottom: .25rem; margin-bottom: .2rem;}
[class*="st-key-way_"] {column-gap: 0; align-items: center;}
.st-key-noprint_way .oc-group {font-size: .78rem; margin: 0 .15rem 0 0;
  text-transform: uppercase; letter-spacing: .04em;}
.st-key-noprint_way a {padding: .1rem .4rem !important; min-height: 1.7rem;}
@media print {.oc-printed {display: inline;}}
</style>
"""


def all_pages() -> dict[str, StreamlitPage]:
    """The pages by name, each with its own address."""
    folder = parts.pages_folder()
    return {
        name: st.Page(folder / f"{name}.py", title=title, url_path=name)
        for _, pages in GROUPS
        for name, title in pages
    }


def entry(pages: dict[str, StreamlitPage]) -> StreamlitPage:
    """What the bare address leads to: the first page."""
    first = next(iter(pages.values()))

    def start() -> None:
        st.switch_page(first, query_params=st.query_params.to_dict())

    return st.Page(start, title="Start", default=True, visibility="hidden")


def masthead(current: StreamlitPage) -> None:
    """The house's name, the harvest looked at, and a link to every page."""
    st.html(_CSS)
    st.html(f'<div class="oc-mast">{_whose()}</div>')
    with st.container(horizontal=True, key="noprint_way"):
        for group, pages in GROUPS:
            _group(group, pages, current)


def house_name() -> str:
    """The distillery's name by the house rules; the program's where none is given."""
    return parts.store().rules().distillery or "origin_compare"


def _group(group: str, pages: tuple[tuple[str, str], ...], current: StreamlitPage) -> None:
    with st.container(horizontal=True, width="content", key=f"way_{group.lower() or 'first'}"):
        if len(pages) > 1:
            st.html(f'<p class="oc-group">{group}</p>', width="content")
        for name, title in pages:
            here = name == current.url_path
            st.page_link(parts.page_file(name), label=f"**{title}**" if here else title)


def _whose() -> str:
    try:
        name, years = house_name(), parts.store().seasons()
        invented = DEMO in set(parts.store().intakes()["who"])
    except OriginCompareError:  # the page below says what is wrong with the store
        return "<b>origin_compare</b>"
    said = f"<b>{as_html(name)}</b>"
    if years:
        said += f" · {_harvest(years)}"
    if invented:
        said += ' · <span class="oc-invented">invented data</span>'
    return f'{said}<span class="oc-printed"> · printed {date.today():%Y-%m-%d}</span>'


def _harvest(years: list[int]) -> str:
    """The harvest chosen, or all of them."""
    chosen = st.session_state.get("season") or st.query_params.get("season")
    if chosen in {str(year) for year in years}:
        return f"harvest {chosen}"
    one = "harvest" if len(years) == 1 else "harvests"
    return f"{one} {listed([str(year) for year in years], 3)}"
