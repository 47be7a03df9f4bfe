"""Pieces of the first page: what needs a word, what is due, what came in, the season in brief."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from origin_compare import words
from origin_compare.answers import count
from origin_compare.errors import NotEnoughData
from origin_compare.front import parts
from origin_compare.review import in_four_sentences as four_sentences
from origin_compare.review import latest_harvest
from origin_compare.typed import plain

if TYPE_CHECKING:
    from origin_compare.drivers import Separability
    from origin_compare.questions import Questions
    from origin_compare.review import ThisWeek
    from origin_compare.review.needs_a_word import NeedsWord

_CSS = """
<style>
.st-key-week_rows p {font-size: .94rem; margin-bottom: .2rem;}
.st-key-week_rows > div {border-top: 1px solid #8884; padding: .3rem 0 .7rem 0;}
.st-key-week_rows > div:first-child {border-top: none; padding: 0 0 .6rem 0;}
.st-key-week_rows [data-testid="stColumn"] {min-width: 0 !important;}
.st-key-week_rows [data-testid="stHorizontalBlock"] {flex-wrap: nowrap !important;}
.st-key-week_rows a {padding: 0 .5rem 0 0 !important; min-height: 1.5rem;}
.st-key-week_sentences a {padding: .15rem 0 !important; height: auto; align-items: flex-start;}
.st-key-week_sentences a * {white-space: normal !important; overflow: visible !important;
  line-height: 1.4;}
</style>
"""
_SHOWN = 6
_LAST = 3
_WIDTHS = (3, 5, 8, 6)
_LEADS = {
    "season": "How the lots compared",
    "panel": "What the panel can tell apart",
    "drivers": "What goes with flavour",
    "trials": "Which trial would part them?",
}


def now(asked: Questions) -> ThisWeek:
    """The latest harvest as it stands."""
    return asked.this_week(latest_harvest(asked.season.batches, parts.store().seasons()))


def needs_a_word_and_due(asked: Questions, week: ThisWeek) -> None:
    """The list of batches that need a word, and beside it what is due."""
    st.html(_CSS)
    with st.container(key="pair_week"):
        left, right = st.columns([2, 1], gap="large")
        with left:
            _needs_a_word(week)
        with right:
            _due(week)
            _came_in()
            _in_four_sentences(asked, week)


def _needs_a_word(week: ThisWeek) -> None:
    st.subheader("Needs a word", anchor=False)
    if not week.words.words:
        st.markdown("No batch does.")
        return
    with st.container(key="week_rows", gap=None):
        for place, heading in zip(
            st.columns(_WIDTHS), ("Batch", "Began", "Why", "Next check"), strict=True
        ):
            place.caption(heading)
        for one in week.words.words[:_SHOWN]:
            _row(one)
    with st.expander(
        f"All {count(len(week.words.words), 'batch')} as a table"
        if len(week.words.words) > _SHOWN
        else "The same as a table"
    ):
        parts.show_table(week.table().drop(columns="running"), "needs_a_word")


def _row(one: NeedsWord) -> None:
    batch, when, why, check = st.columns(_WIDTHS)
    with batch, st.container(horizontal=True, gap=None):
        _batch_link(one.batch_id)
        _grower_links(one.growers)
    when.markdown("  \n".join(plain(said) for said in (one.hours(), one.clock()) if said))
    why.markdown(plain(words.begun(one.why)))
    check.markdown(plain(words.begun(one.next_check)))


def _batch_link(batch_id: str) -> None:
    st.page_link(
        parts.page_file("fermentations"),
        label=f"**{plain(batch_id)}**",
        help="How it ran",
        query_params={"batch": batch_id, "season": "all"},
    )


def _grower_links(growers: tuple[str, ...]) -> None:
    if len(growers) > 2:
        st.caption(f"{len(growers)} growers")
        return
    for grower in growers:
        st.page_link(
            parts.page_file("growers"),
            label=plain(grower),
            help="What can be told to this grower",
            query_params={"grower": grower},
        )


def _due(week: ThisWeek) -> None:
    st.subheader("Due", anchor=False)
    if not week.running:
        st.markdown("No reading: nothing is fermenting.")
    for batch_id, said in week.readings_due():
        st.page_link(
            parts.page_file("fermentations"),
            label=f"Read {plain(said)}",
            icon=":material/water_drop:",
            query_params={"batch": batch_id, "season": "all"},
        )
    st.page_link(
        parts.page_file("tasting"), label=plain(_tastings(week)), icon=":material/wine_bar:"
    )


def _tastings(week: ThisWeek) -> str:
    never = len(week.tastings.never)
    if never:
        return f"Taste {count(never, 'batch')} not tasted yet"
    once = int(week.tastings.batches["n_tastings"].eq(1).sum())
    if once:
        return f"Taste again: {count(once, 'batch')} tasted only once"
    return "No tasting is due"


def _came_in() -> None:
    st.subheader("Came in last", anchor=False)
    taken = parts.store().intakes().head(_LAST)
    clock = taken["taken_at"].dt.tz_convert(parts.store().rules().time_zone)
    for at, who, rows, faults in zip(
        clock, taken["who"], taken["rows"].tolist(), taken["faults"].tolist(), strict=True
    ):
        st.markdown(
            f"{at:%a %d %b %H:%M}{f' from {plain(who)}' if who else ''}: {count(rows, 'row')}, "
            f"{count(faults, 'fault') if faults else 'no fault'} found."
        )
    aside = _set_aside(int(taken["intake_id"].iloc[0])) if len(taken) else 0
    st.page_link(
        parts.page_file("intake"),
        label=f"{count(aside, 'row')} set aside by the last intake" if aside else "Bring files in",
        icon=":material/upload_file:",
    )


def _set_aside(intake_id: int) -> int:
    """Rows the intake set aside."""
    return sum(len(table) for table in parts.store().set_aside(intake_id).values())


def _in_four_sentences(asked: Questions, week: ThisWeek) -> None:
    name = "The season" if week.harvest is None else f"Harvest {week.harvest}"
    st.subheader(plain(f"{name} in four sentences"), anchor=False)
    with st.spinner("Adjusting the panel's scores …"):
        told = four_sentences(week.review, asked.profile_if_tasted(), _tied(asked))
    with st.container(key="week_sentences", gap=None):
        for page, said in told:
            st.page_link(
                parts.page_file(page),
                label=plain(said),
                icon=":material/arrow_forward:",
                help=_LEADS[page],
            )


def _tied(asked: Questions) -> Separability | None:
    try:
        return asked.separable
    except NotEnoughData:
        return None
