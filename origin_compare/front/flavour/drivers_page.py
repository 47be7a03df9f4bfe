"""The sections of the drivers page, each asked, drawn and said."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from origin_compare import figures, words
from origin_compare.drivers import pointed_at
from origin_compare.drivers.wording import title, upper
from origin_compare.errors import NotEnoughData
from origin_compare.figures import driver_detail as detail
from origin_compare.front import parts
from origin_compare.questions import Questions
from origin_compare.typed import bullets, plain

if TYPE_CHECKING:
    from streamlit.delta_generator import DeltaGenerator

    from origin_compare.drivers import DriverAnswers, Effects, Separability

MOST_WARNINGS = 6
MOST_TIES = 4
INTERVAL = "95 % interval: where the true value plausibly lies."


def leave_out(asked: Questions) -> list[str]:
    """The batches left out by hand, kept in the address as `?leave_out=`; none at first."""
    known = asked.batches.loc[~asked.batches["status"].eq("fermenting"), "batch_id"]
    with st.container(key="noprint_leave_out"):
        return st.multiselect(
            "Leave out batches",
            sorted(known),
            key="leave_out",
            placeholder="none left out",
            help="For a batch whose readings are not to be trusted. Every answer on this page is "
            "then worked out without it, and says so.",
            bind="query-params",
            persist_state="session",
        )


def readings(asked: Questions, chosen: list[str], place: DeltaGenerator) -> None:
    """Which batches' figures rest on a reading set in doubt; one click leaves them out."""
    if not asked.departures_known:
        with place.container(key="noprint_check"):
            wanted = st.button(
                "Are the readings sound? Hold every log against the house band",
                key="check_readings",
                icon=":material/thermostat:",
                type="tertiary",
            )
        if not wanted:
            return
        with place.container(key="noprint_checking"), st.spinner("Holding logs to the band …"):
            _ = asked.departures
    found = asked.doubted
    left = found.still_in(chosen)
    with place.container(key="noprint_readings"):
        if left.batches.empty:
            all_out = "Left out by hand: every batch whose readings are in doubt."
            st.caption(plain(all_out if len(found.batches) else found.sentence()))
            return
        st.warning(plain(left.sentence()), icon=":material/thermostat:")
        st.button(
            "Leave these out" if len(left.batches) > 1 else "Leave it out",
            key="leave_doubted_out",
            on_click=_leave,
            args=([*chosen, *left.ids()],),
        )


def _leave(batches: list[str]) -> None:
    st.session_state["leave_out"] = sorted(set(batches))


@contextmanager
def section(heading: str) -> Iterator[None]:
    """A part of the page; what its data cannot bear is said there, and the rest goes on."""
    st.header(heading, anchor=False)
    try:
        yield
    except NotEnoughData as fault:
        st.info(plain(fault), icon=":material/info:")


def answers(asked: Questions, chosen: list[str]) -> DriverAnswers | None:
    """What goes with flavour; None, and why in words, while nothing can be said."""
    try:
        return asked.drivers(chosen)
    except NotEnoughData as fault:
        st.warning(plain(fault), icon=":material/info:")
        return None


def season(answers: DriverAnswers) -> None:
    """One sentence for the season, or why there is none."""
    try:
        parts.sentence(answers.split.sentence())
    except NotEnoughData as fault:
        st.warning(plain(fault), icon=":material/info:")


def told_apart(found: Separability) -> None:
    """What moved together, before any coefficient."""
    st.markdown(bullets(found.sentences()[:MOST_TIES]))
    table = found.table()
    ends = table[["least", "most"]].to_numpy()
    parts.figure_beside_table(
        figures.overlap(found, parts.is_dark()),
        pd.DataFrame(
            {
                "figure": table["variable"].map(title),
                "range": [f"{low:.5g} to {high:.5g}" for low, high in ends],
                "within_share": table["within_share"],
                "vif": table["vif"],
                "tied": table["tied"].map({True: "yes", False: ""}),
            }
        ),
        "overlap",
        "Every two of grower, lot, variety, vessel, yeast, length, temperature, pH and strength: "
        "the larger the mark, the more they moved together; squares cannot be told apart.",
    )
    st.caption(
        "Squares cannot be told apart; the number is how strongly they moved together, 0 to 1. "
        "Within share: how much of a figure's variation lies among one grower's batches. Variance "
        "inflation above 5: the others foretell it too well for a slope of its own. Condition "
        f"index of all figures together {found.condition_index:.0f} (above 30 is usually called "
        "serious)."
    )
    parts.rests_on(found.rests_on())


def split(answers: DriverAnswers) -> None:
    """Origin, process, both together, unexplained: whole profile and attribute by attribute."""
    found = answers.split
    parts.figure_beside_table(
        figures.split(found, parts.is_dark()),
        found.table().rename(columns={"low": "low_pct", "high": "high_pct"}),
        "split",
        "For the whole profile and each attribute: the share of variation that goes with origin, "
        "with process, with both together, and what is unexplained, with intervals.",
    )
    st.caption(
        "Dot: the share estimated. Line: where the true share plausibly lies (95 %). A share near "
        "nothing can come out below zero, since estimates err both ways."
    )
    parts.rests_on(found.rests_on())


