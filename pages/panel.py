"""What can the panel tell apart, and what not?"""

import streamlit as st

from origin_compare import figures
from origin_compare import page_parts as parts
from origin_compare.page_answers import questions

with parts.question("What can the panel tell apart, and what not?"):
    years = parts.season_choice()
    asked = questions(years)
    with st.spinner("Adjusting the panel's scores …"):
        profile = asked.profile
    parts.sentence(profile.sentence())
    parts.figure_beside_table(
        figures.reliability(profile, parts.is_dark()),
        profile.reliability(),
        "panel",
        "For each attribute the share of the spread between batches that is not panel noise; "
        "open marks cannot be told apart.",
    )
    parts.rests_on(profile.rests_on())

    st.header("One batch's profile", anchor=False)
    batch = parts.pick("Batch", list(profile.batches), "batch", width=240)
    table = profile.table()
    columns = ["attribute", "estimate", "low", "high", "se", "n_scores", "n_assessors"]
    parts.figure_beside_table(
        figures.profile(table, batch, profile.told, parts.is_dark()),
        table.loc[table["batch_id"] == batch, columns],
        f"profile_{batch}",
        f"Adjusted score of {batch} on each attribute with its 95 % interval, the other batches "
        "in grey; attributes the panel cannot tell apart come last.",
    )
    st.caption(
        "Tasting: new make cut to about 20 % vol, nose first or only, small volumes, spit, no "
        "driving or running plant after. Site limits and each assessor's own choice decide; no "
        "health reason is stored here."
    )
