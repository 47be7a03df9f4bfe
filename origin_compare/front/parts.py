"""What all pages share: the frame, the store, cached answers, and how an answer is laid out."""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from origin_compare import words
from origin_compare.answers import Answer, listed
from origin_compare.errors import NotEnoughData, OriginCompareError
from origin_compare.places import default_store_url, pages_folder
from origin_compare.reports.exports import safe_csv
from origin_compare.typed import as_html, plain

if TYPE_CHECKING:
    import plotly.graph_objects as go

    from origin_compare.questions import Questions
    from origin_compare.store.store import Store
    from origin_compare.trace.leads import Leading

_MOST_LINKS = 8

_CSS = """
<style>
.oc-answer {font-size: 1.18rem; line-height: 1.5; max-width: 62rem; margin: 0 0 .4rem 0;}
.oc-rests {font-size: .88rem; opacity: .78; max-width: 62rem; margin: .2rem 0 .6rem 0;}
.stMainBlockContainer {padding-top: 4.2rem; padding-bottom: 3rem; max-width: 1500px;}
/* Captions stay under the text, yet at 4.5:1 on their ground in either theme. */
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] p
  {color: inherit !important; opacity: .86;}
/* What is chosen reads as plainly as the rest, and is told by weight as well as by colour. */
.stButtonGroup button[aria-checked="true"], [role="tab"][aria-selected="true"]
  {color: inherit !important;}
.stButtonGroup button[aria-checked="true"] p, [role="tab"][aria-selected="true"] p
  {font-weight: 600 !important;}
h1 {font-size: 2.0rem !important; padding-bottom: .6rem !important;}
h2 {font-size: 1.35rem !important;} h3 {font-size: 1.12rem !important;}
[class*="st-key-pair"] [data-testid="stHorizontalBlock"] {align-items: flex-start;}
/* Under a table its download, and beside that where a chosen cell came from, on one line. */
[class*="st-key-noprint_under"] {align-items: center !important; row-gap: 0;}
[class*="st-key-noprint_under"] [data-testid="stCaptionContainer"],
[class*="st-key-noprint_under"] [data-testid="stCaptionContainer"] p {margin: 0;}
@media screen and (max-width: 1100px) {
  [class*="st-key-pair"] > [data-testid="stLayoutWrapper"] > [data-testid="stHorizontalBlock"],
  [class*="st-key-pair"] > [data-testid="stHorizontalBlock"] {flex-wrap: wrap;}
  [class*="st-key-pair"] [data-testid="stColumn"] {min-width: 100% !important;}
}
@media print {
  header, [data-testid="stHeader"], [data-testid="stToolbar"], .stDownloadButton,
  [class*="st-key-noprint"], [data-testid="stSidebar"] {display: none !important;}
  .stMainBlockContainer {padding: 0 !important; max-width: none !important; zoom: .52;}
  [data-testid="stHorizontalBlock"] {display: flex !important; flex-wrap: nowrap !important;}
  [data-testid="stColumn"] {min-width: 0 !important;}
  .stApp, .stMain, [data-testid="stAppViewContainer"] {position: static !important;
     overflow: visible !important; height: auto !important;}
  @page {size: A4; margin: 12mm;}
}
</style>
"""


def page_file(name: str) -> Path:
    """The script of a page, for links to it."""
    return pages_folder() / f"{name}.py"


def frame() -> None:
    """The styles every page shares."""
    st.html(_CSS)


def is_dark() -> bool:
    """Whether the reader's page is dark."""
    return st.context.theme.type == "dark"


def store_url() -> str:
    """Where the store lies that this app was opened on."""
    return os.environ.get("ORIGIN_COMPARE_STORE") or default_store_url()


@st.cache_resource(max_entries=4, show_spinner=False)
def _opened(url: str) -> Store:
    from origin_compare.store.store import open_store

    return open_store(url)


def store() -> Store:
    """The store this app was started on."""
    return _opened(store_url())


