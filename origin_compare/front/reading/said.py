"""What was said about the files that lie on the page, and a reading plan in words."""

from __future__ import annotations

import streamlit as st

from origin_compare import words
from origin_compare.answers import listed
from origin_compare.front import parts
from origin_compare.intake.asking.reading_plan import IGNORE, ReadingPlan

_TOLD = "intake_told"

Kind = tuple[str, ...]


def told() -> tuple[ReadingPlan, ...]:
    """What was said about the files that lie here, not yet kept for others."""
    plans: tuple[ReadingPlan, ...] = st.session_state.get(_TOLD, ())
    return plans


def forget_told() -> None:
    """Drop what was said, once the files are in."""
    st.session_state.pop(_TOLD, None)


def said_of(kind: Kind) -> ReadingPlan:
    """What holds for a kind of table so far: said here, or else remembered."""
    everything = (*told(), *parts.store().reading_plans())
    return next((one for one in everything if one.kind == kind), ReadingPlan("", kind=kind))


def say(*plans: ReadingPlan) -> None:
    """Hold these for the files that lie here, each in place of what was said of its kind."""
    kinds = {one.kind for one in plans}
    rest = tuple(one for one in told() if one.kind not in kinds)
    st.session_state[_TOLD] = (*rest, *plans)


def in_words(plan: ReadingPlan) -> str:
    """What a reading plan says, in a few sentences."""
    said = [f"Tables with the headers {', '.join(plan.kind or plan.wanted)}"]
    said[0] += f" are {plan.sheet}." if plan.sheet else "."
    if plan.columns:
        wanted = [
            f"{header} is {words.label(name)}"
            for header, name in plan.columns.items()
            if name != IGNORE
        ]
        unwanted = [header for header, name in plan.columns.items() if name == IGNORE]
        said += [f"{listed(wanted, 30)}."] if wanted else []
        said += [f"Not wanted: {listed(unwanted, 30)}."] if unwanted else []
    said += [
        f"Every row has {words.label(name)} {value}." for name, value in plan.constants.items()
    ]
    said += [f"Dates are {plan.date_order}."] if plan.date_order else []
    if plan.decimal_comma is not None:
        said.append(f"Figures have a decimal {'comma' if plan.decimal_comma else 'point'}.")
    said += [f"{key[:1].upper()}{key[1:]}: {choice}." for key, choice in plan.answers.items()]
    return " ".join(said)
