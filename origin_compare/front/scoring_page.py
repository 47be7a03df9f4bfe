"""The score entry page's pieces: one glass at a time, by its code, kept while it is typed.

Nothing that names a batch is read here, so nothing that names one can reach the page.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass

import pandas as pd
import streamlit as st

from origin_compare import words
from origin_compare.answers import count, listed
from origin_compare.errors import OriginCompareError
from origin_compare.front import parts
from origin_compare.panel import TASTING_CAUTIONS, KeptPlan, read_plan
from origin_compare.store import tastings as kept_records
from origin_compare.typed import as_html, bullets, plain

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

_TOP = """
<script>/* {code} */ document.querySelector('[data-testid="stMain"]')?.scrollTo(0, 0);</script>
"""
"""With each new glass back to the top, where its code stands: a code out of sight is a glass
scored for another."""


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
            f"The key {plain(key)} opens no sheet of this tasting. Check it, or ask the panel "
            "leader.",
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
        st.markdown(bullets(TASTING_CAUTIONS))


def _place(finished: list[bool], session: str) -> int | None:
    """The glass on show: the one gone back to, else the first unfinished; None when all are."""
    back = st.session_state.get(f"back_{session}")
    if back is not None:
        return int(back)
    return next((i for i, done in enumerate(finished) if not done), None)


@dataclass(frozen=True, slots=True)
class _Cell:
    """One cell of a glass: `typed` None while empty, False where it is no score.

    `seen`: what it held when this page last showed it; `held`: what the store holds now.
    """

    name: str
    key: str
    typed: float | bool | None
    seen: float | None
    held: float | None

    @property
    def changed_elsewhere(self) -> bool:
        """Typed here, and changed by another page since this one showed it."""
        touched = self.typed is not False and self.typed != self.seen
        return touched and self.held not in (self.seen, self.typed)


def _glass(
    kept: KeptPlan, assessor: str, glass: pd.Series, own: pd.DataFrame, at: int, glasses: int
) -> None:
    code = int(glass["code"])
    session = f"{kept.plan.tasting_id}/{assessor}"
    st.html(
        f'<p class="oc-place">Glass {at + 1} of {glasses}, round {glass["replicate"]}, sitting '
        f'{glass["sitting"]}, {as_html(kept.how)}</p><p class="oc-code">{code}</p>'
    )
    st.html(_TOP.format(code=code), unsafe_allow_javascript=True)
    asked = st.session_state.get(f"asked_{session}") == code
    with st.container(border=True, key=f"glass_{code}"):
        cells = _cells(kept, own, code)
        low, high = kept.ends
        st.caption(
            f"From {low:g} to {high:g}. Leave a cell empty where you would rather not say; no "
            "reason is asked for or kept. Every figure is kept as you write it."
        )
        pressed = st.button(
            f"Leave the empty cells of {code:d} empty, next"
            if asked
            else f"Glass {code:d} done, next",
            type="primary",
            key=f"next_{code}",
            icon=":material/arrow_forward:",
        )
    wrong = [words.flavour(cell.name) for cell in cells if cell.typed is False]
    empty = [words.flavour(cell.name) for cell in cells if cell.typed is None]
    if wrong:
        st.warning(
            f"{plain(listed(wrong, 20))}: not a number from {low:g} to {high:g}. Mend it, "
            "then go on.",
            icon=":material/info:",
        )
    elif asked and not pressed:
        st.info(
            f"Kept. Still empty: {plain(listed(empty, 20))}. Fill in what you missed, or press the "
            "button again to leave it empty.",
            icon=":material/info:",
        )
    held_up = [cell for cell in cells if cell.changed_elsewhere]
    for cell in held_up:
        _ask_which(cell)
    whole = not wrong and not held_up
    _keep(kept, assessor, code, cells, own, finish=pressed and whole and (asked or not empty))
    if pressed and whole and empty and not asked:
        st.session_state[f"asked_{session}"] = code
        st.rerun()
    if at and st.button("Back to the glass before", type="tertiary", icon=":material/arrow_back:"):
        st.session_state[f"back_{session}"] = at - 1
        st.session_state.pop(f"asked_{session}", None)
        st.rerun()


def _cells(kept: KeptPlan, own: pd.DataFrame, code: int) -> list[_Cell]:
    """The glass's cells, two to a row."""
    cells: list[_Cell] = []
    names = list(kept.plan.attributes)
    low, high = kept.ends
    for start in range(0, len(names), 2):
        for place, name in zip(st.columns(2), names[start : start + 2], strict=False):
            held = _held(own, name, code)
            key = f"cell_{kept.plan.tasting_id}_{code}_{name}"
            known = key in st.session_state
            newer = known and _brought_up_to_date(key, held, low, high)
            text = place.text_input(
                plain(words.flavour(name)),
                "" if newer else _written(held),
                live="200ms",
                placeholder="not given",
                autocomplete="off",
                key=key,
            )
            typed = _number(text or "", low, high)
            if not known:
                # A cell drawn anew holds what the store does, unless the browser outlived the
                # server: then what it had been shown is not known.
                st.session_state[f"seen_{key}"] = held if typed == held else None
            cells.append(_Cell(name, key, typed, st.session_state.get(f"seen_{key}"), held))
    return cells


