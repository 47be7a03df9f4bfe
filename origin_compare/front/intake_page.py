"""The intake page's pieces: a plan kept while its files lie there, headers, past intakes."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import partial

import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from origin_compare import words
from origin_compare.errors import OriginCompareError, StoreFault
from origin_compare.front import parts
from origin_compare.front.reading.said import told
from origin_compare.intake.asking.reading_plan import plans_as_toml
from origin_compare.intake.files.readers import Sources, read_sources
from origin_compare.intake.plan import IntakePlan, Progress
from origin_compare.intake.unplaced import Offer
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.typed import plain

Brought = list[tuple[str, bytes]]
MOST_SHOWN = 200
_LEAVE_OUT = "(leave it out)"
_PLACE = {"_file": "file", "_tab": "tab", "_row": "file_row"}


def planned(brought: Brought) -> tuple[Sources, IntakePlan]:
    """The files read, and what taking them in would do under what was said about them.

    Kept while files, answers and store stay as they are; an answer reads no file again.
    """
    prints = tuple((name, hashlib.sha256(content).hexdigest()) for name, content in brought)
    sources = st.session_state.get("intake_sources")
    kept = st.session_state.get("intake_plan")
    now = (parts.store_url(), parts.store().revision, prints, plans_as_toml(told()))
    if sources is None or sources[0] != prints or kept is None or kept[0] != now:
        with told_how_far() as progress:
            if sources is None or sources[0] != prints:
                sources = (prints, read_sources(brought))
            kept = (now, parts.store().plan(sources[1], progress, plans=told()))
        st.session_state["intake_sources"], st.session_state["intake_plan"] = sources, kept
    read: Sources = sources[1]
    plan: IntakePlan = kept[1]
    return read, plan


@contextmanager
def told_how_far() -> Iterator[Progress]:
    """A bar that says how far a long piece of work is and at what; gone when it is done."""
    place = st.empty()
    yield lambda share, what: _move(place, share, what)
    place.empty()


def _move(place: DeltaGenerator, share: float, what: str) -> None:
    place.progress(min(max(share, 0.0), 1.0), f"{what[:1].upper()}{what[1:]} …")


def what_would_change(plan: IntakePlan) -> None:
    """Per sheet the rows new, there already or contradicting; the new rows; old against new."""
    changes = plan.changes()
    if changes.empty:
        return
    st.header("What would change", anchor=False)
    parts.show_table(changes, "changes")
    against = plan.contradictions
    if len(against):
        st.subheader("Rows that contradict the store", anchor=False)
        st.markdown(
            "These rows stay out. If the store is wrong, correct the cell on **Trace**; if the "
            "file is wrong, mend it and send it again."
        )
        parts.show_table(against, "contradictions")
    fresh = [name for name, frame in plan.sheets.items() if len(frame)]
    if fresh:
        with st.expander("The new rows as they would be stored"):
            names = [f"{name} ({len(plan.sheets[name]):,})" for name in fresh]
            sheet = fresh[names.index(st.selectbox("New rows of", names, width=260) or names[0])]
            rows = plan.sheets[sheet][[*SHEETS[sheet].names(), "_file", "_tab", "_row"]]
            if len(rows) > MOST_SHOWN:
                st.caption(f"The first {MOST_SHOWN} of {len(rows):,}.")
            shown = rows.head(MOST_SHOWN).dropna(axis=1, how="all")
            parts.show_table(shown.rename(columns=_PLACE), f"new_{sheet}")


def ask_for_headers(offer: Offer) -> None:
    """Let the user say what a strange table is, once; the answer is remembered."""
    st.header(f"What is {plain(offer.label)}?", anchor=False)
    st.markdown("Its headers do not say which sheet it is. Say it once; it is remembered.")
    st.dataframe(offer.sample, hide_index=True, alt=f"First rows of {offer.label}")
    likely = [name for name, _ in offer.candidates]
    others = [name for name in SHEETS if name not in likely]
    sheet = st.selectbox(
        "Sheet",
        [*likely, *others],
        key=f"sheet_{offer.label}",
        format_func=lambda name: f"{name}: each row is {SHEETS[name].row_is}",
        width=460,
    )
    if sheet is None:
        return
    suggested = {column: header for header, column in offer.suggested.get(sheet, {}).items()}
    with st.form(f"map_{offer.label}_{sheet}", border=True):
        chosen = _column_choices(offer, sheet, suggested)
        if st.form_submit_button("Remember these headers", type="primary"):
            _remember(offer, sheet, chosen)


def ask_for_the_rest(offer: Offer) -> None:
    """Let the user say what the columns left out of a known table are, once."""
    sheet = offer.candidates[0][0]
    taken = set(offer.suggested[sheet].values())
    free = [one.name for one in SHEETS[sheet].columns if one.name not in taken]
    by_label = {words.label(name): name for name in free}
    with st.expander(
        f"Columns left out of {plain(offer.label)}: {plain(', '.join(offer.left_out))}"
    ):
        st.dataframe(
            offer.sample[list(offer.left_out)],
            hide_index=True,
            alt=f"First rows of the columns left out of {offer.label}",
        )
        with st.form(f"rest_{offer.label}", border=False):
            chosen = {
                header: st.selectbox(
                    f"{plain(header)} is",
                    [_LEAVE_OUT, *by_label],
                    key=f"rest_{offer.label}_{header}",
                    width=460,
                )
                for header in offer.left_out
            }
            if st.form_submit_button("Remember these columns", type="primary"):
                said = {head: by_label[str(one)] for head, one in chosen.items() if one in by_label}
                _remember(offer, sheet, said)


def _remember(offer: Offer, sheet: str, chosen: Mapping[str, str]) -> None:
    try:
        parts.store().remember_plan(offer.map_as(sheet, chosen))
    except OriginCompareError as fault:
        st.error(plain(fault), icon=":material/error:")
    else:
        st.rerun()


def _column_choices(offer: Offer, sheet: str, suggested: Mapping[str, str]) -> dict[str, str]:
    """Header -> column, as chosen in the form; columns on three to a row."""
    chosen: dict[str, str] = {}
    places = st.columns(3)
    for number, column in enumerate(SHEETS[sheet].columns):
        options = ["(not in this file)", *offer.headers]
        given = suggested.get(column.name)
        with places[number % 3]:
            header = st.selectbox(
                f"{words.label(column.name)}{' (needed)' if column.needed else ''}",
                options,
                index=options.index(given) if given in options else 0,
                key=f"map_{offer.label}_{sheet}_{column.name}",
                help=plain(column.says),
            )
        if header in offer.headers:
            chosen[str(header)] = column.name
    return chosen


def aside_as_zip(aside: Mapping[str, pd.DataFrame]) -> bytes:
    """One CSV per table, ready to be mended and sent again."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, frame in aside.items():
            stem = name.replace("/", "_").replace("\\", "_").removesuffix(".csv")
            archive.writestr(f"{stem}_to_mend.csv", parts.safe_csv(frame))
    return packed.getvalue()


