"""The parts of the page that plans the next batches."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
import streamlit as st

from origin_compare import page_parts as parts
from origin_compare import words
from origin_compare.answers import listed
from origin_compare.drivers import Trials, TrialSizes, next_trials, trial_sizes
from origin_compare.drivers.trial_settings import levels_of, outside_house, settable
from origin_compare.drivers.trials import FEWEST, MOST, Model
from origin_compare.drivers.wording import upper
from origin_compare.errors import NotEnoughData
from origin_compare.figures import trials as drawn
from origin_compare.questions import Questions
from origin_compare.reports.exports import safe_csv

MODELS: dict[str, Model] = {
    "each setting alone": "straight lines",
    "and whether settings depend on each other": "with interactions",
    "and whether there is a best middle": "with bends",
}
NO_DATA_SD = 0.5
# In a trial a peak is aimed at, not recorded.
SHORT = {"peak_temp_c": "peak_c"}


@dataclass(frozen=True)
class Wish:
    """What is asked of the next batches."""

    settings: dict[str, list[float]]
    batches: int
    sd: float
    model: Model
    growers: tuple[str, ...]
    most_each: int | None
    repeats: int
    cost_each: float | None
    seed: int


def left_out(asked: Questions) -> tuple[str, ...]:
    """Batches left out by hand on the drivers page: they are no witness here either."""
    known = set(asked.batches["batch_id"])
    return tuple(one for one in st.session_state.get("leave_out", ()) if one in known)


def so_far(asked: Questions) -> pd.DataFrame:
    """The batches that count as made: ended, and not left out by hand."""
    batches = asked.batches
    out = batches["batch_id"].isin(left_out(asked)) | batches["status"].eq("fermenting")
    return batches[~out]


def doubt(asked: Questions) -> tuple[str, float, str]:
    """The attribute cared about, how far like batches differ on it, and that in words."""
    try:
        spread = asked.drivers(left_out(asked)).spread
    except NotEnoughData as fault:
        return "", NO_DATA_SD, f"{fault} Until then a spread of {NO_DATA_SD:g} points is supposed."
    told = spread[spread["told_apart"]]
    spread = told if len(told) else spread
    chosen = parts.pick(
        "Flavour you care about most", spread["attribute"].tolist(), "flavour",
        format_func=words.flavour, width=300,
    )  # fmt: skip
    row = spread[spread["attribute"] == chosen].iloc[0]
    said = (
        f"Batches of like harvest, process and grower still differ by {row['sd']:.2f} points on "
        f"{words.flavour(chosen)} ({row['batch_sd']:.2f} batch to batch, {row['panel_sd']:.2f} "
        "the panel's own error): that is what the trial has to be seen against."
    )
    if gone := left_out(asked):
        said += f" Left out by hand on the drivers page: {listed(list(gone))}."
    return chosen, float(row["sd"]), said


def wish(asked: Questions, sd: float, key: str) -> Wish | None:
    """The form: what may be set, whose barley comes, how many batches, at what cost."""
    offered = settable(so_far(asked), asked.season.rules)
    if offered.empty:
        st.info(
            "No length, temperature or pH varied so far, so no ends can be proposed. Take in the "
            "fermentations and readings first."
        )
        return None
    with st.form("trial", border=True):
        left, right = st.columns([3, 2], gap="medium")
        with left:
            st.markdown("**What the house can set, and between which ends**")
            wanted = _settings(offered)
            st.caption(
                "Ends start at the house rules. Tick final pH only if the house can hold it."
            )
        with right:
            batches = st.slider("Batches", FEWEST, MOST, 12, key="trial_batches")
            model = st.radio("What to find out", list(MODELS), key="trial_model")
        wished = _barley_and_cost(asked, sd, key)
        st.form_submit_button("Plan the batches", type="primary")
    try:
        settings = levels_of(wanted)
    except ValueError as fault:
        st.warning(upper(str(fault)), icon=":material/info:")
        return None
    if MODELS[model] == "with bends":
        settings = {name: _with_middle(levels) for name, levels in settings.items()}
    growers, most_each, repeats, cost, spread, seed = wished
    return Wish(settings, batches, spread, MODELS[model], growers, most_each, repeats, cost, seed)


def _with_middle(levels: list[float]) -> list[float]:
    """A bend needs a setting between the ends."""
    return sorted({*levels, (levels[0] + levels[-1]) / 2}) if len(levels) == 2 else levels


def _settings(offered: pd.DataFrame) -> pd.DataFrame:
    shown = offered.assign(
        setting=offered["setting"].replace(SHORT).map(words.label),
        made=[f"{low:g} to {high:g}" for low, high in offered[["made_from", "made_to"]].to_numpy()],
    ).drop(columns=["made_from", "made_to"])
    number = st.column_config.NumberColumn
    edited = st.data_editor(
        shown,
        disabled=["setting", "made"],
        hide_index=True,
        key="trial_settings",
        column_config={
            "use": st.column_config.CheckboxColumn("set it"),
            "levels": number("levels", min_value=2, max_value=5, step=1, required=True),
            "lowest": number("lowest", required=True),
            "highest": number("highest", required=True),
            "made": "made so far",
        },
    )
    return edited.assign(setting=offered["setting"].to_numpy())


def _barley_and_cost(
    asked: Questions, sd: float, key: str
) -> tuple[tuple[str, ...], int | None, int, float | None, float, int]:
    known = sorted(asked.season.sheets["lots"]["grower_id"].dropna().unique())
    growers = st.multiselect(
        "Growers whose barley comes",
        known,
        key="trial_growers",
        placeholder="any (the plan does not say whose)",
        help="Each is then spread over the settings (a split lot), and one that was mashed before "
        "bridges the harvests.",
    )
    with st.container(horizontal=True, vertical_alignment="bottom"):
        most = st.number_input(
            "Batches one grower's barley makes, at most", 1, MOST, None, placeholder="no limit",
            key="trial_most", width=290,
        )  # fmt: skip
        repeats = st.number_input(
            "Of these, runs made twice", 0, MOST // 2, 0, key="trial_repeats", width=190,
            help="What two runs alike differ by is batch to batch, whatever the settings do.",
        )  # fmt: skip
        cost = st.number_input(
            "Cost of a batch", 0.0, None, None, placeholder="not stated", key="trial_cost",
            width=160,
        )  # fmt: skip
        spread = st.number_input(
            "Like batches differ by, points", 0.01, 10.0, round(max(sd, 0.01), 2), 0.05,
            key=f"trial_sd_{key}", width=230,
        )  # fmt: skip
        seed = st.number_input("Seed of the draw", 0, 9999, 1, key="trial_seed", width=150)
    return (
        tuple(growers), None if most is None else int(most), int(repeats), cost, float(spread),
        int(seed),
    )  # fmt: skip


def plan(asked: Questions, wished: Wish) -> Trials:
    """The batches to make; a wish that cannot be met is said in words by whoever calls."""
    try:
        return next_trials(
            wished.settings,
            wished.batches,
            wished.sd,
            model=wished.model,
            so_far=so_far(asked),
            growers=wished.growers,
            most_each=wished.most_each,
            repeats=wished.repeats,
            seed=wished.seed,
        )
    except ValueError as fault:
        raise NotEnoughData(upper(str(fault))) from fault


def sizes(asked: Questions, wished: Wish) -> TrialSizes:
    """The same for fewer and for more batches."""
    return trial_sizes(
        wished.settings,
        wished.batches,
        wished.sd,
        model=wished.model,
        so_far=so_far(asked),
        growers=wished.growers,
        most_each=wished.most_each,
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
    different = len(found.runs[list(wished.settings)].drop_duplicates())
    st.caption(
        f"{len(found.runs)} batches at {different} different settings. Order drawn with seed "
        f"{found.seed}; the same seed draws it again. D-efficiency: how near the plan comes to "
        "settings that move independently and only between their ends (100 %); looking for a "
        "middle costs some of it."
    )
    st.download_button(
        "Run sheet to fill in (CSV)",
        data=lambda: safe_csv(_to_fill_in(found.table())),
        file_name="run_sheet_to_fill_in.csv",
        mime="text/csv",
        key="fill_in",
        on_click="ignore",
        icon=":material/assignment:",
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


def _to_fill_in(table: pd.DataFrame) -> pd.DataFrame:
    blank = ("batch_id", "made_on", "setting_kept_yes_or_no", "note")
    return _in_plain(table).assign(**dict.fromkeys(blank, ""))


def cautions(found: Trials, wished: Wish, asked: Questions) -> None:
    """What the plan must not be taken for."""
    for line in outside_house(wished.settings, asked.season.rules):
        st.warning(line, icon=":material/warning:")
    st.markdown(
        "- Every setting has to stay inside what the site's own procedures, licences and safety "
        "limits allow. This plan knows none of them.\n"
        "- Peak temperature and final pH are where a wash ends up, not dials: set what leads "
        "there, and write down where it ended.\n"
        "- Keep the drawn order. Made in order of setting, the weather of the weeks, the yeast "
        "and the panel's drift would stand in for the settings.\n"
        "- Taste the batches together, blind, at one strength, in an order of their own."
    )
    growers = found.by_grower()
    if growers.empty:
        return
    split = int((growers["settings"] > 1).sum())
    bridges = int((growers["earlier"] > 0).sum())
    st.markdown(
        f"{split} of {len(growers)} growers' lots are split over different settings; {bridges} "
        "were mashed before and bridge the harvests."
    )
    parts.show_table(growers, "lots_of_the_plan")


def seen(found: Trials) -> None:
    """What could be seen before and after."""
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


def _terms(found: Trials) -> pd.DataFrame:
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
