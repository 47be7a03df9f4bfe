"""What goes with flavour here: process or origin, and what cannot be told apart yet?"""

import streamlit as st

from origin_compare import figures
from origin_compare import page_parts as parts
from origin_compare.page_answers import questions

with parts.question("What goes with flavour here: process or origin?"):
    years = parts.season_choice()
    asked = questions(years)
    with st.spinner("Splitting origin from process …"):
        split = asked.split
    parts.sentence(split.sentence())
    parts.figure_beside_table(
        figures.split(split, parts.is_dark()),
        split.table().rename(columns={"low": "low_pct", "high": "high_pct"}),
        "split",
        "For the whole profile and each attribute: the share of variation that goes with origin, "
        "with process, with both together, and what is unexplained, with intervals.",
    )
    st.caption(
        "Dot: the share estimated. Line: where the true share plausibly lies (95 %). A share near "
        "nothing can come out below zero, since estimates err both ways."
    )
    parts.rests_on(split.rests_on())

    st.header("Length, peak temperature and final pH, attribute by attribute", anchor=False)
    with st.spinner("Estimating what goes with flavour …"):
        effects = asked.effects
    columns = ["attribute", "process", "verdict", "slope", "low", "high", "q", "step"]
    parts.sentence(effects.sentence())
    parts.figure_beside_table(
        figures.effects(effects, parts.is_dark()),
        effects.table()[columns],
        "effects",
        "Slope of every attribute on each process variable with its 95 % interval; the shape of "
        "the mark says how clear it is.",
    )
    st.caption(
        "Full large mark: clear. Open: a hint. Small: not shown. Thin cross: cannot be told apart "
        "from something else. Bar: the panel cannot tell batches apart on it. 95 % interval: where "
        "the true value plausibly lies."
    )
    parts.rests_on(effects.rests_on())

    st.header("What moved together in these batches", anchor=False)
    tied = asked.separable
    parts.help_with(
        tied,
        "overlap",
        figures.overlap(tied, parts.is_dark()),
        "Every two of grower, lot, variety, vessel, yeast, length, temperature, pH and strength: "
        "the larger the mark, the more they moved together; squares cannot be told apart.",
    )
