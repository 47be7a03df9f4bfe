"""How did the season's lots compare?"""

import streamlit as st

from origin_compare import figures
from origin_compare.front import parts
from origin_compare.front.asked import questions
from origin_compare.trace.leads import leading

with parts.question("How did the season's lots compare?"):
    years = parts.season_choice()
    asked = questions(years)
    with st.spinner("Fitting the fermentation curves …"):
        review = asked.review
    parts.help_with(
        review,
        "season_review",
        figures.season_review(review, parts.is_dark()),
        "One dot per batch over the season for length, highest temperature, final pH and spirit "
        "yield; the house window is a pale band and batches outside it are named.",
        table_height=560,
        leading=leading(asked.season),
    )

    st.page_link(
        parts.page_file("trace"),
        label="Where do these figures come from?",
        icon=":material/search:",
        query_params={"what": "a worked-out figure"},
    )

    with st.spinner("Holding every batch against the house band …"):
        parts.need_a_word(asked)
    st.header("Lot by lot", anchor=False)
    parts.show_table(review.lots(), "lots", leading=leading(asked.season))
    st.header("The house rules behind the marks", anchor=False)
    parts.show_table(review.rules_used(), "rules_used")
