"""The reading plans remembered: shown in words and as TOML, changed, exported, forgotten."""

from __future__ import annotations

import streamlit as st

from origin_compare.errors import OriginCompareError
from origin_compare.front import parts
from origin_compare.front.reading.said import in_words
from origin_compare.intake.asking.reading_plan import ReadingPlan, plans_as_toml, read_plans
from origin_compare.typed import plain


def remembered_plans() -> None:
    """Every plan the store keeps, and what can be done with it."""
    plans = parts.store().reading_plans()
    if not plans:
        return
    st.header("Remembered for files like these", anchor=False)
    st.markdown("\n".join(f"- {plain(in_words(one))}" for one in plans))
    st.download_button(
        "Download all reading plans (TOML)",
        data=plans_as_toml(plans),
        file_name="reading_plans.toml",
        mime="application/toml",
        on_click="ignore",
        icon=":material/download:",
        type="tertiary",
        help="Laid beside a folder of files under this name, it holds for them at the console.",
    )
    with st.expander("Change or forget a reading plan", icon=":material/edit:"):
        names = [one.name for one in plans]
        name = st.selectbox("Reading plan", names, key="reading_plan")
        _one_plan(next((one for one in plans if one.name == name), plans[0]))


def _one_plan(plan: ReadingPlan) -> None:
    with st.form(f"plan_{plan.name}", border=False):
        text = st.text_area(
            "As TOML", plan.to_toml(), key=f"toml_{plan.name}", height=220, max_chars=20_000
        )
        if st.form_submit_button("Keep the change", type="primary"):
            _change(plan, text)
    if st.button("Forget this reading plan", icon=":material/delete:", key=f"forget_{plan.name}"):
        _forget(plan)


def _change(plan: ReadingPlan, text: str) -> None:
    """The text's plans in place of this one; a text that is no plan is refused in words."""
    store = parts.store()
    try:
        changed = read_plans(text)
        store.remember_plan(*changed)
        if changed and plan.name not in {one.name for one in changed}:
            store.forget_plan(plan.name)
    except OriginCompareError as fault:
        st.error(plain(fault), icon=":material/error:")
    else:
        st.session_state["intake_taken"] = "The reading plan is changed."
        st.rerun()


def _forget(plan: ReadingPlan) -> None:
    try:
        parts.store().forget_plan(plan.name)
    except OriginCompareError as fault:
        st.error(plain(fault), icon=":material/error:")
    else:
        st.session_state["intake_taken"] = "Forgotten: files of this kind are asked about again."
        st.rerun()
