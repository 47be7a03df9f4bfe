"""What do we taste next, and in which order?"""

import streamlit as st

from origin_compare.front import parts
from origin_compare.front import tasting_page as tasting
from origin_compare.front.asked import questions
from origin_compare.typed import plain

with parts.question("What do we taste next, and in which order?"):
    asked = questions(parts.season_choice())
    said = st.session_state.pop("tasting_said", None)
    if said:
        st.success(plain(said), icon=":material/check_circle:")
    waiting = tasting.due(asked)
    plan = tasting.drawn_up(asked, waiting)
    if plan is not None:
        tasting.show(plan, waiting)
        tasting.papers(plan, waiting, "new")
        tasting.keep(plan)
    tasting.tastings_kept(waiting)
    st.header("Batches in the order in which they wait", anchor=False)
    parts.show_table(waiting.table(), "due", height=280)
    parts.rests_on(waiting.rests_on())
