"""The form of the page that plans the next batches: settings, barley, vessels, what matters."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
import streamlit as st

from origin_compare import words
from origin_compare.answers import listed
from origin_compare.drivers.wording import upper
from origin_compare.errors import NotEnoughData
from origin_compare.front import parts
from origin_compare.questions import Questions
from origin_compare.trials import Choices
from origin_compare.trials.barley_left import barley_left, grain_per_batch_t, lots_to_come
from origin_compare.trials.proposal import FEWEST, MOST, Model
from origin_compare.trials.settings import levels_of, settable, weights_of
from origin_compare.typed import plain

MODELS: dict[str, Model] = {
    "each setting alone": "straight lines",
    "and whether settings depend on each other": "with interactions",
    "and whether there is a best middle": "with bends",
}
NO_DATA_SD = 0.5
# In a trial a peak is aimed at, not recorded.
SHORT = {"peak_temp_c": "peak_c"}


@dataclass(frozen=True)
class Doubt:
    """How far like batches differ on the attribute cared about, score points."""

    attribute: str
    says: str
    sd: float = NO_DATA_SD
    batch_sd: float = NO_DATA_SD
    panel_sd: float = 0.0
    lot_sd: float = NO_DATA_SD

    def scaled(self, sd: float) -> Doubt:
        """The same in proportion, for another spread of like batches."""
        by = sd / self.sd
        return replace(self, sd=sd, batch_sd=by * self.batch_sd, panel_sd=by * self.panel_sd)


@dataclass(frozen=True)
class Wish:
    """What is asked of the next batches."""

    choices: Choices
    batches: int
    doubt: Doubt
    model: Model
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


def doubt(asked: Questions) -> Doubt:
    """The attribute cared about, and how far like batches differ on it."""
    try:
        spread = asked.drivers(left_out(asked)).spread
    except NotEnoughData as fault:
        return Doubt("", f"{fault} Until then a spread of {NO_DATA_SD:g} points is supposed.")
    told = spread[spread["told_apart"]]
    spread = told if len(told) else spread
    chosen = parts.pick(
        "Flavour you care about most",
        spread["attribute"].tolist(),
        "flavour",
        format_func=words.flavour,
        width=300,
    )
    row = spread[spread["attribute"] == chosen].iloc[0]
    said = (
        f"Batches of like harvest, process and grower still differ by {row['sd']:.2f} points on "
        f"{words.flavour(chosen)} ({row['batch_sd']:.2f} batch to batch, {row['panel_sd']:.2f} "
        "the panel's own error): that is what the trial has to be seen against. Growers differ "
        f"by {row['grower_sd']:.2f}; lots to come are taken to differ as much."
    )
    if gone := left_out(asked):
        said += f" Left out by hand on the drivers page: {listed(list(gone))}."
    return Doubt(
        chosen, said, *(float(row[name]) for name in ("sd", "batch_sd", "panel_sd", "grower_sd"))
    )


def wish(asked: Questions, doubted: Doubt) -> Wish | None:
    """The form: what may be set, which barley and vessels come, how many batches, what matters."""
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
                "Ends start at the house rules. Tick final pH only if the house can hold it. "
                "Matters: 2 counts a slope twice, 0 hardly at all; all 1 weighs all alike."
            )
        with right:
            batches = st.slider("Batches", FEWEST, MOST, 12, key="trial_batches")
            model = st.radio("What to find out", list(MODELS), key="trial_model")
        lots, vessels, per_batch = _barley(asked)
        more = _rest(doubted)
        st.form_submit_button("Plan the batches", type="primary")
    try:
        settings = levels_of(wanted)
        coming = lots_to_come(lots, per_batch)
        if MODELS[model] == "with bends":
            settings = {name: _with_middle(levels) for name, levels in settings.items()}
        weights = weights_of(wanted, MODELS[model], more.bends_matter, more.lots_matter)
    except ValueError as fault:
        st.warning(plain(upper(str(fault))), icon=":material/info:")
        return None
    choices = Choices(settings, coming if len(coming) else None, vessels, weights)
    return Wish(
        choices,
        batches,
        doubted.scaled(more.spread),
        MODELS[model],
        more.repeats,
        more.cost,
        more.seed,
    )


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
            "matters": number("matters", min_value=0.0, max_value=5.0, step=0.5, required=True),
            "lowest": number("lowest", required=True),
            "highest": number("highest", required=True),
            "made": "made so far",
        },
    )
    return edited.assign(setting=offered["setting"].to_numpy())


def _barley(asked: Questions) -> tuple[pd.DataFrame, tuple[str, ...], float]:
    """Lots from the records and lots typed, vessels, and the grain one batch takes, t."""
    sheets = asked.season.sheets
    usual = grain_per_batch_t(sheets)
    left = barley_left(sheets, so_far(asked)).set_index("lot_id")
    said = left.to_dict("index")
    known = [lot for lot in left.index if not left.loc[lot, "left_t"] < usual]
    picked = st.multiselect(
        "Lots on record to mash",
        known,
        key="trial_lots",
        format_func=lambda lot: _lot_words(lot, said[lot]),
        placeholder="any barley (the plan does not say whose)",
        help="Lots with grain for a batch or more. One mashed before bridges the harvests; one "
        "with grain for several batches may be split over settings.",
    )
    with st.expander("Lots to come that are not on record yet"):
        typed = st.data_editor(
            pd.DataFrame(
                {
                    "lot_id": pd.Series([""] * 3, dtype="str"),
                    "grower_id": pd.Series([""] * 3, dtype="str"),
                    "tonnes": pd.Series([None] * 3, dtype="float64"),
                }
            ),
            key="trial_typed_lots",
            num_rows="dynamic",
            hide_index=True,
            column_config={
                "lot_id": "lot",
                "grower_id": "grower",
                "tonnes": st.column_config.NumberColumn("grain, t", min_value=0.0),
            },
        )
    with st.container(horizontal=True, vertical_alignment="bottom"):
        vessels = st.multiselect(
            "Vessels",
            sorted(asked.batches["vessel"].dropna().unique()),
            key="trial_vessels",
            placeholder="any",
            width=330,
        )
        per_batch = st.number_input(
            "Grain one batch takes, t",
            0.01,
            None,
            None if pd.isna(usual) else round(usual, 2),
            key="trial_per_batch",
            width=210,
        )
    rows = left.loc[picked].reset_index().rename(columns={"left_t": "tonnes"})
    lots = pd.concat([rows[["lot_id", "grower_id", "tonnes"]], typed], ignore_index=True)
    return lots, tuple(vessels), float("nan") if per_batch is None else float(per_batch)


def _lot_words(lot: str, row: Mapping[Hashable, Any]) -> str:
    left = "weight not on record" if pd.isna(row["left_t"]) else f"{row['left_t']:.1f} t left"
    before = f", mashed {row['earlier']} times" if row["earlier"] else ""
    return f"{lot} ({row['grower_id']}, {row['season']}, {left}{before})"


@dataclass(frozen=True)
class _Rest:
    """The numbers at the foot of the form."""

    repeats: int
    cost: float | None
    spread: float
    bends_matter: float
    lots_matter: float
    seed: int


def _rest(doubted: Doubt) -> _Rest:
    with st.container(horizontal=True, vertical_alignment="bottom"):
        repeats = st.number_input(
            "Of these, runs made twice",
            0,
            MOST // 2,
            0,
            key="trial_repeats",
            width=190,
            help="What two runs alike differ by is batch to batch, whatever the settings do.",
        )
        cost = st.number_input(
            "Cost of a batch",
            0.0,
            None,
            None,
            placeholder="not stated",
            key="trial_cost",
            width=150,
        )
        spread = st.number_input(
            "Like batches differ by, points",
            0.01,
            10.0,
            round(max(doubted.sd, 0.01), 2),
            0.05,
            key=f"trial_sd_{doubted.attribute}",
            width=220,
        )
        bends = st.number_input(
            "Bends and meetings matter",
            0.0,
            5.0,
            1.0,
            0.5,
            key="trial_bends_matter",
            width=200,
            help="Beside slopes; asked for only if they are to be found out.",
        )
        lots = st.number_input(
            "Gaps between lots matter",
            0.0,
            5.0,
            0.0,
            0.5,
            key="trial_lots_matter",
            width=190,
            help="0: lots are there to be allowed for, not to be compared.",
        )
        seed = st.number_input("Seed of the draw", 0, 9999, 1, key="trial_seed", width=130)
    return _Rest(int(repeats), cost, float(spread), float(bends), float(lots), int(seed))
