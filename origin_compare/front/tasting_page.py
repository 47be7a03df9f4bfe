"""The tasting page's pieces: what is due, drawing up a tasting, sheets and key, filled sheets."""

from __future__ import annotations

import shlex
from datetime import date

import pandas as pd
import streamlit as st

from origin_compare import panel
from origin_compare.answers import count
from origin_compare.errors import OriginCompareError
from origin_compare.figures import panel as draw
from origin_compare.front import parts
from origin_compare.panel import KeptPlan
from origin_compare.questions import Questions
from origin_compare.reports.exports import safe_csv
from origin_compare.reports.tasting_sheets import key_html, pours, sheets_html
from origin_compare.store import tastings as kept_records
from origin_compare.typed import plain

PER_SITTING = 6
"""Glasses of spirit one nose bears in a sitting (common practice, no source)."""
NO_CONTROL = "no control"
HOWS = ["nose only", "nose, then palate"]
USUAL_ATTRIBUTES = ["cereal", "fruity", "floral", "grassy", "sulphury", "feinty", "oily", "sweet"]
"""Offered where nothing was tasted yet; common practice, no source."""


def due(asked: Questions) -> panel.Due:
    """Which batches wait for the panel."""
    found = panel.due(asked.season.batches)
    parts.sentence(found.sentence())
    return found


def drawn_up(asked: Questions, waiting: panel.Due) -> KeptPlan | None:
    """The form and the plan it makes; None where it cannot be made, which is said."""
    scores = asked.season.sheets["scores"]
    st.caption(
        "The defaults are common practice, no source: new make cut to about 20 % vol, nose only, "
        "six glasses a sitting. The site's own rules come first."
    )
    with st.form("draw_up", border=True):
        asks = _samples(waiting, scores) | _people(scores) | _day(scores)
        st.form_submit_button("Draw up", type="primary")
    try:
        plan = panel.plan_tasting(
            asks["batches"],
            asks["assessors"],
            asks["replicates"],
            asks["seed"],
            per_sitting=asks["per_sitting"],
            control=None if asks["control"] == NO_CONTROL else asks["control"],
            duplicates=asks["duplicates"],
            attributes=asks["attributes"],
            scale=asks["scale"],
            tasting_id=asks["tasting_id"].strip(),
        )
    except ValueError as fault:
        st.warning(plain(fault), icon=":material/info:")
        return None
    return KeptPlan(plan, asks["day"].isoformat(), asks["abv"], asks["how"])


def _samples(waiting: panel.Due, scores: pd.DataFrame) -> dict:
    names = list(waiting.names)
    used = scores.loc[scores["sample_kind"].eq("control"), "batch_id"].dropna().unique().tolist()
    left, right = st.columns([3, 2])
    batches = left.multiselect(
        "Batches (those waiting longest first)", names, names[: PER_SITTING - 1], key="plan_batches"
    )
    controls = [*used[-1:], NO_CONTROL, *used[:-1]]
    control = right.selectbox(
        "Control, hidden in every sitting",
        controls,
        key="plan_control",
        accept_new_options=True,
        help="One spirit kept in stock and served blind in every tasting links the tastings: "
        "without it batches of two tastings are hard to compare.",
    )
    duplicates = left.multiselect(
        "Hidden duplicates",
        names,
        [],
        key="plan_duplicates",
        help="Served once more under another code; shows how well the panel repeats itself.",
    )
    per_sitting = right.number_input(
        "Glasses a sitting",
        2,
        12,
        PER_SITTING,
        1,
        key="plan_per_sitting",
        help="Six or fewer is common practice: noses tire.",
    )
    return {
        "batches": batches,
        "control": control or NO_CONTROL,
        "duplicates": duplicates,
        "per_sitting": int(per_sitting),
    }


def _people(scores: pd.DataFrame) -> dict:
    known = sorted(scores["assessor_id"].dropna().unique()) or [f"A{i:02d}" for i in range(1, 9)]
    words = list(dict.fromkeys(scores["attribute"])) or USUAL_ATTRIBUTES
    left, right = st.columns([3, 2])
    assessors = left.multiselect(
        "Assessors (codes, never names)",
        known,
        known,
        key="plan_assessors",
        accept_new_options=True,
    )
    replicates = right.number_input("Replicates", 1, 4, 2, 1, key="plan_replicates")
    attributes = left.multiselect(
        "Attributes", words, words, key="plan_attributes", accept_new_options=True
    )
    seed = right.number_input(
        "Seed of the draw",
        0,
        999_999,
        1,
        1,
        key="plan_seed",
        help="The same seed deals the same orders and codes again.",
    )
    return {
        "assessors": assessors,
        "replicates": int(replicates),
        "attributes": attributes,
        "seed": int(seed),
    }


