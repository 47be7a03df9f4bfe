"""Which batches left the house style, when and why?"""

import streamlit as st

from origin_compare.front import fermentations_page as fermentations
from origin_compare.front import parts
from origin_compare.front.asked import questions
from origin_compare.typed import plain

with parts.question("Which batches left the house style, when and why?"):
    years = parts.season_choice()
    season = questions(years)
    if years:
        st.caption(
            f"Only harvest {years[0]:d} is looked at: the house's normal range is drawn from its "
            "batches alone, so a batch can be judged otherwise here than under all harvests."
        )
    top = st.container()  # the answer stands above the choice it hangs on
    asked = fermentations.accepted(season)
    with top:
        fermentations.at_a_glance(asked)
        parts.need_a_word(asked)
    fermentations.one_batch(asked)
    batch = st.session_state.get("batch") or asked.season.batches["batch_id"].iloc[0]
    st.page_link(
        parts.page_file("trace"),
        label=f"Where do the figures of {plain(batch)} come from?",
        icon=":material/search:",
        query_params={"what": "a worked-out figure", "of": str(batch)},
    )
    fermentations.side_by_side(asked)
    fermentations.caution()