@contextmanager
def question(title: str) -> Iterator[None]:
    """A page under its question; what goes wrong is said in words, never as a traceback."""
    st.title(title, anchor=False)
    try:
        yield
    except OriginCompareError as fault:
        st.warning(plain(fault), icon=":material/info:")
    except Exception:
        logging.getLogger("origin_compare").exception("page failed: %s", title)
        st.error(
            "This page could not be drawn. Nothing in the store was changed. "
            "The cause is in the window where origin_compare was started; "
            "please report it with the files that led here.",
            icon=":material/error:",
        )


def begin_here() -> None:
    """What an empty store shows: how to begin."""
    st.markdown(
        '<p class="oc-answer">There is nothing in this store yet.</p>', unsafe_allow_html=True
    )
    st.markdown(
        "1. Put your sheets (growers, lots, malts, mashes, fermentations, readings, spirits, "
        "scores) in one folder or zip, as CSV or XLSX. Start with what you have.\n"
        "2. Open **Intake**, drop them in, and read what it found. Nothing is stored until "
        "you say so.\n"
        "3. Come back here."
    )
    st.page_link(page_file("intake"), label="Go to Intake", icon=":material/upload_file:")
    st.caption(
        "To look around first, stop the app and start it with "
        "`origin-compare open --demo`: an invented distillery with two harvests."
    )
    st.stop()


def season_choice() -> tuple[int, ...]:
    """The harvests looked at, kept in the address as `?season=`; none named is all on record.

    Stops on an empty store.
    """
    begin_or_say_what_lacks()
    years = store().seasons()
    if not years:
        return ()
    options = ["all", *[str(year) for year in years]]
    with st.container(key="noprint_season"):
        chosen = st.segmented_control(
            "Harvest",
            options,
            default="all",
            key="season",
            bind="query-params",
            persist_state="session",
        )
    return () if chosen in (None, "all") else (int(chosen),)


_CHAIN = {
    "growers": "soils",
    "lots": "whose barley it was, and of which harvest",
    "malts": "what was malted from which lot",
    "mashes": "which malt went into which batch",
    "fermentations": "which batches there are",
    "readings": "how they fermented",
    "spirits": "what they gave",
    "scores": "how they taste",
}
"""What each sheet of the chain tells."""


def begin_or_say_what_lacks() -> None:
    """Stops on an empty store; what is missing of the chain is said, since every answer hangs
    on it."""
    filled = store().filled_sheets()
    if not filled:
        begin_here()
    missing = [f"{name} ({tells})" for name, tells in _CHAIN.items() if name not in filled]
    if missing:
        st.caption(
            f"Not taken in yet: {plain(listed(missing, 8))}. What hangs on them is left out here."
        )


def pick(label: str, options: Sequence[str], key: str, **more: Any) -> str:
    """One of `options`, kept in the address under `key`, so that a bookmark reopens it.

    Raises `NotEnoughData` where there is none.
    """
    if not options:
        raise NotEnoughData(
            f"There is no {label.lower()} to choose: no sheet taken in so far names one here."
        )
    chosen = st.selectbox(
        label, options, key=key, bind="query-params", persist_state="session", **more
    )
    return options[0] if chosen is None else chosen


def sentence(text: str) -> None:
    """The answer, in one sentence, before anything else."""
    st.html(f'<p class="oc-answer">{as_html(text)}</p>')


def rests_on(text: str) -> None:
    """What an answer rests on, in one quiet line."""
    st.html(f'<p class="oc-rests"><b>What this rests on.</b> {as_html(text)}</p>')


def figure_beside_table(
    figure: go.Figure,
    table: pd.DataFrame,
    name: str,
    says: str,
    shares: tuple[int, int] = (3, 2),
    table_height: int | None = None,
    leading: Leading | None = None,
) -> None:
    """A figure with its table beside it (below on a narrow screen) and the table's download.

    `name` is the file name of the download, `says` the figure in words for a screen reader;
    `leading`: as for `show_table`.
    """
    with st.container(key=f"pair_{name}"):
        left, right = st.columns(shares, gap="medium")
        with left:
            draw(figure, name, says)
        with right:
            show_table(table, name, height=table_height, leading=leading)


def draw(figure: go.Figure, key: str, says: str) -> None:
    """One figure with its words for those who cannot see it."""
    st.plotly_chart(
        figure, theme=None, key=f"figure_{key}", alt=says, config={"displayModeBar": False}
    )


