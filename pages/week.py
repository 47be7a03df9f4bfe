"""What does this week call for?"""

import streamlit as st

from origin_compare.front import parts
from origin_compare.front import week_page as week
from origin_compare.front.asked import questions

with parts.question("What does this week call for?"):
    parts.begin_or_say_what_lacks()
    asked = questions(())
    with st.spinner("Looking at the vessels …"):
        now = week.now(asked)
    parts.sentence(now.sentence())
    week.needs_a_word_and_due(asked, now)
    parts.rests_on(now.rests_on())