def _day(scores: pd.DataFrame) -> dict:
    scales = [str(name) for name in scores["scale"].dropna().unique()][::-1] or ["0-10"]
    first, second, third, fourth, fifth = st.columns(5)
    day = first.date_input("Day", date.today(), key="plan_day", format="YYYY-MM-DD")
    free = _next_name(scores, day.year)
    kept = st.session_state.setdefault("plans_kept", 0)  # a name once kept is not offered again
    name = second.text_input("Name of the tasting", free, key=f"plan_name_{free}_{kept}")
    abv = third.number_input(
        "Strength in the glass, % vol",
        5.0,
        40.0,
        20.0,
        0.5,
        key="plan_abv",
        help="New make is cut to about 20 % vol (common practice): uncut it is flammable and "
        "numbs the nose.",
    )
    how = fourth.selectbox("How", HOWS, key="plan_how")
    scale = fifth.selectbox("Scale", scales, key="plan_scale", accept_new_options=True)
    return {
        "day": day,
        "tasting_id": name,
        "abv": float(abv),
        "how": how or HOWS[0],
        "scale": scale or scales[0],
    }


def _next_name(scores: pd.DataFrame, year: int) -> str:
    store = parts.store()
    taken = set(scores["tasting_id"]) | set(kept_records.tastings(store)["tasting_id"])
    number = 1
    while f"T{year % 100:02d}-{number}" in taken:
        number += 1
    return f"T{year % 100:02d}-{number}"


def show(kept: KeptPlan, waiting: panel.Due) -> None:
    """The plan: who gets which code when, what is to be cut, and how even it is."""
    parts.sentence(kept.plan.sentence())
    parts.figure_beside_table(
        draw.serving_order(kept.plan, parts.is_dark()),
        _to_cut(kept, waiting),
        "to_cut",
        "Blind codes in the order each assessor gets them, one row per assessor and sitting.",
    )
    even = kept.plan.evenness
    st.caption(
        f"Balance, 0 is even throughout: places {plain(even.position_span)}, neighbours "
        f"{plain(even.neighbour_span)}, sittings shared {plain(even.together_span)}. Efficiency "
        f"{100 * even.efficiency:.0f} %: of what full sittings would tell about differences."
    )
    parts.rests_on(kept.plan.rests_on())


def _strengths(waiting: panel.Due) -> pd.Series:
    return waiting.table().set_index("batch_id")["new_make_abv_pct"]


def _to_cut(kept: KeptPlan, waiting: panel.Due) -> pd.DataFrame:
    table = pours(kept, _strengths(waiting))
    return table.rename(columns={"new_make_ml": "new make, mL", "water_ml": "water, mL"})


def papers(kept: KeptPlan, waiting: panel.Due, place: str) -> None:
    """Sheets for the panel, and apart from them the key for the one who pours."""
    name = kept.plan.tasting_id
    with st.container(horizontal=True, vertical_alignment="center"):
        _download(
            "Sheets to print",
            sheets_html(kept).encode(),
            f"sheets_{name}.html",
            "text/html",
            f"{place}_sheets",
        )
        _download(
            "Sheets as a table (CSV)",
            safe_csv(kept.plan.sheets()),
            f"sheets_{name}.csv",
            "text/csv",
            f"{place}_sheets_csv",
        )
        with st.popover("Key, for the one who pours", icon=":material/key:"):
            st.markdown("The key says which batch is in which glass. Keep it away from the panel.")
            _download(
                "Key to print",
                key_html(kept, _strengths(waiting)).encode(),
                f"key_{name}.html",
                "text/html",
                f"{place}_key",
            )
            _download(
                "Key as a table (CSV)",
                safe_csv(kept.plan.table()),
                f"key_{name}.csv",
                "text/csv",
                f"{place}_key_csv",
            )


