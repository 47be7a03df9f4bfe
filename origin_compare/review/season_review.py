"""How the season's lots compared: every batch against the house windows and the other batches."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.house import HouseRules
from origin_compare.review import laboratories, windows
from origin_compare.review.lots_compared import lots_compared

FEWEST_YIELDS = 4
SHOWN = (
    "batch_id",
    "growers",
    "outside",
    "season",
    "lots",
    "variety",
    "origin",
    "status",
    "grain_n_pct_dm",
    "extract_pct_dm",
    "pitch_temp_c",
    "og_sg",
    "yeast_age_d",
    "yeast_g_l",
    "length_h",
    "peak_temp_c",
    "h_above_window",
    "final_ph",
    "final_sg",
    "limit_gap_degrees",
    "apparent_attenuation_pct",
    "lag_h",
    "reading_gap_h",
    "new_make_abv_pct",
    "lpa",
    "spirit_yield_lpa_t",
    "spirit_yield_dm_lpa_t",
    "predicted_lpa_t",
    "share_of_predicted_pct",
    "basis_notes",
    "missing_links",
)


@dataclass(frozen=True)
class SeasonReview:
    """Every batch, and what lay outside the house windows.

    `batches`: one row per batch, with what `windows.with_checks` adds.
    `outside`: one row per figure outside a window: batch_id, measure, says, value, low, high,
        rule (the window's name), source (of its numbers), in_words.
    `unusual`: the same for figures of grain, malt, mash or cuts outside what is usual.
    """

    batches: pd.DataFrame
    outside: pd.DataFrame
    rules: HouseRules
    unusual: pd.DataFrame

    def sentence(self) -> str:
        return " ".join(part for part in (self._kept(), self._too_many(), self.yields()) if part)

    def table(self) -> pd.DataFrame:
        """One row per batch; `outside` names the measures outside their windows."""
        named = self.outside.groupby("batch_id")["says"].agg(", ".join)
        table = self.batches.assign(
            outside=self.batches["batch_id"].map(named).astype("str").fillna("")
        )
        noted = laboratories.noted(self.batches).any()
        shown = [column for column in SHOWN if noted or column != "basis_notes"]
        return table[[column for column in shown if column in table]]

    def lots(self) -> pd.DataFrame:
        """One row per lot with what its batches gave; see `lots.lots_compared`."""
        return lots_compared(self.batches)

    def rules_used(self) -> pd.DataFrame:
        """One row per window: rule, says, window, source, batches_held, batches_outside."""
        return windows.rules_used(self.batches, self.rules, self.outside)

    def rests_on(self) -> str:
        parts = [self._joined(), self._windows_said(), self._unusual_said()]
        parts += laboratories.said(self.batches, self.rules)
        if "peak_temp_c" in self.batches and self.batches["peak_temp_c"].notna().any():
            parts.append(
                "A reading every 8 h misses the true peak: the highest recorded can be about "
                "1 °C low."
            )
        return " ".join(part for part in parts if part)

    def kept(self) -> str:
        """How many finished batches kept inside every window, without naming the windows."""
        finished = self.batches[~windows.is_fermenting(self.batches)]
        measured = set(finished["batch_id"]) & self._measured()
        if not measured:
            return self._kept()
        inside = len(measured - set(self.outside["batch_id"]))
        verb = "keeps" if inside == 1 else "keep"
        return (
            f"{inside} of {count(len(measured), 'finished batch')} {verb} inside every window of "
            "the house."
        )

    def _kept(self) -> str:
        running = int(windows.is_fermenting(self.batches).sum())
        finished = self.batches[~windows.is_fermenting(self.batches)]
        if self.batches.empty:
            return "There is no batch in these harvests yet."
        if finished.empty:
            return f"{_still(running)}: nothing has ended that could be compared."
        text = self._one(finished) if len(finished) == 1 else self._several(finished)
        if running:
            others = "one more is" if running == 1 else f"{running} more are"
            text += f"; {others} still fermenting"
        return f"{text}."

    def _one(self, finished: pd.DataFrame) -> str:
        batch = str(finished["batch_id"].iloc[0])
        if batch not in self._measured():
            return f"The one finished batch, {batch}, has no figure the house holds a window for"
        flagged = self.outside.loc[self.outside["batch_id"] == batch, "says"]
        if flagged.empty:
            return f"The one finished batch, {batch}, kept inside every house window"
        return f"The one finished batch, {batch}, lay outside on {listed(list(flagged), 20)}"

    def _several(self, finished: pd.DataFrame) -> str:
        growers = finished["grower_id"].nunique() if "grower_id" in finished else 0
        start = f"Of {count(len(finished), 'finished batch')}"
        if growers:
            start += f" from {count(int(growers), 'grower')}"
        here = self.outside[self.outside["batch_id"].isin(finished["batch_id"])]
        measured = int(finished["batch_id"].isin(self._measured()).sum())
        if not measured:
            return f"{start}, none has a figure the house holds a window for"
        out = int(here["batch_id"].nunique())
        text = f"{start}, {measured - out} kept inside every house window and {out} did not"
        if out:
            each = [f"{says} {number}" for says, number in windows.said_of(here)]
            text += f" ({listed(each, 20)})"
        if measured < len(finished):
            text += f"; {len(finished) - measured} had no figure to hold against one"
        return text

    def _measured(self) -> set[str]:
        """Batches with at least one figure that a window speaks of."""
        names = windows.watched(self.batches, self.rules)
        return {str(batch) for name in names for batch in windows.held(self.batches, name).index}

    def _too_many(self) -> str:
        """A window most batches miss speaks of the window, or of how the figure is taken."""
        used = self.rules_used()
        most = used[
            (used["batches_held"] >= FEWEST_YIELDS)
            & (used["batches_outside"] > used["batches_held"] / 2)
        ]
        if most.empty:
            return ""
        return (
            f"More than half lie outside on {listed(list(most['says']), 20)}: "
            "look at the window and how the figure is taken before the batches."
        )

    def yields(self) -> str:
        """How the spirit yields lie; "" with fewer than four."""
        if "spirit_yield_lpa_t" not in self.batches:
            return ""
        yields = self.batches["spirit_yield_lpa_t"].dropna()
        if len(yields) < FEWEST_YIELDS:
            return ""
        low, middle, high = yields.quantile([0.25, 0.5, 0.75])
        return (
            f"Spirit yield: typically {middle:.0f} L of pure alcohol per tonne of malt; half lie "
            f"between {low:.0f} and {high:.0f}."
        )

    def _joined(self) -> str:
        text = f"{count(len(self.batches), 'batch')} joined from field to spirit"
        if "missing_links" not in self.batches:
            return f"{text}."
        gaps = int((self.batches["missing_links"].fillna("") != "").sum())
        return f"{text}, {gaps or 'none'} with a link missing{' (last column)' if gaps else ''}."

    def _windows_said(self) -> str:
        used = self.rules_used()
        used = used[used["batches_held"] > 0]
        if used.empty:
            return "The house rules hold no window for what was measured."
        by_source = [
            f"{listed([f'{row.says} {row.window}' for row in rows.itertuples()], 20)} ({source})"
            for source, rows in used.groupby("source", sort=False)
        ]
        return f"House windows: {'; '.join(by_source)}."

    def _unusual_said(self) -> str:
        if self.unusual.empty:
            return ""
        each = [f"{says} {number}" for says, number in windows.said_of(self.unusual)]
        return f"Outside what is usual, please check the figure: {listed(each, 20)}."


def season_review(batches: pd.DataFrame, rules: HouseRules) -> SeasonReview:
    """Every batch against the house windows.

    `batches`: Season.batches with the derived measures (`joined.batches_with_measures`); a column
    or a window that is not there is left out. A batch still fermenting is held only to the
    windows of its start.
    """
    checked = windows.with_checks(batches)
    return SeasonReview(
        batches=checked,
        outside=windows.outside_windows(checked, rules),
        rules=rules,
        unusual=windows.unusual_figures(checked, rules),
    )


def _still(running: int) -> str:
    return (
        "The one batch is still fermenting"
        if running == 1
        else (f"All {running} batches are still fermenting")
    )
