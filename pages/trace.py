"""Where does this figure come from?"""

import streamlit as st

from origin_compare import words
from origin_compare.front import parts
from origin_compare.front import records_page as pieces
from origin_compare.front.asked import questions
from origin_compare.trace.sources import figure_sources, traceable
from origin_compare.typed import plain


def recorded_cell() -> None:
    chosen = pieces.cell_choice()
    if chosen is None:
        return
    sheet, key, column = chosen
    table, traced = pieces.row_table(sheet, key)
    one = traced[column]
    parts.sentence(one.sentence())
    parts.show_table(table, "row")
    pieces.original_button(one)
    parts.rests_on(one.rests_on())
    if len(one.corrections):
        st.header("Corrected since", anchor=False)
        parts.show_table(one.corrections, "row_corrections")
    st.header("Correct this cell", anchor=False)
    pieces.correct_cell(sheet, key, column, one)
    st.caption(
        "A correction changes the store, not the file: mend the file as well, or the next intake "
        "of it will say that it contradicts the store."
    )


def worked_out_figure() -> None:
    asked = questions(())
    with st.container(horizontal=True, key="noprint_figure"):
        batch = pieces.choose("Batch", asked.season.batches["batch_id"].tolist(), "of", 200)
        with st.spinner("Fitting the fermentation curves …"):
            derived = asked.derived
        attributes = sorted(asked.season.sheets["scores"]["attribute"].dropna().unique())
        figures = [*traceable(asked.batches), *(f"score_{name}" for name in attributes)]
        figure = pieces.pick_by_label("Figure", figures, "figure", width=340)
    profile = asked.profile_if_tasted() if figure.startswith("score_") else None
    sources = figure_sources(asked.season, derived, batch, figure, profile)
    parts.sentence(sources.sentence())
    cells = pieces.placed(sources)
    parts.show_table(cells.assign(column=cells["column"].map(words.label)), "cells")
    parts.rests_on(sources.rests_on())
    if len(cells):
        told = [
            f"{row['sheet']}: {row['row']}, {words.label(row['column'])}"
            for row in cells.to_dict("records")
        ]
        with st.container(horizontal=True, vertical_alignment="bottom", key="noprint_open"):
            at = st.selectbox(
                "Cell", range(len(told)), format_func=lambda one: told[one], width=520
            )
            pieces.link_to_cell(sources, at or 0)


with parts.question("Where does this figure come from?"):
    if not parts.store().filled_sheets():
        parts.begin_here()
    done = st.session_state.pop("corrected", None)
    if done:
        st.success(plain(done), icon=":material/check_circle:")
    pieces.from_address()
    if pieces.cell_or_figure() == pieces.FIGURE:
        worked_out_figure()
    else:
        recorded_cell()
    pieces.to_address()
    pieces.corrections_table(parts.store().corrections())
