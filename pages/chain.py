"""Which grain is in this batch, from field to spirit?"""

import streamlit as st

from origin_compare import figures
from origin_compare import page_parts as parts
from origin_compare.page_answers import questions

with parts.question("Which grain is in this batch?"):
    years = parts.season_choice()
    asked = questions(years)
    batch = parts.pick("Batch", asked.season.batches["batch_id"].tolist(), "batch", width=240)
    chain = asked.chain(batch)
    parts.help_with(
        chain,
        f"chain_{batch}",
        figures.chain(chain, parts.is_dark()),
        f"The way of {batch} from growers and lots through malt and mash to spirit, with what is "
        "recorded at each step and what is missing.",
    )
    st.header("Grain to malt to alcohol", anchor=False)
    parts.show_table(chain.balance, f"balance_{batch}")
    st.caption(
        "Gaps between steps are shown, not explained away: weigh-bridge, moisture and what stays "
        "in the still all sit in them. This is not the duty account."
    )