def _brought_up_to_date(key: str, held: float | None, low: float, high: float) -> bool:
    """Put a figure kept from another page into a cell nobody has touched here; whether it was."""
    seen = st.session_state.get(f"seen_{key}")
    if held == seen or _number(st.session_state[key] or "", low, high) != seen:
        return False
    st.session_state[key] = _written(held)
    st.session_state[f"seen_{key}"] = held
    return True


def _ask_which(cell: _Cell) -> None:
    """Two figures for one cell, here and on another page: the assessor says which counts."""
    there, here = _written(cell.held) or "empty", _written(cell.typed) or "empty"
    st.warning(
        f"{plain(words.flavour(cell.name))}: {plain(there)} was kept from another page opened with "
        f"your key, {plain(here)} was typed here. Which counts?",
        icon=":material/info:",
    )
    with st.container(horizontal=True):
        for said, seen in ((there, cell.typed), (here, cell.held)):
            st.button(
                f"{plain(words.flavour(cell.name))}: {plain(said)}",
                key=f"counts_{said == here}_{cell.key}",
                on_click=_settle,
                args=(cell.key, seen),
            )


def _settle(key: str, seen: float | None) -> None:
    """Taken as seen, the one figure gives way to the other."""
    st.session_state[f"seen_{key}"] = seen


def _held(own: pd.DataFrame, name: str, code: int) -> float | None:
    value = own[name].get(code) if name in own else None
    return None if value is None or pd.isna(value) else float(value)


def _written(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


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
    cells: list[_Cell],
    own: pd.DataFrame,
    finish: bool,
) -> None:
    """Store what was typed since this page showed the glass; on to the next when finished."""
    session = f"{kept.plan.tasting_id}/{assessor}"
    typed = {
        cell.name: cell.typed
        for cell in cells
        if cell.typed is not False
        and not cell.changed_elsewhere
        # An empty cell of a finished glass is kept as declined.
        and (cell.typed != cell.seen or (finish and cell.typed is None))
    }
    if not typed and not finish:
        return
    done = finish or bool(own["done"].get(code, False))
    seen = {cell.name: cell.seen for cell in cells}
    try:
        changed = kept_records.enter_scores(
            parts.store(), kept.plan.tasting_id, assessor, code, typed, done, seen
        )
    except OriginCompareError as fault:
        st.error(plain(fault), icon=":material/error:")
        return
    for cell in cells:
        if cell.name in typed and cell.name not in changed:
            st.session_state[f"seen_{cell.key}"] = cell.typed
    if changed:
        st.rerun()
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
