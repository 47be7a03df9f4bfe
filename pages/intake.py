"""What is in these files, and what would taking them in change?"""

import streamlit as st

from origin_compare import figures
from origin_compare.errors import OriginCompareError
from origin_compare.front import parts
from origin_compare.front.intake_page import (
    aside_as_zip,
    ask_for_headers,
    ask_for_the_rest,
    past_intakes,
    planned,
    told_how_far,
    what_would_change,
)
from origin_compare.front.reading.answers import how_files_were_read, waiting
from origin_compare.front.reading.plans_told import remembered_plans
from origin_compare.front.reading.said import forget_told
from origin_compare.typed import plain

with parts.question("What is in these files?"):
    attempt = st.session_state.setdefault("intake_attempt", 0)
    taken = st.session_state.pop("intake_taken", None)
    if taken:
        st.success(plain(taken), icon=":material/check_circle:")
    uploads = st.file_uploader(
        "Drop sheets here: CSV, XLSX, or a zip of them. Nothing is stored until you say so.",
        accept_multiple_files=True,
        key=f"uploads_{attempt}",
    )
    if uploads:
        sources = [(one.name, one.getvalue()) for one in uploads]
        read, plan = planned(sources)
        parts.sentence(plan.sentence())
        parts.figure_beside_table(
            figures.intake(plan, parts.is_dark()),
            plan.table(),
            "intake",
            "For each file, how many rows would go in and how many were set aside.",
        )
        parts.rests_on(plan.rests_on())
        how_files_were_read(read, plan)
        waits = waiting(plan)
        for offer in plan.offers:
            if offer.label not in waits:
                ask_for_headers(offer)
        for offer in plan.left_out:
            ask_for_the_rest(offer)
        what_would_change(plan)
        faults = plan.fault_table().sort_values("weight", kind="stable")  # faults, then warnings
        if len(faults):
            st.header("What to mend", anchor=False)
            parts.show_table(faults, "faults")
            if plan.set_aside:
                st.download_button(
                    "Rows set aside, to mend and send again (zip of CSV)",
                    data=lambda: aside_as_zip(plan.set_aside),
                    file_name="set_aside.zip",
                    mime="application/zip",
                    icon=":material/download:",
                    on_click="ignore",
                )
        with st.form("take_in", border=True):
            who = st.text_input("Who takes this in (initials or a name the site uses)", key="who")
            rows = sum(len(frame) for frame in plan.sheets.values())
            label = f"Take in {rows:,} rows" if rows else "Nothing new to take in"
            if st.form_submit_button(label, type="primary", disabled=rows == 0):
                try:
                    with told_how_far() as progress:
                        result = parts.store().take_in(plan, who, sources, progress)
                except OriginCompareError as fault:
                    st.error(plain(fault), icon=":material/error:")
                else:
                    st.session_state["intake_taken"] = result.sentence()
                    forget_told()
                    st.session_state["intake_attempt"] = attempt + 1
                    st.rerun()
    remembered_plans()
    past_intakes()