def past_intakes() -> None:
    """What was taken in before, each with its files, what it set aside, and a way back."""
    intakes = parts.store().intakes()
    if intakes.empty:
        return
    st.header("Taken in before", anchor=False)
    parts.show_table(intakes, "intakes")
    numbers = [str(number) for number in intakes["intake_id"]]
    with st.container(horizontal=True, vertical_alignment="bottom"):
        number = int(parts.pick("Intake", numbers, "intake", width=140))
        _originals(number)
        _take_back(number)


def _originals(number: int) -> None:
    store = parts.store()
    files = store.files(number)["file"].tolist()
    if files:
        with st.popover("Original files", icon=":material/folder:"):
            for file in files:
                st.download_button(
                    plain(file),
                    data=partial(store.original, number, file),
                    file_name=file.rsplit("/", 1)[-1],
                    key=f"original_{number}_{file}",
                    on_click="ignore",
                    type="tertiary",
                )
    aside = store.set_aside(number)
    if aside:
        st.download_button(
            "Rows it set aside",
            data=lambda: aside_as_zip(aside),
            key=f"aside_{number}",
            file_name=f"set_aside_{number}.zip",
            mime="application/zip",
            on_click="ignore",
        )


def _take_back(number: int) -> None:
    with st.popover("Take it back", icon=":material/undo:"):
        st.markdown(
            f"Everything intake {number:d} brought leaves the store. Its files are no longer kept."
        )
        if st.button(f"Take back intake {number:d}", key=f"take_back_{number}"):
            try:
                gone = parts.store().take_back(number)
            except StoreFault as fault:
                st.error(plain(fault), icon=":material/error:")
            else:
                st.session_state["intake_taken"] = gone.sentence()
                st.rerun()
