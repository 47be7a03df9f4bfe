"""Which batches are alike, and what do they make together?"""

import pandas as pd
import streamlit as st

from origin_compare import figures, words
from origin_compare.front import parts
from origin_compare.front.asked import questions

with parts.question("Which batches are alike, and what do they make together?"):
    years = parts.season_choice()
    asked = questions(years)
    with st.spinner("Looking for families …"):
        found = asked.families
    parts.help_with(
        found,
        "families",
        figures.families(found, parts.is_dark()),
        "The middle of each family on every attribute the panel can tell apart, with the middle "
        "half of its batches.",
    )

    st.header("Nearest to one batch", anchor=False)
    scored = sorted(found.used.mean.index)
    with st.container(horizontal=True):
        batch = parts.pick("Batch", scored, "batch", width=220)
        margin = st.number_input(
            "A difference that would not matter, score points",
            min_value=0.1,
            max_value=5.0,
            value=1.0,
            step=0.1,
            key="margin",
            width=330,
            bind="query-params",
            persist_state="session",
        )
    near = asked.nearest(batch, margin)
    parts.help_with(
        near,
        "nearest",
        figures.likeness(near, parts.is_dark()),
        f"The batches nearest to {batch}, with the interval of each distance and a verdict.",
    )
    st.caption("Dot: alike inside the margin. Cross: different. Open ring: the panel cannot tell.")

    st.header("A recipe from stock", anchor=False)
    mean = found.used.mean
    with st.form("recipe", border=True):
        st.markdown("Wanted scores, on the panel's scale. They start at the middle of the season.")
        wanted = st.data_editor(
            pd.DataFrame(
                {
                    "attribute": [words.flavour(name) for name in mean.columns],
                    "wanted": mean.median().round(1).to_numpy(),
                    "lowest batch": mean.min().round(1).to_numpy(),
                    "highest batch": mean.max().round(1).to_numpy(),
                }
            ),
            disabled=["attribute", "lowest batch", "highest batch"],
            hide_index=True,
            width=560,
            key="wanted",
        )
        with st.container(horizontal=True, vertical_alignment="bottom"):
            lpa = st.number_input(
                "Pure alcohol wanted, L", min_value=1.0, value=500.0, step=50.0, width=200
            )
            most = st.number_input(
                "Batches at most", min_value=1, max_value=8, value=4, step=1, width=160
            )
            wished = st.form_submit_button("Find recipes", type="primary")
    if wished:
        target = pd.Series(wanted["wanted"].to_numpy(), index=mean.columns)
        st.session_state["recipe_asked"] = (years, target, lpa, int(most))
    if st.session_state.get("recipe_asked", (None,))[0] == years:
        _, target, lpa, most = st.session_state["recipe_asked"]
        with st.spinner("Trying combinations of stock …"):
            made = asked.recipes(target, lpa, most)
        parts.sentence(made.sentence())
        parts.figure_beside_table(
            figures.recipe(made, made.ranked[0], parts.is_dark()),
            made.table(),
            "recipes",
            "What the nearest recipe is predicted to give on each attribute, with its interval, "
            "against what was wanted.",
        )
        parts.rests_on(made.rests_on())
    st.caption(
        "New make is flammable at room temperature: bench-blend and nose it by the site's own "
        "procedure, small volumes, nose first, and spit. Site limits decide."
    )
