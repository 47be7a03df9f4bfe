"""What did the field give, and did our handling hide it?"""

import streamlit as st

from origin_compare.front import parts
from origin_compare.front.asked import questions
from origin_compare.front.flavour import field_page as pieces

with parts.question("What did the field give, and did our handling hide it?"):
    years = parts.season_choice()
    asked = questions(years)
    attribute, batch = pieces.chosen(asked)
    with st.spinner("Parting field from handling …"):
        whole = asked.fields
    pieces.answer(whole, attribute, batch)
    every, own, grower = st.tabs(["Every batch", "This batch on every flavour", "Growers"])
    with every:
        pieces.every_batch(whole, attribute, batch)
    with own:
        pieces.one_batch(whole, batch)
    with grower:
        pieces.one_grower(whole)