def _download(label: str, data: bytes, file: str, mime: str, key: str) -> None:
    st.download_button(
        label,
        data=data,
        file_name=file,
        mime=mime,
        key=key,
        on_click="ignore",
        icon=":material/download:",
    )


def keep(kept: KeptPlan) -> None:
    """Save the plan, so that filled sheets find their samples again."""
    with (
        st.form("keep_plan", border=False),
        st.container(horizontal=True, vertical_alignment="bottom"),
    ):
        who = st.text_input("Who leads it (initials)", key="plan_who", width=220)
        pressed = st.form_submit_button(
            f"Keep tasting {plain(kept.plan.tasting_id)}", type="primary", icon=":material/save:"
        )
    if not pressed:
        return
    try:
        said = panel.plan_as_text(panel.with_keys(kept))
        kept_records.keep_tasting(parts.store(), kept.plan.tasting_id, said, who)
    except OriginCompareError as fault:
        st.error(plain(fault), icon=":material/error:")
    else:
        st.session_state["tasting_said"] = (
            f"Tasting {kept.plan.tasting_id} is kept. Print its sheets or hand out the scoring "
            "keys below; what is filled in goes back by this page."
        )
        st.session_state["kept_tasting"] = kept.plan.tasting_id
        st.session_state["plans_kept"] = st.session_state.get("plans_kept", 0) + 1
        st.rerun()


def tastings_kept(waiting: panel.Due) -> None:
    """Tastings drawn up: who has scored, the addresses, filled sheets back, scores taken in."""
    table = kept_records.tastings(parts.store())
    if table.empty:
        return
    st.header("Tastings drawn up", anchor=False)
    fresh = st.session_state.pop("kept_tasting", None)
    names = list(table["tasting_id"])
    if fresh in names:
        st.session_state["tasting"] = fresh
    name = parts.pick("Tasting", names, "tasting", width=240)
    kept = panel.read_plan(kept_records.kept_tasting(parts.store(), name))
    progress = _progress(kept)
    parts.sentence(_progress_sentence(kept, progress))
    parts.show_table(progress, f"progress_{name}")
    _how_to_score(kept)
    papers(kept, waiting, "kept")
    _entered_back(kept, progress)
    _filled_back(kept)
    _drop(kept, progress)


def _how_to_score(kept: KeptPlan) -> None:
    name = kept.plan.tasting_id
    with st.expander("How assessors enter their scores", icon=":material/tablet:"):
        st.markdown(
            "The scoring page runs apart from this app, so that nobody can turn from it to a page "
            "that names batches. Start it for the sitting:"
        )
        words = ("origin-compare", "score", name, "--store", parts.store_url())
        st.code(shlex.join(words), language=None)
        st.markdown(
            "It prints each assessor's own address. A scoring key opens one assessor's sheet, "
            "no other, so hand each out to its assessor only. For tablets add `--at` and this "
            "machine's address in the house network; nothing is encrypted on the way, so use a "
            "network of your own. Stop it with Ctrl-C when the sitting is over: what was entered "
            "is kept here."
        )
        with st.container(key="noprint_keys"):
            keys = pd.DataFrame(
                {"assessor_id": kept.keys.keys(), "scoring_key": kept.keys.values()}
            )
            parts.show_table(keys, f"keys_{name}")


def _progress(kept: KeptPlan) -> pd.DataFrame:
    """assessor_id, glasses, entered, in_records."""
    name, store = kept.plan.tasting_id, parts.store()
    entered = kept_records.entered_scores(store, name)
    done = entered[entered["done"]].groupby("assessor_id").size()
    taken = kept_records.in_records(store, name)
    rows = [
        {
            "assessor_id": who,
            "glasses": len(kept.glasses(who)),
            "entered": int(done.get(who, 0)),
            "in_records": taken.get(who, 0),
        }
        for who in kept.assessors
    ]
    return pd.DataFrame(rows)


def _progress_sentence(kept: KeptPlan, progress: pd.DataFrame) -> str:
    people = count(len(progress), "assessor")
    taken = int(progress["in_records"].gt(0).sum())
    finished = int((progress["entered"] >= progress["glasses"]).sum())
    name = kept.plan.tasting_id
    if taken:
        return f"Scores of {taken} of {people} of tasting {name} are on record."
    if not progress["entered"].sum():
        return f"Tasting {name} waits for its {people}; nothing has been entered here yet."
    return f"In tasting {name} {finished} of {people} have entered every glass."


