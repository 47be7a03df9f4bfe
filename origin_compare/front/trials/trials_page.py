"""The parts of the page that plans the next batches: the plan, what it shows, what it costs."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from origin_compare.drivers.wording import upper
from origin_compare.errors import NotEnoughData
from origin_compare.figures import trials as drawn
from origin_compare.front import parts
from origin_compare.front.trials.trials_form import SHORT, Wish, so_far
from origin_compare.questions import Questions
from origin_compare.reports.exports import safe_csv
from origin_compare.trials import (
    TrialOptions,
    TrialPower,
    Trials,
    TrialSizes,
    next_trials,
    trial_options,
    trial_power,
    trial_sizes,
)
from origin_compare.trials.plan_sheet import run_sheet
from origin_compare.trials.settings import outside_house
from origin_compare.typed import plain


def plan(asked: Questions, wished: Wish) -> Trials:
    """The batches to make; a wish that cannot be met is said in words by whoever calls."""
    try:
        return next_trials(
            wished.choices,
            wished.batches,
            wished.doubt.sd,
            model=wished.model,
            so_far=so_far(asked),
            lot_sd=wished.doubt.lot_sd,
            repeats=wished.repeats,
            seed=wished.seed,
        )
    except ValueError as fault:
        raise NotEnoughData(upper(str(fault))) from fault


def power(found: Trials, wished: Wish) -> TrialPower:
    """What the plan would show, by simulation from the fitted model."""
    return trial_power(found, wished.doubt.batch_sd, wished.doubt.panel_sd, seed=wished.seed)


def options(asked: Questions, found: Trials, wished: Wish) -> TrialOptions:
    """The same number of batches with one thing chosen otherwise."""
    return trial_options(found, so_far(asked), repeats=wished.repeats, cost_each=wished.cost_each)


def sizes(asked: Questions, wished: Wish) -> TrialSizes:
    """The same for fewer and for more batches."""
    return trial_sizes(
        wished.choices,
        wished.batches,
        wished.doubt.sd,
        model=wished.model,
        so_far=so_far(asked),
        lot_sd=wished.doubt.lot_sd,
        cost_each=wished.cost_each,
        seed=wished.seed,
    )


def answer(found: Trials, wished: Wish) -> None:
    """What the plan would show and what it costs, in a sentence."""
    parts.sentence(f"{found.sentence()} {_cost(wished)}".strip())


def runs(found: Trials, wished: Wish) -> None:
    """The run sheet: figure, table, a sheet to fill in."""
    parts.figure_beside_table(
        drawn.runs(found, parts.is_dark()),
        _in_plain(found.table()).rename(columns=SHORT),
        "run_sheet",
        "The settings of every batch in the order to make them.",
    )
    different = len(found.runs[list(wished.choices.settings)].drop_duplicates())
    st.caption(
        f"{len(found.runs)} batches at {different:d} different settings. Order drawn with seed "
        f"{plain(found.seed)}; the same seed draws it again. D-efficiency: how near the plan "
        "comes to settings that move independently and only between their ends (100 %); looking "
        "for a middle costs some of it."
    )
    st.download_button(
        "Run sheet to fill in (CSV)",
        data=lambda: safe_csv(run_sheet(found)),
        file_name="run_sheet_to_fill_in.csv",
        mime="text/csv",
        key="fill_in",
        on_click="ignore",
        icon=":material/assignment:",
    )
    st.caption(
        "The run sheet is a fermentations sheet: write in batch number and time of pitching as "
        "each batch is made, and take it in as it is. It states which settings were drawn by "
        "lot, so that these batches count as a randomised trial."
    )
    parts.rests_on(found.rests_on())


def _cost(wished: Wish) -> str:
    if wished.cost_each is None:
        return ""
    total = wished.batches * wished.cost_each
    return f"At {wished.cost_each:,.0f} a batch that costs {total:,.0f}."


def _in_plain(table: pd.DataFrame) -> pd.DataFrame:
    again = [f"batch {run}" if run else "" for run in table["repeats"]]
    return table.assign(repeats=again).rename(columns={"repeats": "same as"})


def cautions(found: Trials, wished: Wish, asked: Questions) -> None:
    """What the plan must not be taken for."""
    for line in outside_house(wished.choices.settings, asked.season.rules):
        st.warning(plain(line), icon=":material/warning:")
    st.markdown(
        "- Every setting has to stay inside what the site's own procedures, licences and safety "
        "limits allow. This plan knows none of them.\n"
        "- Peak temperature and final pH are where a wash ends up, not dials: set what leads "
        "there, and write down where it ended.\n"
        "- Keep the drawn order. Made in order of setting, the weather of the weeks, the yeast "
        "and the panel's drift would stand in for the settings.\n"
        "- Taste the batches together, blind, at one strength, in an order of their own."
    )
    lots = found.by_lot
    if lots.empty:
        return
    split = int((lots["settings"] > 1).sum())
    bridges = int((lots["earlier"] > 0).sum())
    st.markdown(
        f"{split:d} of {len(lots)} lots are split over different settings; {bridges:d} "
        f"{'was' if bridges == 1 else 'were'} mashed before and bridge the harvests."
    )
    parts.show_table(lots, "lots_of_the_plan")


def seen(found: TrialPower) -> None:
    """What could be seen before and after."""
    parts.sentence(found.sentence())
    parts.figure_beside_table(
        drawn.visible(found, parts.is_dark()),
        _terms(found),
        "what_the_trial_shows",
        "For each setting the smallest slope that would be seen four times in five, now and with "
        "the new batches.",
    )
    st.caption(
        "Open: with the batches made so far. Full: with the new ones as well. Further left is "
        "better: smaller effects are seen. No open mark: the batches so far cannot tell it."
    )
    parts.rests_on(found.rests_on())


def _terms(found: TrialPower) -> pd.DataFrame:
    told = found.told_terms()
    return pd.DataFrame(
        {
            "effect": [name for name, _ in told],
            "per": [unit for _, unit in told],
            "seen_now": found.terms["visible_before"],
            "seen_then": found.terms["visible_after"],
            "se_now": found.terms["se_before"],
            "se_then": found.terms["se_after"],
        }
    )


def otherwise(found: TrialOptions) -> None:
    """What each choice costs in sight."""
    parts.sentence(found.sentence())
    parts.show_table(found.table(), "choices")
    parts.rests_on(found.rests_on())


def more_or_fewer(found: TrialSizes) -> None:
    """What fewer batches would cost in sight, and more in money."""
    parts.sentence(found.sentence())
    parts.figure_beside_table(
        drawn.trial_sizes(found, parts.is_dark()),
        found.table(),
        "number_of_batches",
        "The smallest slope seen four times in five against the number of batches.",
    )
    parts.rests_on(found.rests_on())