def show_table(
    table: pd.DataFrame,
    name: str,
    height: int | None = None,
    leading: Leading | None = None,
) -> None:
    """The table in plain words with units, figures rounded to what they bear, and its download.

    A column without a single value is left out of the view; the download holds it. With `leading`
    (`harvest.leads.leading`) a cell chosen shows links to the recorded cells behind it.
    """
    seen = table.dropna(axis=1, how="all") if len(table) else table
    shown = words.rounded(_in_words(_days(seen))).rename(
        columns=lambda column: words.label(str(column))
    )
    more: dict[str, Any] = {} if height is None else {"height": height}
    if leading:
        more |= {"on_select": "rerun", "selection_mode": "single-cell"}
    drawn = st.dataframe(
        shown,
        hide_index=True,
        placeholder="",
        key=f"t_{name}",
        column_config=_formats(seen),
        alt=f"Table: {name.replace('_', ' ')}",
        **more,
    )
    with st.container(horizontal=True, vertical_alignment="center", key=f"noprint_under_{name}"):
        download(table, name)
        if leading:
            _trace_links(seen, list(shown.columns), drawn.selection.cells, leading)


def _trace_links(
    table: pd.DataFrame,
    labels: list[str],
    cells: Sequence[tuple[int, str]],
    leading: Leading,
) -> None:
    """Links from the cell chosen to where its figure came from."""
    if not cells:
        st.caption("Choose a cell to see where it came from.")
        return
    at, label = cells[0]
    row = {str(column): cell for column, cell in table.iloc[at].items()}
    found = leading(row, str(table.columns[labels.index(label)]))
    for one in found[:_MOST_LINKS]:
        st.page_link(
            page_file("trace"),
            label=f"Trace {plain(one.says)}",
            icon=":material/search:",
            query_params=dict(one.query),
        )
    if not found:
        st.caption("No single recorded cell stands behind this one.")


def _in_words(table: pd.DataFrame) -> pd.DataFrame:
    """Cells that name a column, such as `length_h`, and chances, as people say them."""
    names = [name for name in ("process", "variable", "first", "second") if name in table]
    chances = [name for name in ("p", "q", "p_adjusted") if name in table]
    return table.assign(
        **{name: table[name].map(words.label) for name in names},
        **{name: table[name].map(words.chance) for name in chances},
    )


def _days(table: pd.DataFrame) -> pd.DataFrame:
    """Moments that are all midnight are days, and shown as such."""
    shown = table.copy()
    for column in shown.select_dtypes(["datetime", "datetimetz"]):
        filled = shown[column].dropna()
        whole = (filled == filled.dt.normalize()).all()
        shown[column] = shown[column].dt.strftime("%Y-%m-%d" if whole else "%Y-%m-%d %H:%M")
    return shown


def download(table: pd.DataFrame, name: str) -> None:
    """A button that hands over a table as CSV."""
    st.download_button(
        "Download this table (CSV)",
        data=lambda: safe_csv(table),
        file_name=f"{name}.csv",
        mime="text/csv",
        key=f"download_{name}",
        on_click="ignore",
        icon=":material/download:",
        type="tertiary",
    )


def help_with(answer: Answer, name: str, figure: go.Figure, says: str, **more: Any) -> None:
    """An answer in the house's order: sentence, figure beside table, what it rests on."""
    sentence(answer.sentence())
    figure_beside_table(figure, answer.table(), name, says, **more)
    rests_on(answer.rests_on())


def need_a_word(asked: Questions) -> None:
    """The one list of batches that need a word, the same on every page that shows it."""
    st.header("Batches that need a word", anchor=False)
    found = asked.needs_a_word
    sentence(found.sentence())
    if found.words:
        show_table(found.table().drop(columns="running"), "need_a_word")
    rests_on(found.rests_on())


def _formats(table: pd.DataFrame) -> dict[str, Any]:
    formats: dict[str, Any] = {}
    for column in table.columns:
        digits = words.decimals(str(column))
        if digits is not None and pd.api.types.is_numeric_dtype(table[column]):
            formats[words.label(str(column))] = st.column_config.NumberColumn(format=f"%.{digits}f")
    return formats
