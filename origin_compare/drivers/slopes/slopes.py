"""What goes with flavour: a slope per attribute and process variable, or why there is none."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.answers import count, listed
from origin_compare.drivers.model.batch_model import BatchFit, Turned, fit_batches, turn_noise
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.fixed_columns import Layout, lay_out
from origin_compare.drivers.model.usable_batches import (
    Kept,
    ProfileLike,
    anchored,
    chosen,
    keep,
    refuse_below,
    scores_of,
)
from origin_compare.drivers.shares.origin_share import origin_shares
from origin_compare.drivers.slopes.slope_checks import DOUBTS, doubts, together, warning
from origin_compare.drivers.wording import (
    PROCESS,
    STILL,
    USUAL,
    Limits,
    joined,
    plain,
    signed,
    step,
    title,
    upper,
)

LEVEL = 0.95
VERDICTS = ("clear", "a hint", "not shown", "cannot be told apart", "panel cannot tell")


@dataclass(frozen=True)
class Effects:
    """Slopes of every attribute on every process variable, with the doubt in them.

    `slopes`: one row per attribute and variable: `slope, low, high, se, df, p` in score points
        per step (`step` in words, `per` in the column's unit) with all process variables
        together; `q` after Benjamini and Hochberg over the `tested` slopes; `verdict`;
        `tied_with` and `why` where the slope is no answer; `alone, alone_low, alone_high,
        alone_p` with no other process variable; `difference` between the two in words.
        `within, within_low, within_high` among batches of one grower and `between` growers, with
        `disagree_p`: what is not seen within growers, or otherwise there, is not called clear.
        `curve_p`: is it a straight line. `without_low, without_high`: the slope with any one
        batch left out; `fragile` when one batch (`leans_on`) carries it. `warning`: all this in
        words. `together_p, together_q`: whether variables tied to one another go with the attribute
        at all, taken together.
    `origins`: one row per attribute: share of the visible variation that is between growers,
        with interval, p, q and verdict (`direct` given process, `total` without it).
    `tested`: how many slopes share the false-discovery bound.
    """

    slopes: pd.DataFrame
    origins: pd.DataFrame
    tested: int
    origin: str
    process: tuple[str, ...]
    kept: Kept
    limits: Limits
    notes: tuple[str, ...] = ()

    def table(self) -> pd.DataFrame:
        """One row per attribute and process variable."""
        return self.slopes.copy()

    def clear(self) -> pd.DataFrame:
        """The slopes that are clear, largest first."""
        rows = self.slopes[self.slopes["verdict"] == "clear"]
        return rows.sort_values("q", ignore_index=True)

    def sentence(self) -> str:
        """What is clear, how much is a hint, what cannot be told apart."""
        parts = [_found_words(self.clear(), len(self.slopes))]
        hints = int((self.slopes["verdict"] == "a hint").sum())
        if hints:
            parts.append(f"{count(hints, 'hint')} more.")
        tied = self.slopes[self.slopes["verdict"] == "cannot be told apart"]
        for why, rows in tied.groupby("why", sort=False):
            seen = rows[rows["together_q"] <= self.limits.clear_q]["attribute"].unique()
            one = f"; one of them or both go with {listed(list(seen))}" if len(seen) else ""
            parts.append(upper(f"{why}{one}."))
        dull = self.slopes.loc[self.slopes["verdict"] == "panel cannot tell", "attribute"].unique()
        if len(dull):
            parts.append(f"The panel cannot tell batches apart on {listed(list(dull))}.")
        return " ".join(parts)

    def rests_on(self) -> str:
        """Batches, what was left out, what of the still was allowed for, how much was tested."""
        growers = count(int(self.kept.rows[self.origin].nunique()), title(self.origin))
        shares = int(self.origins["tested"].iloc[0]) if len(self.origins) else 0
        tested = (
            f"{count(self.tested, 'slope')} tested together, and {count(shares, 'share')} of the "
            f"{title(self.origin)} together (false-discovery bound after Benjamini and Hochberg)."
        )
        words = [self.kept.words(), f"{growers}.", tested, self.kept.still_words(), *self.notes]
        return " ".join(word for word in words if word)


def effects(
    batches: pd.DataFrame,
    profile: ProfileLike,
    process: Iterable[str] = PROCESS,
    origin: str = "grower_id",
    *,
    attributes: Iterable[str] | None = None,
    still: Iterable[str] = STILL,
    leave_out: Iterable[str] = (),
    limits: Limits = USUAL,
) -> Effects:
    """Slope per attribute and process variable, and the growers' share per attribute.

    Mixed model over batches: season and process fixed, origin random, batch residual, the
    panel's error known (see `batch_model`). Batches still fermenting, not tasted, of unknown
    origin or without a process figure are counted out. Raises NotEnoughData when fewer batches
    are left than fixed columns plus three, UnknownName for a column or attribute that is not there.
    """
    process = tuple(process)
    kept = keep(batches, profile, process, origin, still, leave_out)
    layout = lay_out(kept, process, origin, limits)
    refuse_below(len(kept.rows), layout.least, "A slope")
    names = chosen(profile, attributes)
    scores, noise = scores_of(kept, profile, names)
    told = [name in set(profile.told) for name in names]
    slopes = _slopes(layout, scores, turn_noise(anchored(noise)), names, list(kept.rows.index))
    origins = origin_shares(layout, scores, noise, names)
    slopes["told_apart"] = np.repeat(told, len(process))
    origins["told_apart"] = told
    tested = judge(slopes, origins, layout.tied, limits)
    return Effects(slopes, origins, tested, origin, process, kept, limits, layout.notes)


def _slopes(
    layout: Layout, scores: Array, noise: Turned, names: list[str], ids: list[str]
) -> pd.DataFrame:
    joint = fit_batches(scores, layout.X, layout.groups, noise, one_out=True)
    doubt = doubts(layout, joint, scores, noise, ids)
    shared = together(layout, joint, layout.tied)
    parts = []
    for variable in layout.process:
        per, words = step(variable)
        part = pd.DataFrame({"attribute": names, "process": variable, "per": per, "step": words})
        if variable in layout.place:
            column = layout.place[variable]
            part = part.assign(**_told(joint, column, ""), **doubt[variable])
            part["together_p"] = shared.get(variable, np.nan)
            single = layout.X[:, [*layout.base, column]]
            alone = fit_batches(scores, single, layout.groups, noise)
            part = part.assign(**_told(alone, single.shape[1] - 1, "alone_"))
        parts.append(part)
    table = pd.concat(parts, ignore_index=True)
    order = dict(zip(names, range(len(names)), strict=True))
    table = table.sort_values("attribute", key=lambda a: a.map(order), kind="stable")
    table = table.rename(columns={"alone_slope": "alone"}).reset_index(drop=True)
    return table.reindex(columns=[*table.columns, *(c for c in _TOLD if c not in table.columns)])


_TOLD = ["slope", "low", "high", "se", "df", "p", "alone", "alone_low", "alone_high", "alone_p"]
_TOLD += DOUBTS


def _told(fit: BatchFit, column: int, prefix: str) -> dict[str, Array]:
    slope, se, df = fit.beta[:, column], fit.se[:, column], fit.df[:, column]
    margin = stats.t.ppf(0.5 + LEVEL / 2, df) * se
    told = {
        "slope": slope,
        "low": slope - margin,
        "high": slope + margin,
        "se": se,
        "df": df,
        "p": 2 * stats.t.sf(np.abs(slope) / se, df),
    }
    return {prefix + name: values for name, values in told.items()}


def judge(
    slopes: pd.DataFrame,
    origins: pd.DataFrame,
    tied: dict[str, tuple[str, str]],
    limits: Limits,
) -> int:
    """Write q and verdict beside every slope and origin share; how many slopes were tested.

    Slopes and origin shares are two lists, each bounded for itself: sure finds in one would
    loosen the bound on the other.
    """
    slopes["tied_with"] = [tied.get(name, ("", ""))[0] for name in slopes["process"]]
    slopes["why"] = [tied.get(name, ("", ""))[1] for name in slopes["process"]]
    refused = slopes["process"].isin(list(tied)) | slopes["p"].isna()
    ask_slope = slopes["told_apart"] & ~refused
    ask_origin = origins["told_apart"] & origins["p"].notna()
    for table, asked in ((slopes, ask_slope), (origins, ask_origin)):
        table["q"] = np.nan
        p = table.loc[asked, "p"].to_numpy(dtype=float)
        table.loc[asked, "q"] = stats.false_discovery_control(p) if len(p) else p
        table["tested"] = len(p)
    slopes["disagrees"] = ask_slope & (slopes["disagree_p"] <= limits.disagree_p)
    slopes["together_q"] = _together_q(slopes)
    slopes["verdict"] = _verdicts(slopes, refused, limits)
    slopes["only_between"] = (slopes["verdict"] == "clear") & ~_within_too(slopes)
    torn = slopes["disagrees"] | slopes["only_between"]
    slopes.loc[torn & (slopes["verdict"] == "clear"), "verdict"] = "a hint"
    origins["verdict"] = _verdicts(origins, origins["p"].isna(), limits)
    slopes["difference"] = [_difference(row) for row in slopes.to_dict("records")]
    slopes["fragile"] = slopes["verdict"].isin(["clear", "a hint"]) & slopes["leans_on"].ne("")
    slopes["warning"] = [warning(row) for row in slopes.to_dict("records")]
    return int(ask_slope.sum())


def _together_q(slopes: pd.DataFrame) -> pd.Series:
    """False-discovery bound over the tied groups: one test per attribute and group."""
    asked = slopes["told_apart"] & slopes["together_p"].notna()
    once = slopes[asked].drop_duplicates(["attribute", "together_p"])
    if once.empty:
        return pd.Series(np.nan, index=slopes.index)
    q = stats.false_discovery_control(once["together_p"].to_numpy(dtype=float))
    found = dict(zip(zip(once["attribute"], once["together_p"], strict=True), q, strict=True))
    keys = zip(slopes["attribute"], slopes["together_p"], strict=True)
    return pd.Series([found.get(key, np.nan) for key in keys], index=slopes.index)


def _within_too(slopes: pd.DataFrame) -> pd.Series:
    """Whether the slope is seen among batches of one grower, where that could be looked at."""
    up, down = slopes["within_low"] > 0, slopes["within_high"] < 0
    return slopes["within"].isna() | (up & (slopes["slope"] > 0)) | (down & (slopes["slope"] < 0))


def _verdicts(table: pd.DataFrame, refused: pd.Series, limits: Limits) -> list[str]:
    return np.select(
        [
            ~table["told_apart"].astype(bool),
            refused,
            table["q"] <= limits.clear_q,
            table["q"] <= limits.hint_q,
        ],
        ["panel cannot tell", "cannot be told apart", "clear", "a hint"],
        default="not shown",
    ).tolist()


def _difference(row: Mapping[Hashable, Any]) -> str:
    """How the slope with the other process variables differs from the slope alone."""
    slope, alone = row["slope"], row["alone"]
    if not np.isfinite(slope) or not np.isfinite(alone):
        return ""
    seen = [row["low"] > 0 or row["high"] < 0, row["alone_low"] > 0 or row["alone_high"] < 0]
    if seen == [False, True]:
        return "seen alone, gone once the other process variables are allowed for"
    if seen == [True, False]:
        return "seen only once the other process variables are allowed for"
    if seen == [True, True] and slope * alone < 0:
        return "turns round once the other process variables are allowed for"
    if abs(slope - alone) > row["se"]:
        weaker = abs(slope) < abs(alone)
        return (
            f"{'weaker' if weaker else 'stronger'} once the other process variables are allowed for"
        )
    return "much the same alone"


def _found_words(clear: pd.DataFrame, asked: int) -> str:
    if clear.empty:
        return f"Of {count(asked, 'slope')} asked about, none is clear."
    told = [
        f"{row['attribute']} goes with {title(row['process'])} ({signed(row['slope'])} per "
        f"{row['step']}, {plain(row['low'])} to {plain(row['high'])})"
        for row in clear.head(4).to_dict("records")
    ]
    more = f"; {len(clear) - 4} more are clear" if len(clear) > 4 else ""
    return f"{upper(joined(told))}{more}."