def _entered_back(kept: KeptPlan, progress: pd.DataFrame) -> None:
    open_ones = progress[progress["entered"].gt(0) & progress["in_records"].eq(0)]
    if open_ones.empty:
        return
    st.subheader("Take in what was entered", anchor=False)
    whole = open_ones.loc[open_ones["entered"] >= open_ones["glasses"], "assessor_id"]
    with st.form("take_entered", border=True):
        people = st.multiselect(
            "Assessors (those who have entered every glass are chosen)",
            list(open_ones["assessor_id"]),
            list(whole),
            key=f"take_{kept.plan.tasting_id}",
        )
        who = st.text_input("Who takes this in (initials)", key="entered_who")
        if not st.form_submit_button("Take in these scores", type="primary"):
            return
    name = kept.plan.tasting_id
    entered = kept_records.entered_scores(parts.store(), name)
    mine = entered[entered["assessor_id"].isin(people) & entered["done"]]
    if mine.empty:
        st.warning("Nobody is chosen. Choose whose scores to take in.", icon=":material/info:")
        return
    _take_in(kept, mine, who, {f"entered_{name}.csv": safe_csv(mine)})


def _filled_back(kept: KeptPlan) -> None:
    name = kept.plan.tasting_id
    attempt = st.session_state.setdefault("filled_attempt", 0)
    st.subheader("Bring filled sheets back", anchor=False)
    uploads = st.file_uploader(
        "Filled sheets of this tasting: CSV or XLSX, one or several",
        accept_multiple_files=True,
        key=f"filled_{name}_{attempt}",
    )
    if not uploads:
        return
    files = {one.name: one.getvalue() for one in uploads}
    try:
        filled = panel.filled_rows(kept, files)
        back = panel.read_back(kept, filled)
    except (OriginCompareError, ValueError) as fault:
        st.warning(plain(fault), icon=":material/info:")
        return
    parts.sentence(back.sentence())
    if len(back.missing):
        parts.show_table(back.missing, f"missing_{name}", height=180)
    with (
        st.form("take_filled", border=False),
        st.container(horizontal=True, vertical_alignment="bottom"),
    ):
        who = st.text_input("Who takes this in (initials)", key="filled_who", width=220)
        pressed = st.form_submit_button("Take in these sheets", type="primary")
    if pressed:
        _take_in(kept, filled, who, files)


def _take_in(kept: KeptPlan, filled: pd.DataFrame, who: str, files: dict[str, bytes]) -> None:
    """One intake of a scores sheet, its files kept beside it; nothing if any row has a fault."""
    store = parts.store()
    name = f"scores_{kept.plan.tasting_id}.csv"
    try:
        scores = panel.read_back(kept, filled).scores
        content = scores.to_csv(index=False, date_format="%Y-%m-%d").encode()
        plan = store.plan([(name, content)])
        if not plan.is_clean:
            st.warning(
                "Nothing was taken in: some rows have faults. Mend them, then try again.",
                icon=":material/info:",
            )
            parts.show_table(plan.fault_table(), "tasting_faults")
            return
        taken = store.take_in(plan, who, {name: content, **files})
    except (OriginCompareError, ValueError) as fault:
        st.error(plain(fault), icon=":material/error:")
        return
    back = " It can be taken back on the Intake page." if taken.intake_id else ""
    st.session_state["tasting_said"] = taken.sentence() + back
    st.session_state["filled_attempt"] = st.session_state.get("filled_attempt", 0) + 1
    st.rerun()


def _drop(kept: KeptPlan, progress: pd.DataFrame) -> None:
    if progress["entered"].sum() or progress["in_records"].sum():
        return
    if st.button(
        f"Drop tasting {plain(kept.plan.tasting_id)}", type="tertiary", icon=":material/delete:"
    ):
        try:
            kept_records.drop_tasting(parts.store(), kept.plan.tasting_id)
        except OriginCompareError as fault:
            st.error(plain(fault), icon=":material/error:")
        else:
            st.session_state["tasting_said"] = f"Tasting {kept.plan.tasting_id} was dropped."
            st.session_state.pop("tasting", None)
            st.rerun()
