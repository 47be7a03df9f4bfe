"""What does the house hold to?"""

import streamlit as st

from origin_compare.errors import OriginCompareError
from origin_compare.front import parts
from origin_compare.front import records_page as pieces
from origin_compare.front.asked import questions
from origin_compare.house import rules_as_toml
from origin_compare.review.house_table import flagged_now
from origin_compare.sheets.hour_zero import hour_zero_said
from origin_compare.typed import plain

with parts.question("What does the house hold to?"):
    attempt = st.session_state.setdefault("rules_attempt", 0)
    saved = st.session_state.pop("rules_saved", None)
    if saved:
        st.success(plain(saved), icon=":material/check_circle:")
    rules = parts.store().rules()
    parts.sentence(pieces.rules_said(rules))
    start = rules
    try:
        start = pieces.rules_to_start_from(attempt)
        pieces.save_rules(pieces.edited(start), attempt)
    except OriginCompareError as fault:
        st.error(plain(fault), icon=":material/error:")
    parts.rests_on(pieces.rules_rest_on(rules))
    st.download_button(
        "House rules in force (TOML, the file a distillery edits)",
        data=lambda: rules_as_toml(rules).encode(),
        file_name="house_rules.toml",
        mime="application/toml",
        icon=":material/download:",
        on_click="ignore",
    )
    st.caption(
        "A range outside which a batch lies is said, never refused. Numbers without a source are "
        "habits of the trade: put the house's own records in their place. A window of your own, "
        "such as the heel of one vessel, is added in the file."
    )

    st.header("Which batches each rule flags now", anchor=False)
    if parts.store().filled_sheets():
        with st.spinner("Holding every batch against the rules …"):
            review = questions(()).review
        flagged = flagged_now(review).rename(columns={"says": "what", "rule": "name_in_the_file"})
        first = ["what", "window", "batches_flagged", "batches"]
        parts.show_table(flagged[[*first, "name_in_the_file"]], "rules_flag")
        parts.rests_on(hour_zero_said(review.batches, rules.hour_zero))
    else:
        st.caption("There is nothing in this store yet, so nothing is flagged.")

    history = pieces.rules_history_table()
    if len(history):
        st.header("Rules set before", anchor=False)
        parts.show_table(history, "rules_history")
