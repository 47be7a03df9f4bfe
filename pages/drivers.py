"""What goes with flavour here: process or origin, and what cannot be told apart yet?"""

import streamlit as st

from origin_compare.front import parts
from origin_compare.front.asked import questions
from origin_compare.front.flavour import drivers_page as pieces
from origin_compare.front.flavour import origins_page as of_origin

with parts.question("What goes with flavour here: process or origin?"):
    years = parts.season_choice()
    asked = questions(years)
    chosen = pieces.leave_out(asked)
    doubts = st.empty()
    with st.spinner("Adjusting the panel's scores …"):
        answers = pieces.answers(asked, chosen)
    if answers is None:
        with pieces.section("What these batches can tell apart"):
            pieces.told_apart(asked.separable)
        st.stop()
    with st.spinner("Splitting origin from process …"):
        pieces.season(answers)
    pieces.readings(asked, chosen, doubts)

    with pieces.section("What these batches can tell apart"):
        pieces.told_apart(answers.separable)
    pieces.shown("Origin or process, attribute by attribute", pieces.split, answers)
    with st.spinner("Estimating what goes with flavour …"):
        pieces.shown("Length, peak temperature and final pH", pieces.effects, answers)
    attribute = answers.profile.attributes[0]
    with pieces.section("One attribute, batch by batch"):
        attribute = pieces.attribute(answers)
        pieces.carried(answers, attribute)
    with pieces.section("At the same hour of every batch"):
        pieces.same_hour(answers, attribute)
    pieces.shown("Season or grower", of_origin.seasons, answers)
    with pieces.section("Growers side by side"):
        of_origin.origins(answers, attribute)
    with pieces.section("Field and malt"):
        of_origin.field(answers, attribute)
    pieces.shown("Does it foretell?", of_origin.foresight, answers)
