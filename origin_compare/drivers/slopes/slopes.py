"""What goes with flavour: a slope per attribute and process variable, or why there is none."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Unpack

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.drivers.model.batch_model import BatchFit
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.study import Choices, Study, study_of
from origin_compare.drivers.model.usable_batches import Kept, ProfileLike
from origin_compare.drivers.shares.grower_gaps import tested_against_lots
from origin_compare.drivers.shares.origin_share import origin_shares
from origin_compare.drivers.slopes.slope_checks import DOUBTS, doubts, warning
from origin_compare.drivers.slopes.slope_words import said, together_words
from origin_compare.drivers.verdicts import CLEAR, HINT, NOT_SHOWN, TIED, judged
from origin_compare.drivers.wording import (
    PROCESS,
    Limits,
    joined,
    plain,
    signed,
    step,
    title,
    upper,
)
from origin_compare.estimates import Estimates, false_discovery


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
        words. `together_p, together_q`: whether variables that move with one another go with the
        attribute at all, taken together, and the slope `along` (`_low, _high`) the line on which
        they move here (`along_says`). `wide`: not shown, and the interval still holds a slope that
        would matter; `more` batches like `more_like` would then make it clear were it as large as
        it looks. `says`: all this in a sentence, which no attribute and variable is without.
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

    def of(self, attribute: str) -> list[str]:
        """One sentence per process variable on one attribute."""
        return self.slopes.loc[self.slopes["attribute"] == attribute, "says"].tolist()

    def clear(self) -> pd.DataFrame:
        """The slopes that are clear, largest first."""
        rows = self.slopes[self.slopes["verdict"] == CLEAR]
        return rows.sort_values("q", ignore_index=True)

    def sentence(self) -> str:
        """What is clear, how much is a hint, what cannot be told apart."""
        parts = [_found_words(self.clear(), len(self.slopes))]
        hints = int((self.slopes["verdict"] == HINT).sum())
        if hints:
            parts.append(f"{count(hints, 'hint')} more.")
        parts += together_words(self.slopes, self.limits)
        tied = self.slopes[self.slopes["verdict"] == TIED]
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
    **choices: Unpack[Choices],
) -> Effects:
    """Slope per attribute and process variable, and the growers' share per attribute.

    Mixed model over batches: season and process fixed, origin random, batch residual, the
    panel's error known (see `batch_model`). Batches still fermenting, not tasted, of unknown
    origin or without a process figure are counted out. Raises NotEnoughData when fewer batches
    are left than fixed columns plus three, UnknownName for a column or attribute that is not there.
    """
    return effects_of(study_of(batches, profile, process, origin, **choices))


def effects_of(study: Study) -> Effects:
    """`effects` of a study already laid out."""
    layout = study.layout
    study.refuse_few("A slope")
    panel = study.panel
    slopes = _slopes(study)
    origins = origin_shares(layout, panel.scores, panel.noise, list(study.names), study.lots)
    slopes["told_apart"] = np.repeat(study.told, len(study.process))
    origins = tested_against_lots(study, origins)
    origins["told_apart"] = study.told
    slopes, origins = judge(slopes, origins, study)
    return Effects(
        slopes,
        origins,
        int(slopes["tested"].iloc[0]),
        study.origin,
        study.process,
        study.kept,
        study.limits,
        layout.notes,
    )


def _slopes(study: Study) -> pd.DataFrame:
    layout, names = study.layout, list(study.names)
    joint = study.fit(one_out=True)
    doubt = doubts(study, joint)
    parts = []
    for variable in study.process:
        per, words = step(variable)
        part = pd.DataFrame({"attribute": names, "process": variable, "per": per, "step": words})
        if variable in layout.place:
            column = layout.place[variable]
            part = part.assign(**_told(joint.estimates(column), ""), **doubt[variable])
            part["reach"] = _standardised(study, joint, column)
            alone = study.fit([*layout.base, column])
            part = part.assign(**_told(alone.estimates(len(layout.base)), "alone_"))
        parts.append(part)
    table = pd.concat(parts, ignore_index=True)
    order = dict(zip(names, range(len(names)), strict=True))
    table = table.sort_values("attribute", key=lambda a: a.map(order), kind="stable")
    table = table.rename(columns={"alone_slope": "alone"}).reset_index(drop=True)
    return table.reindex(columns=[*table.columns, *(c for c in _TOLD if c not in table.columns)])


_TOLD = ["slope", "low", "high", "se", "df", "p", "alone", "alone_low", "alone_high", "alone_p"]
_TOLD += ["reach", *DOUBTS]


def _told(found: Estimates, prefix: str) -> dict[str, Array]:
    told = {**found.columns("slope"), "se": found.se, "df": found.df, "p": found.p}
    return {prefix + name: values for name, values in told.items()}


def _standardised(study: Study, joint: BatchFit, column: int) -> Array:
    """How far from nothing the interval reaches, as a standardised slope (A)."""
    low, high = joint.estimates(column).interval()
    far = np.maximum(np.abs(low), np.abs(high)) * study.layout.X[:, column].std(ddof=1)
    return far / np.maximum(study.panel.scores.std(axis=0, ddof=1), np.finfo(float).tiny)


def judge(
    slopes: pd.DataFrame, origins: pd.DataFrame, study: Study
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Slopes and origin shares with q and verdict beside each, and how many were `tested`.

    They are two lists, each bounded for itself: sure finds in one would loosen the bound on the
    other.
    """
    slopes, origins, limits, tied = slopes.copy(), origins.copy(), study.limits, study.tied
    close = {**study.linked, **tied}
    slopes["tied_with"] = [close.get(name, ("", ""))[0] for name in slopes["process"]]
    slopes["why"] = [close.get(name, ("", ""))[1] for name in slopes["process"]]
    slopes = judged(slopes, slopes["told_apart"], slopes["process"].isin(list(tied)), limits)
    origins = judged(origins, origins["told_apart"], False, limits)
    for table in (slopes, origins):
        table["tested"] = int(table["q"].notna().sum())
    slopes["disagrees"] = slopes["q"].notna() & (slopes["disagree_p"] <= limits.disagree_p)
    slopes["together_q"] = _together_q(slopes)
    slopes["only_between"] = slopes["verdict"].eq(CLEAR) & ~_within_too(slopes)
    torn = slopes["disagrees"] | slopes["only_between"]
    slopes.loc[torn & slopes["verdict"].eq(CLEAR), "verdict"] = HINT
    slopes["difference"] = [_difference(row) for row in slopes.to_dict("records")]
    slopes["fragile"] = slopes["verdict"].isin([CLEAR, HINT]) & slopes["leans_on"].ne("")
    slopes["wide"] = slopes["verdict"].eq(NOT_SHOWN) & (slopes["reach"] >= limits.wide)
    slopes["warning"] = [warning(row) for row in slopes.to_dict("records")]
    slopes["says"] = [said(row, limits) for row in slopes.to_dict("records")]
    return slopes, origins


def _together_q(slopes: pd.DataFrame) -> pd.Series:
    """False-discovery bound over the tied groups: one test per attribute and group."""
    asked = slopes["told_apart"] & slopes["together_p"].notna()
    once = slopes[asked].drop_duplicates(["attribute", "together_p"])
    q = false_discovery(once["together_p"])
    found = dict(zip(zip(once["attribute"], once["together_p"], strict=True), q, strict=True))
    keys = zip(slopes["attribute"], slopes["together_p"], strict=True)
    return pd.Series([found.get(key, np.nan) for key in keys], index=slopes.index, dtype=float)


def _within_too(slopes: pd.DataFrame) -> pd.Series:
    """Whether the slope is seen among batches of one grower, where that could be looked at."""
    up, down = slopes["within_low"] > 0, slopes["within_high"] < 0
    return slopes["within"].isna() | (up & (slopes["slope"] > 0)) | (down & (slopes["slope"] < 0))


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
