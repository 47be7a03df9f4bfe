"""The score entry page's pieces: one glass at a time, by its code, kept at every Next.

Nothing that names a batch is read here, so nothing that names one can reach the page.
"""

from __future__ import annotations

import pandas as pd
import streamlit as st

from origin_compare import page_parts as parts
from origin_compare import words
from origin_compare.answers import count, listed
from origin_compare.errors import OriginCompareError, UnknownName
from origin_compare.panel import TASTING_CAUTIONS, KeptPlan, read_plan
from origin_compare.records import tastings as kept_records

_CSS = """
<style>
[class*="st-key-glass_"] input {min-height: 44px; font-size: 1.15rem;
  font-variant-numeric: tabular-nums;}
[class*="st-key-glass_"] [data-testid="stNumberInputContainer"] {min-height: 46px;}
[class*="st-key-glass_"] button, [class*="st-key-entry"] button {min-width: 44px;
  min-height: 44px;}
[class*="st-key-entry"] {max-width: 46rem;}
.oc-code {font-size: 3.4rem; font-weight: 600; letter-spacing: .08em; line-height: 1.1;
  font-variant-numeric: tabular-nums; margin: .2rem 0;}
.oc-place {font-size: 1rem; opacity: .8; margin: 0;}
</style>
"""


def whose() -> tuple[KeptPlan, str] | None:
    """The tasting and assessor the address names; a choice where it names none."""
    st.html(_CSS)
    store = parts.store()
    tasting, assessor = st.query_params.get("tasting"), st.query_params.get("assessor")
    if tasting and assessor:
        kept = read_plan(kept_records.kept_tasting(store, tasting))
        if assessor not in kept.assessors:
            raise UnknownName(
                f"assessor {assessor}: not in tasting {tasting}. Ask the panel leader for the "
                "address."
            )
        return kept, assessor
    _choose(store_names=list(kept_records.tastings(store)["tasting_id"]))
    return None


def _choose(store_names: list[str]) -> None:
    if not store_names:
        parts.sentence("No tasting is waiting for scores. The panel leader draws one up first.")
        return
    parts.sentence("Which tasting, and whose scores? The panel leader gives out the codes.")
    with st.form("entry_choose", border=True):
        tasting = st.selectbox("Tasting", store_names)
        assessor = st.text_input("Your code", placeholder="such as A03")
        if st.form_submit_button("Begin", type="primary") and tasting:
            st.query_params.from_dict({"tasting": tasting, "assessor": assessor.strip()})
            st.rerun()


def one_glass(kept: KeptPlan, assessor: str) -> None:
    """The first glass not yet finished, or the one gone back to; thanks at the end."""
    store, name = parts.store(), kept.plan.tasting_id
    if kept_records.in_records(store, name).get(assessor):
        parts.sentence(f"The scores of {assessor} in tasting {name} were taken in. Thank you.")
        return
    own = kept_records.entered_scores(store, name, assessor).set_index("code")
    glasses = kept.glasses(assessor)
    finished = [bool(own["done"].get(code, False)) for code in glasses["code"]]
    at = _place(finished, f"{name}/{assessor}")
    with st.container(key="entry"):
        st.progress(
            sum(finished) / len(finished), f"{sum(finished)} of {len(finished)} glasses finished"
        )
        if at is None:
            _thanks(kept, assessor, len(finished))
        else:
            _glass(kept, assessor, glasses.iloc[at], own, at, len(finished))
    with st.expander("Before you begin", expanded=not any(finished), icon=":material/info:"):
        st.markdown("\n".join(f"- {text}" for text in TASTING_CAUTIONS))


def _place(finished: list[bool], session: str) -> int | None:
    """The glass on show: the one gone back to, else the first unfinished; None when all are."""
    back = st.session_state.get(f"back_{session}")
    if back is not None:
        return int(back)
    return next((i for i, done in enumerate(finished) if not done), None)


def _glass(
    kept: KeptPlan, assessor: str, glass: pd.Series, own: pd.DataFrame, at: int, glasses: int
) -> None:
    code = int(glass["code"])
    session = f"{kept.plan.tasting_id}/{assessor}"
    st.html(
        f'<p class="oc-place">Glass {at + 1} of {glasses}, round {glass["replicate"]}, sitting '
        f'{glass["sitting"]}, {kept.how}</p><p class="oc-code">{code}</p>'
    )
    low, high = kept.ends
    asked = st.session_state.get(f"asked_{session}") == code
    with st.form(f"glass_{code}", border=True, enter_to_submit=False):
        with st.container(key=f"glass_{code}_cells"):
            scores = _cells(kept, own, code, low, high)
        st.caption(
            f"From {low:g} to {high:g}. Leave a cell empty where you would rather not say; no "
            "reason is asked for or kept."
        )
        pressed = st.form_submit_button(
            "Leave the empty cells empty, next" if asked else "Next", type="primary",
            key=f"next_{code}", icon=":material/arrow_forward:",
        )  # fmt: skip
    empty = [words.flavour(name) for name, value in scores.items() if value is None]
    if asked and not pressed:
        st.info(
            f"Kept. Still empty: {listed(empty, 20)}. Fill in what you missed, or press the "
            "button again to leave it empty.",
            icon=":material/info:",
        )
    if pressed:
        _keep(kept, assessor, code, scores, done=asked or not empty)
    if at and st.button("Back to the glass before", type="tertiary", icon=":material/arrow_back:"):
        st.session_state[f"back_{session}"] = at - 1
        st.session_state.pop(f"asked_{session}", None)
        st.rerun()


def _cells(
    kept: KeptPlan, own: pd.DataFrame, code: int, low: float, high: float
) -> dict[str, float | None]:
    """A number per attribute, two to a row; empty until it is given."""
    scores: dict[str, float | None] = {}
    names = list(kept.plan.attributes)
    step = 0.1 if high - low <= 20 else 1.0
    for start in range(0, len(names), 2):
        for place, name in zip(st.columns(2), names[start : start + 2], strict=False):
            was = own[name].get(code) if name in own else None
            scores[name] = place.number_input(
                words.flavour(name), low, high, None if was is None or pd.isna(was) else float(was),
                step, format="%.1f" if step < 1 else "%.0f", placeholder="not given",
                key=f"cell_{kept.plan.tasting_id}_{code}_{name}",
            )  # fmt: skip
    return scores


def _keep(
    kept: KeptPlan, assessor: str, code: int, scores: dict[str, float | None], done: bool
) -> None:
    """Store this glass; an empty cell is asked about once before it counts as declined."""
    session = f"{kept.plan.tasting_id}/{assessor}"
    try:
        kept_records.enter_scores(parts.store(), kept.plan.tasting_id, assessor, code, scores, done)
    except OriginCompareError as fault:
        st.error(str(fault), icon=":material/error:")
        return
    if done:
        st.session_state.pop(f"asked_{session}", None)
        st.session_state.pop(f"back_{session}", None)
    else:
        st.session_state[f"asked_{session}"] = code
    st.rerun()


def _thanks(kept: KeptPlan, assessor: str, glasses: int) -> None:
    name = kept.plan.tasting_id
    parts.sentence(
        f"That was the last glass: {count(glasses, 'glass', 'glasses')} of tasting {name} are "
        f"kept for {assessor}. Thank you."
    )
    st.caption("You can close this page. The panel leader takes the scores in.")
    if st.button("Back to the last glass", type="tertiary", icon=":material/arrow_back:"):
        st.session_state[f"back_{name}/{assessor}"] = glasses - 1
        st.rerun()