def effects(answers: DriverAnswers) -> None:
    """Slopes with their verdicts, and what speaks against each."""
    found = answers.effects
    parts.sentence(found.sentence())
    columns = [
        "attribute",
        "process",
        "verdict",
        "slope",
        "low",
        "high",
        "step",
        "q",
        "within",
        "between",
    ]
    table = found.table()[columns]
    parts.figure_beside_table(
        figures.effects(found, parts.is_dark()),
        table.assign(process=table["process"].map(title)).rename(
            columns={"within": "within_growers", "between": "between_growers"}
        ),
        "effects",
        "Slope of every attribute on each process variable with its 95 % interval; the shape of "
        "the mark says how clear it is.",
    )
    st.caption(
        "Full large mark: clear. Open: a hint. Small: not shown. Thin cross: cannot be told apart "
        "from something else. Bar: the panel cannot tell batches apart on it. A star beside a "
        f"mark: read the doubt below. {INTERVAL}"
    )
    _warnings(found)
    parts.rests_on(found.rests_on())
    with suppress(NotEnoughData):
        trial = answers.randomised
        st.subheader("What a randomised trial shows", anchor=False)
        parts.sentence(trial.sentence())
        parts.rests_on(trial.rests_on())


def _warnings(found: Effects) -> None:
    """What speaks against taking a finding at its word, a line each."""
    spoken = found.slopes[found.slopes["warning"].ne("")]
    if spoken.empty:
        return
    st.markdown(f"**Before you rely on a finding.** {plain(pointed_at(found.slopes))}")
    lines = [
        f"{upper(words.flavour(str(row['attribute'])))} and {title(str(row['process']))} "
        f"({row['verdict']}): {row['warning']}."
        for row in spoken.to_dict("records")
    ]
    st.markdown(bullets(lines[:MOST_WARNINGS]))
    if len(lines) > MOST_WARNINGS:
        with st.expander(f"{len(lines) - MOST_WARNINGS} more"):
            st.markdown(bullets(lines[MOST_WARNINGS:]))


def attribute(answers: DriverAnswers) -> str:
    """One attribute opened: its batches against each process variable."""
    chosen = parts.pick(
        "Attribute",
        list(answers.profile.attributes),
        "attribute",
        format_func=words.flavour,
        width=260,
    )
    st.markdown(bullets(answers.effects.of(chosen)))
    found = answers.opened(chosen)
    parts.sentence(found.sentence())
    process = ", ".join(title(name) for name in found.process)
    parts.figure_beside_table(
        detail.opened(found, parts.is_dark()),
        found.table().rename(columns={"peak_temp_c": "peak_c"}),
        f"batches_{chosen}",
        f"Adjusted score for {words.flavour(chosen)} of every batch with the panel's interval, "
        f"against {process}, with the slope and its band.",
        table_height=360,
    )
    st.caption(
        f"Each point a batch ({plain(detail.batch_signs(found))}), its line the panel's 95 % "
        "interval. Solid slope: the other process variables allowed for. Broken: this one alone, "
        "because it cannot be told apart. Band: the slope's own interval. Batches named are those "
        "a finding leans on."
    )
    parts.rests_on(found.rests_on())
    return chosen


def carried(answers: DriverAnswers, chosen: str) -> None:
    """How much of the attribute's variation each variable carries, if asked for."""
    if not st.toggle(
        "How much each carries, whichever comes first",
        key="carried",
        bind="query-params",
        persist_state="session",
    ):
        return
    found = answers.importance(chosen)
    parts.sentence(found.sentence())
    table = found.table().assign(
        share=lambda t: 100 * t["share"],
        alone=lambda t: 100 * t["alone"],
        added_last=lambda t: 100 * t["added_last"],
    )
    parts.show_table(
        table.drop(columns="of_explained").rename(
            columns={"share": "share_pct", "alone": "alone_pct", "added_last": "added_last_pct"}
        ),
        f"carried_{chosen}",
    )
    st.caption(
        "Shares of what is explained as scored, not adjusted: many growers carry some of it by "
        "chance alone, and variables tied together share theirs evenly. The split above is the "
        "fairer answer for growers."
    )


def same_hour(answers: DriverAnswers, chosen: str) -> None:
    """pH and gravity at the same hour of every batch, since final values depend on the end."""
    found = answers.fixed_hours
    parts.sentence(found.sentence())
    table = found.of(chosen)[
        ["column", "verdict", "slope", "low", "high", "step", "q", "with_length"]
    ]
    parts.figure_beside_table(
        detail.fixed_hours(found, chosen, parts.is_dark()),
        table.assign(column=table["column"].map(title)).rename(columns={"column": "value"}),
        f"fixed_hours_{chosen}",
        f"Slope of {words.flavour(chosen)} on pH and on gravity at fixed hours, with intervals.",
    )
    st.caption(
        "Final pH and gravity depend on when a fermentation was stopped; at the same hour they do "
        "not. With length: how the value moved with length, -1 to 1; near 0 the two can be told "
        "apart."
    )
    parts.rests_on(found.rests_on())


def shown(heading: str, part: Callable[[DriverAnswers], None], answers: DriverAnswers) -> None:
    """One section under its heading."""
    with section(heading):
        part(answers)
