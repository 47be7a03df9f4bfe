"""What files leave open, answered in place; how they were read, and put right where it is not."""

from __future__ import annotations

import zoneinfo
from collections.abc import Sequence

import streamlit as st

from origin_compare import words
from origin_compare.answers import count, listed
from origin_compare.errors import OriginCompareError
from origin_compare.front import parts
from origin_compare.front.reading.grid_view import show_grid
from origin_compare.front.reading.otherwise import put_right
from origin_compare.front.reading.said import forget_told, in_words, said_of, say, told
from origin_compare.intake.asking.open_questions import Question
from origin_compare.intake.asking.reading_plan import IGNORE, answer
from origin_compare.intake.files.readers import Sources, Tab
from origin_compare.intake.open_points import ZONE
from origin_compare.intake.plan import IntakePlan
from origin_compare.intake.tables_read import WAITS
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.typed import bullets, plain

_FIRST_ROWS = 8


def waiting(plan: IntakePlan) -> set[str]:
    """The tables (file, or file and tab) that wait for an answer."""
    return {fault.file for fault in plan.faults if fault.wrong.startswith(WAITS)}


def how_files_were_read(sources: Sources, plan: IntakePlan) -> None:
    """Per file its open questions, its cells beside the tables made of them, and corrections."""
    files = list(dict.fromkeys(tab.file for tab in sources.tabs))
    if not files:
        return
    st.header("How the files were read", anchor=False)
    asked = {file: _questions_of(plan, file) for file in files}
    open_files = [file for file in files if asked[file]]
    if open_files:
        number = sum(len(asked[file]) for file in open_files)
        st.markdown(
            f"{count(number, 'question')} open, in {plain(listed(open_files, 8))}. "
            "An answer holds for every table of its kind."
        )
    file = st.selectbox(
        "File",
        files,
        index=files.index(open_files[0]) if open_files else 0,
        key="intake_file",
        width=560,
    )
    if asked[file]:
        _ask(file, asked[file])
    _kept_or_not()
    _look(sources, plan, file)
    put_right(plan, file)


def _questions_of(plan: IntakePlan, file: str) -> list[Question]:
    """Questions of a file; those of a table without any known header are asked as a mapping."""
    mine = [one for one in plan.questions if one.where.file == file and one.kind]
    return sorted(mine, key=lambda one: not one.holds)


def _ask(file: str, questions: Sequence[Question]) -> None:
    """One form for all that a file leaves open."""
    with st.form(f"answers_{file}", border=True):
        given = {one: _one_answer(one) for one in questions}
        if st.form_submit_button("Read it so", type="primary", icon=":material/check:"):
            said = {one: choice for one, choice in given.items() if choice}
            _try_saying(said)


def _try_saying(said: dict[Question, str]) -> None:
    before = [said_of(kind) for kind in dict.fromkeys(one.kind for one in said)]
    try:
        plans = answer(said, before)
    except (ValueError, OriginCompareError) as why:
        st.error(plain(why), icon=":material/error:")
    else:
        say(*plans)
        st.rerun()


def _one_answer(question: Question) -> str:
    choices = _choices(question)
    key = f"answer_{question.where}_{question.key}_{' '.join(question.kind)}"
    label = plain(question.what)
    if choices:
        default = choices.index(question.default) if question.default in choices else None
        chosen = st.selectbox(
            label,
            choices,
            index=default,
            key=key,
            format_func=lambda choice: _in_words(question, choice),
            placeholder="Choose, or leave it open",
            width=560,
        )
    else:
        chosen = st.text_input(label, question.default, key=key, width=560)
    waits = "The table waits for this." if question.holds else "Goes in without it too."
    st.caption(plain(f"{question.where}. {question.evidence} {waits}"))
    return (chosen or "").strip()


def _choices(question: Question) -> tuple[str, ...]:
    if question.key == ZONE:
        return tuple(sorted(zoneinfo.available_timezones()))
    return question.choices


def _in_words(question: Question, choice: str) -> str:
    if choice == IGNORE:
        return "not wanted"
    if question.key == "sheet" and choice in SHEETS:
        return f"{choice}: each row is {SHEETS[choice].row_is}"
    return words.label(choice) if question.key.startswith("column: ") else choice


def _kept_or_not() -> None:
    """What was said so far, and the button that makes it hold for all files like these."""
    unkept = [one for one in told() if one not in parts.store().reading_plans()]
    if not unkept:
        return
    with st.container(border=True):
        st.markdown("**Said for the files that lie here:**")
        st.markdown("\n".join(f"- {plain(in_words(one))}" for one in unkept))
        with st.container(horizontal=True):
            if st.button("For all files like this", icon=":material/bookmark:"):
                parts.store().remember_plan(*unkept)
                st.session_state["intake_taken"] = (
                    "Remembered. The next files of this kind go in without these questions."
                )
                st.rerun()
            if st.button("Drop these answers", icon=":material/undo:"):
                forget_told()
                st.rerun()


def _look(sources: Sources, plan: IntakePlan, file: str) -> None:
    """The cells of a tab, beside them the tables made of it; below, what was done and not used."""
    tabs = [tab for tab in sources.tabs if tab.file == file]
    names = [tab.grid.tab if tab.grid else "" for tab in tabs]
    at = 0
    if len(tabs) > 1:
        chosen = st.selectbox("Tab", names, key=f"intake_tab_{file}", width=260)
        at = names.index(chosen)
    label = f"{file} tab {names[at]}" if names[at] else file
    with st.container(key="pair_lies_and_made"):
        left, right = st.columns(2, gap="medium")
        with left:
            st.subheader("As it lies in the file", anchor=False)
            _as_it_lies(tabs[at], plan)
        with right:
            st.subheader("The tables made of it", anchor=False)
            _made_of(plan, file, names[at])
            _done_to(plan, label)
    unused = plan.not_used[plan.not_used["file"] == label]
    if len(unused):
        st.subheader("Read and not used", anchor=False)
        parts.show_table(unused.drop(columns="file"), "not_used")


def _as_it_lies(tab: Tab, plan: IntakePlan) -> None:
    if tab.grid is not None:
        show_grid(tab.grid, plan)
    elif tab.table is not None:
        shown = tab.table.cells.head(40).set_axis(list(tab.table.headers), axis=1)
        st.caption("A large file, read as one plain table; its first rows:")
        st.dataframe(shown, hide_index=True, alt="First rows of the file as written")


def _made_of(plan: IntakePlan, file: str, tab: str) -> None:
    some = False
    for name, frame in plan.sheets.items():
        mine = frame[(frame["_file"] == file) & (frame["_tab"] == tab)]
        if mine.empty:
            continue
        some = True
        more = f", the first {_FIRST_ROWS}" if len(mine) > _FIRST_ROWS else ""
        st.markdown(plain(f"{name}: {count(len(mine), 'new row')}{more}"))
        shown = mine[[*SHEETS[name].names()]].head(_FIRST_ROWS).dropna(axis=1, how="all")
        parts.show_table(shown, f"made_{name}")
    if not some:
        st.markdown("No new row goes in from here so far.")


def _done_to(plan: IntakePlan, label: str) -> None:
    """Each layout's account of what it did, and what waits."""
    says = dict.fromkeys(step.says for table, step in plan.did if table == label and step.says)
    lines = [f"{one[:1].upper()}{one[1:]}." for one in says]
    waits = dict.fromkeys(
        fault.wrong for fault in plan.faults if fault.file == label and fault.wrong[:5] == WAITS[:5]
    )
    lines += [f"A table {one}." for one in waits]
    if lines:
        st.markdown("What was done to read it:")
        st.markdown(bullets(lines))
