"""The sections of the drivers page about seasons, growers, lots, their fields, and prediction."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from origin_compare import words
from origin_compare.drivers import FIELD, PROCESS
from origin_compare.drivers.wording import title
from origin_compare.figures import driver_detail as detail
from origin_compare.figures import driver_foresight
from origin_compare.front import parts
from origin_compare.typed import plain

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

    from origin_compare.answers import Answer
    from origin_compare.drivers import DriverAnswers

ALL_GROWERS = "all growers"


def seasons(answers: DriverAnswers) -> None:
    """Season against grower against the two together."""
    found = answers.variance_parts
    _laid_out(
        found,
        "season_or_grower",
        detail.variance_parts(found, parts.is_dark()),
        "Standard deviation between seasons, growers, growers within their season, batches and of "
        "the panel, for every attribute, with intervals.",
        found.table().rename(columns={"sd": "points", "low": "low_points", "high": "high_points"}),
    )


def lots(answers: DriverAnswers, chosen: str) -> None:
    """Lots side by side on one attribute, each drawn towards the mean."""
    found = answers.lots
    rows = found.table()
    rows = rows[rows["attribute"] == chosen]
    shown = rows[
        [
            found.origin,
            "n_batches",
            "estimate",
            "low",
            "high",
            "direct",
            "direct_low",
            "direct_high",
        ]
    ]
    parts.sentence(found.sentence())
    parts.figure_beside_table(
        detail.origins(found, None, attribute=chosen, dark=parts.is_dark()),
        shown.rename(columns={"estimate": "total", "n_batches": "batches"}),
        f"lots_{chosen}",
        "Each lot's distance from the mean of all lots, process as it was and at like process.",
        table_height=360,
    )
    parts.rests_on(found.rests_on())


def origins(answers: DriverAnswers, chosen: str) -> None:
    """Growers side by side on one attribute, or one grower on all; or lots."""
    if parts.pick("Side by side", ["growers", "lots"], "side_by_side", width=160) == "lots":
        lots(answers, chosen)
        return
    found, agreement = answers.origins, answers.agreement
    growers = sorted(found.profiles[found.origin].unique())
    grower = parts.pick("Grower", [ALL_GROWERS, *growers], "of_grower", width=260)
    parts.sentence(f"{found.sentence()} {_kept_places(answers, chosen, grower)}")
    every = grower == ALL_GROWERS
    what = {"attribute": chosen, "grower": None} if every else {"attribute": None, "grower": grower}
    table = found.table()
    mine = table["attribute"] == chosen if every else table[found.origin] == grower
    columns = ["n_batches", "estimate", "low", "high", "direct", "direct_low", "direct_high"]
    shown = table.loc[mine, [found.origin if every else "attribute", *columns]]
    parts.figure_beside_table(
        detail.origins(found, agreement, **what, dark=parts.is_dark()),
        shown.rename(
            columns={
                "estimate": "total",
                "low": "total_low",
                "high": "total_high",
                "n_batches": "batches",
            }
        ),
        f"growers_{chosen}" if every else f"profile_{grower}",
        "Each grower's distance from the mean of all growers, process as it was and at like "
        "process, with intervals, and what each harvest alone gave.",
    )
    st.caption(
        "Full dot: process left as it was (total). Open dot: at like length, peak temperature and "
        "final pH (direct). Lines: 95 % intervals. Both are drawn towards the mean as far as they "
        f"are uncertain. Small signs: what one harvest alone gave, as scored "
        f"({plain(detail.season_signs(agreement))}). In the order of their codes, not of merit."
    )
    parts.rests_on(f"{found.rests_on()} {agreement.rests_on()}")


def _kept_places(answers: DriverAnswers, chosen: str, grower: str) -> str:
    if grower != ALL_GROWERS:
        return ""
    if chosen not in list(answers.profile.told):
        return f"The panel cannot tell batches apart on {words.flavour(chosen)}."
    return f"On {words.flavour(chosen)}, {answers.agreement.of(chosen)}"


def field(answers: DriverAnswers, chosen: str) -> None:
    """What of field and malt goes with the attribute, and a path by way of process if wanted."""
    found = answers.traits
    parts.sentence(found.sentence())
    table = found.of(chosen)[["trait", "verdict", "slope", "low", "high", "step", "q"]]
    parts.figure_beside_table(
        detail.traits(found, chosen, parts.is_dark()),
        table.assign(trait=table["trait"].map(title)),
        f"field_{chosen}",
        f"Slope of {words.flavour(chosen)} on each figure of field and malt with its interval.",
    )
    parts.rests_on(found.rests_on())
    on = st.toggle(
        "Follow a path: field, then process, then flavour",
        key="path",
        bind="query-params",
        persist_state="session",
    )
    if on:
        _path(answers, list(dict.fromkeys(found.slopes["trait"])))


def _path(answers: DriverAnswers, traits: list[str]) -> None:
    st.markdown(
        "**This takes something for granted:** that the field's figure came first, that it moved "
        "the process variable and not the other way round, and that no third thing moved both. "
        "The data cannot check it."
    )
    with st.container(horizontal=True):
        trait = parts.pick(
            "Field or malt", traits or list(FIELD), "trait", format_func=title, width=260
        )
        between = parts.pick("By way of", list(PROCESS), "by_way_of", format_func=title, width=260)
    found = answers.path(trait, between)
    table = found.table()
    shown = ["attribute", "by_way_of", "by_way_of_low", "by_way_of_high", "direct", "total"]
    _laid_out(
        found,
        f"path_{trait}_{between}",
        detail.path(found, parts.is_dark()),
        f"Part of each attribute's slope on {title(trait)} by way of {title(between)}, the part "
        "at like process, and both together, with intervals.",
        table.loc[table["told_apart"], shown],
    )


def _laid_out(answer: Answer, name: str, figure: Figure, says: str, table: pd.DataFrame) -> None:
    """Sentence, figure beside a shortened table, what it rests on."""
    parts.sentence(answer.sentence())
    parts.figure_beside_table(figure, table, name, says)
    parts.rests_on(answer.rests_on())


def foresight(answers: DriverAnswers) -> None:
    """Prediction as the judge: whole growers, then whole harvests, left out and foretold."""
    st.markdown(
        "If process and field really tell what a spirit will be like, they should foretell growers "
        "and harvests that were left out. The judge is the mean of the others: whoever cannot "
        "beat it has learnt nothing."
    )
    with st.spinner("Leaving out growers and harvests in turn …"):
        found = answers.foresight
    _laid_out(
        found,
        "foresight",
        driver_foresight.foresight(found, parts.is_dark()),
        "How much smaller the error of each method is than that of the mean, for growers and for "
        "harvests left out; left of nothing is worse than the mean.",
        driver_foresight.foresight_table(found),
    )
    st.caption(
        "Circle: ridge regression (many weak predictors, all held back). Diamond: partial least "
        "squares (a few combined predictors). Full: surely better than the mean. Open: no better. "
        "Few harvests left out in turn are few draws of the weather."
    )
