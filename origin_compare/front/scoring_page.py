"""The score entry page's pieces: one glass at a time, by its code, kept while it is typed.

Nothing that names a batch is read here, so nothing that names one can reach the page.
"""

from __future__ import annotations

import os
import re

import pandas as pd
import streamlit as st

from origin_compare import words
from origin_compare.answers import count, listed
from origin_compare.errors import OriginCompareError
from origin_compare.front import parts
from origin_compare.panel import TASTING_CAUTIONS, KeptPlan, read_plan
from origin_compare.store import tastings as kept_records

_CSS = """
<style>
[class*="st-key-glass_"] input {min-height: 44px; font-size: 1.15rem;
  font-variant-numeric: tabular-nums;}
[class*="st-key-glass_"] [data-testid="stTextInputRootElement"] {min-height: 46px;}
[class*="st-key-glass_"] button, [class*="st-key-entry"] button {min-width: 44px;
  min-height: 44px;}
[class*="st-key-entry"] {max-width: 46rem;}
.oc-code {font-size: 3.4rem; font-weight: 600; letter-spacing: .08em; line-height: 1.1;
  font-variant-numeric: tabular-nums; margin: .2rem 0;}
.oc-place {font-size: 1rem; opacity: .8; margin: 0;}
</style>
"""

_DIGITS = """
<script>
const digits = () => document.querySelectorAll('[class*="st-key-glass_"] input')
  .forEach(cell => { cell.inputMode = "decimal"; });
new MutationObserver(digits).observe(document.body, {childList: true, subtree: true});
digits();
</script>
"""
"""A tablet shows its keys for figures; without it the page works all the same."""


def whose() -> tuple[KeptPlan, str] | None:
    """The sitting's plan and the assessor whose key the address holds; asked for without one."""
    st.html(_CSS)
    st.html(_DIGITS, unsafe_allow_javascript=True)
    store, name = parts.store(), os.environ["ORIGIN_COMPARE_TASTING"]
    kept = read_plan(kept_records.kept_tasting(store, name))
    key = st.query_params.get("key", "")
    assessor = kept.whose(key)
    if assessor is not None:
        return kept, assessor
    parts.sentence(f"Tasting {name}: whose scores? The panel leader gives out the keys.")
    if key:
        st.warning(
            f"The key {key} opens no sheet of this tasting. Check it, or ask the panel leader.",
            icon=":material/info:",
        )
    with st.form("entry_choose", border=True):
        given = st.text_input("Your key", placeholder="six letters and figures")
        if st.form_submit_button("Begin", type="primary"):
            st.query_params.from_dict({"key": given.strip()})
            st.rerun()
    return None


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
    asked = st.session_state.get(f"asked_{session}") == code
    with st.container(border=True, key=f"glass_{code}"):
        cells = _cells(kept, own, code)
        low, high = kept.ends
        st.caption(
            f"From {low:g} to {high:g}. Leave a cell empty where you would rather not say; no "
            "reason is asked for or kept. Every figure is kept as you write it."
        )
        pressed = st.button(
            "Leave the empty cells empty, next" if asked else "Next",
            type="primary",
            key=f"next_{code}",
            icon=":material/arrow_forward:",
        )
    wrong = [words.flavour(name) for name, value in cells.items() if value is False]
    scores = {name: None if value is False else value for name, value in cells.items()}
    empty = [words.flavour(name) for name, value in scores.items() if value is None]
    if wrong:
        st.warning(
            f"{listed(wrong, 20)}: not a number from {low:g} to {high:g}. Mend it, then go on.",
            icon=":material/info:",
        )
    elif asked and not pressed:
        st.info(
            f"Kept. Still empty: {listed(empty, 20)}. Fill in what you missed, or press the "
            "button again to leave it empty.",
            icon=":material/info:",
        )
    _keep(kept, assessor, code, scores, own, finish=pressed and not wrong and (asked or not empty))
    if pressed and not wrong and empty and not asked:
        st.session_state[f"asked_{session}"] = code
        st.rerun()
    if at and st.button("Back to the glass before", type="tertiary", icon=":material/arrow_back:"):
        st.session_state[f"back_{session}"] = at - 1
        st.session_state.pop(f"asked_{session}", None)
        st.rerun()


def _cells(kept: KeptPlan, own: pd.DataFrame, code: int) -> dict[str, float | bool | None]:
    """A number per attribute, two to a row: None while empty, False where it is no such number."""
    cells: dict[str, float | bool | None] = {}
    names = list(kept.plan.attributes)
    low, high = kept.ends
    for start in range(0, len(names), 2):
        for place, name in zip(st.columns(2), names[start : start + 2], strict=False):
            was = own[name].get(code) if name in own else None
            text = place.text_input(
                words.flavour(name),
                "" if was is None or pd.isna(was) else f"{was:g}",
                live="200ms",
                placeholder="not given",
                autocomplete="off",
                key=f"cell_{kept.plan.tasting_id}_{code}_{name}",
            )
            cells[name] = _number(text or "", low, high)
    return cells


def _number(text: str, low: float, high: float) -> float | bool | None:
    plain = text.strip().replace(",", ".")
    if not plain:
        return None
    if not re.fullmatch(r"\d+\.?\d*|\.\d+", plain):
        return False
    value = float(plain)
    return value if low <= value <= high else False


def _keep(
    kept: KeptPlan,
    assessor: str,
    code: int,
    scores: dict[str, float | None],
    own: pd.DataFrame,
    finish: bool,
) -> None:
    """Store this glass where the page says other than the store; on to the next when finished."""
    session = f"{kept.plan.tasting_id}/{assessor}"
    held = {name: own[name].get(code) if name in own else None for name in scores}
    same = all(
        value == held[name] or (value is None and pd.isna(held[name]))
        for name, value in scores.items()
    )
    if same and not finish:
        return
    done = finish or bool(own["done"].get(code, False))
    try:
        kept_records.enter_scores(parts.store(), kept.plan.tasting_id, assessor, code, scores, done)
    except OriginCompareError as fault:
        st.error(str(fault), icon=":material/error:")
        return
    if finish:
        st.session_state.pop(f"asked_{session}", None)
        st.session_state.pop(f"back_{session}", None)
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
