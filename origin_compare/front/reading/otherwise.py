"""A form by which a table is read otherwise, without being asked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import streamlit as st

from origin_compare import words
from origin_compare.front.reading.said import Kind, said_of, say
from origin_compare.intake.asking.reading_plan import ATTRIBUTE, DATE_ORDERS, IGNORE, ReadingPlan
from origin_compare.intake.plan import IntakePlan
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.typed import plain

_AS_READ = "(as it was read)"
_BY_HEADERS = "(as its headers say)"
_FROM = ("the tab's name", "the file's name", "the day")
_DECIMALS = {"1.5 (point)": False, "1,5 (comma)": True}


def _kinds_of(plan: IntakePlan, file: str) -> dict[Kind, list[str]]:
    """The kinds of table in a file, each with the headers it may be told about."""
    found: dict[Kind, list[str]] = {}
    for table in plan.tables:
        if table.file == file and table.kind:
            found.setdefault(table.kind, []).extend(table.headers)
    for question in plan.questions:
        if question.where.file == file and question.kind and question.kind not in found:
            label = f"{file} tab {question.where.tab}" if question.where.tab else file
            offers = [one.headers for one in plan.offers if one.label == label]
            found[question.kind] = [header for headers in offers for header in headers]
    return {kind: list(dict.fromkeys(headers)) for kind, headers in found.items()}


def put_right(plan: IntakePlan, file: str) -> None:
    """A form by which any table of a file is read otherwise, without being asked."""
    kinds = _kinds_of(plan, file)
    if not kinds:
        return
    with st.expander("Read it otherwise", icon=":material/edit:"):
        kind = next(iter(kinds))
        if len(kinds) > 1:
            kind = st.selectbox(
                "Which table",
                list(kinds),
                format_func=lambda one: ", ".join(kinds[one][:8]),
                key=f"otherwise_kind_{file}",
                width=560,
            )
        said = said_of(kind)
        with st.form(f"otherwise_{file}_{' '.join(kind)}", border=False):
            changed = _otherwise(plan, said, kinds[kind])
            if st.form_submit_button("Read it like this", type="primary"):
                try:
                    say(changed())
                except ValueError as why:
                    st.error(plain(why), icon=":material/error:")
                else:
                    st.rerun()


class _Otherwise:
    """What the form says, as a reading plan once it is sent."""

    def __init__(self, said: ReadingPlan) -> None:
        self.said = said
        self.sheet = said.sheet
        self.columns = dict(said.columns)
        self.constant: tuple[str, str] = ("", "")
        self.date_order = said.date_order
        self.decimal_comma = said.decimal_comma
        self.refused: list[str] = []
        self.again: list[str] = []

    def __call__(self) -> ReadingPlan:
        answers = {key: one for key, one in self.said.answers.items() if key not in self.again}
        answers |= dict.fromkeys(self.refused, "no")
        constants = {
            name: one
            for name, one in self.said.constants.items()
            if f"constant: {name}" not in self.again
        }
        name, value = self.constant
        if name and value in _FROM:
            answers[f"{name} from"] = value
        elif name and value:
            constants[name] = value
        return replace(
            self.said,
            sheet=self.sheet,
            columns=self.columns,
            constants=constants,
            date_order=self.date_order,
            decimal_comma=self.decimal_comma,
            answers=answers,
        )


def _otherwise(plan: IntakePlan, said: ReadingPlan, headers: Sequence[str]) -> _Otherwise:
    form = _Otherwise(said)
    key = f"otherwise_{' '.join(said.kind)}"
    places = st.columns(3)
    with places[0]:
        chosen = _select("This table is", [_BY_HEADERS, *SHEETS], said.sheet, f"{key}_sheet")
        form.sheet = "" if chosen == _BY_HEADERS else chosen
    with places[1]:
        chosen = _select("Dates", [_AS_READ, *DATE_ORDERS], said.date_order, f"{key}_dates")
        form.date_order = "" if chosen == _AS_READ else chosen
    with places[2]:
        now = next((one for one, comma in _DECIMALS.items() if comma == said.decimal_comma), "")
        chosen = _select("Figures", [_AS_READ, *_DECIMALS], now, f"{key}_figures")
        form.decimal_comma = _DECIMALS.get(chosen)
    form.columns = _columns_otherwise(said, headers, key)
    columns = _columns_of(said.sheet)
    with places[0]:
        name = _select("A value for every row: of", ["", *columns], "", f"{key}_constant")
    with places[1]:
        value = st.text_input(
            "The value, or where it stands", key=f"{key}_value", placeholder=" / ".join(_FROM)
        )
    form.constant = (name, value.strip())
    steps = {step.name: step.says for _, step in plan.did if step.name and step.says}
    form.refused = st.multiselect(
        "Do not do this to it",
        list(steps),
        format_func=lambda one: f"{one}: {steps[one]}",
        key=f"{key}_steps",
    )
    keys = [*said.answers, *(f"constant: {one}" for one in said.constants)]
    if keys:
        form.again = st.multiselect("Take back what was said to", keys, key=f"{key}_again")
    return form


def _columns_otherwise(said: ReadingPlan, headers: Sequence[str], key: str) -> dict[str, str]:
    """Header -> column as chosen; a header left as it was read is not named."""
    options = [_AS_READ, IGNORE, *_columns_of(said.sheet)]
    if said.sheet in ("", "scores"):
        options.append(ATTRIBUTE)
    columns = dict(said.columns)
    st.markdown("**What each column is**")
    places = st.columns(3)
    for number, header in enumerate(headers):
        with places[number % 3]:
            chosen = _select(
                plain(header) or "(no header)",
                options,
                said.columns.get(header, ""),
                f"{key}_column_{header}",
            )
        columns.pop(header, None)
        if chosen != _AS_READ:
            columns[header] = chosen
    return columns


def _columns_of(sheet: str) -> list[str]:
    sheets: Iterable[str] = [sheet] if sheet else SHEETS
    return list(dict.fromkeys(name for one in sheets for name in SHEETS[one].names()))


def _select(label: str, options: Sequence[str], now: str, key: str) -> str:
    index = options.index(now) if now in options else 0
    chosen = st.selectbox(
        label,
        options,
        index=index,
        key=key,
        format_func=lambda one: "not wanted" if one == IGNORE else words.label(one),
    )
    return chosen or options[0]
