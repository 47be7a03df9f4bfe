"""What should the next batches test?"""

import streamlit as st

from origin_compare.front import parts
from origin_compare.front.asked import questions
from origin_compare.front.trials import trials_form as form
from origin_compare.front.trials import trials_page as pieces
from origin_compare.typed import plain

with parts.question("What should the next batches test?"):
    years = parts.season_choice()
    asked = questions(years)
    answer = st.container()
    with st.spinner("Adjusting the panel's scores …"):
        doubt = form.doubt(asked)
    st.caption(plain(doubt.says))
    wished = form.wish(asked, doubt)
    if wished is not None:
        with st.spinner("Choosing the settings that tell most …"):
            plan = pieces.plan(asked, wished)
        with answer:
            pieces.answer(plan, wished)
        pieces.runs(plan, wished)
        st.header("What they would show", anchor=False)
        pieces.seen(pieces.power(plan, wished))
        st.header("Before you make them", anchor=False)
        pieces.cautions(plan, wished, asked)
        with st.spinner("Planning each choice anew …"):
            options = pieces.options(asked, plan, wished)
        if len(options.options) > 1:
            st.header("What each choice costs", anchor=False)
            pieces.otherwise(options)
        st.header("More batches, or fewer?", anchor=False)
        with st.spinner("Planning other numbers of batches …"):
            sizes = pieces.sizes(asked, wished)
        pieces.more_or_fewer(sizes)
