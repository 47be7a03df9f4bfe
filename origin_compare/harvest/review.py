"""How the season's lots compared: every batch against the house windows and the other batches."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.house import HouseRules

WATCHED = ("length_h", "peak_temp_c", "final_ph", "final_sg")
SHOWN = (
    "batch_id", "season", "growers", "lots", "variety", "origin", "status", "outside",
    "grain_n_pct_dm", "extract_pct_dm", "og_sg", "length_h", "peak_temp_c", "h_above_window",
    "final_ph", "final_sg", "apparent_attenuation_pct", "lag_h", "lpa", "spirit_yield_lpa_t",
    "predicted_lpa_t", "missing_links",
)  # fmt: skip


@dataclass(frozen=True)
class SeasonReview:
    """One row per batch with what lay outside the house windows.

    `watched`: the measures held against a window; `outside`: batch_id, measure, value, window.
    """

    batches: pd.DataFrame
    outside: pd.DataFrame
    rules: HouseRules

    def sentence(self) -> str:
        finished = self.batches[self.batches["status"] != "fermenting"]
        out = set(self.outside["batch_id"])
        inside = int((~finished["batch_id"].isin(out)).sum())
        growers = int(self.batches["grower_id"].dropna().nunique())
        text = (
            f"Of {count(len(finished), 'finished batch')} from {count(growers, 'grower')}, "
            f"{inside} kept inside every house window and {len(finished) - inside} did not"
        )
        running = len(self.batches) - len(finished)
        if running:
            text += f"; {running} {'is' if running == 1 else 'are'} still fermenting"
        return f"{text}. {self._yields()}".strip()

    def _yields(self) -> str:
        yields = self.batches["spirit_yield_lpa_t"].dropna()
        if len(yields) < 4:
            return ""
        low, middle, high = yields.quantile([0.25, 0.5, 0.75])
        return (
            f"Spirit yield: {middle:.0f} L of pure alcohol per tonne at the middle, "
            f"{low:.0f} to {high:.0f} for the middle half."
        )

    def table(self) -> pd.DataFrame:
        """One row per batch; `outside` names the measures outside their windows."""
        named = self.outside.groupby("batch_id")["says"].agg(", ".join)
        table = self.batches.assign(outside=self.batches["batch_id"].map(named).fillna(""))
        return table[[column for column in SHOWN if column in table]]

    def rests_on(self) -> str:
        windows = [
            f"{window.says} {_range(window.low, window.high, window.unit)}"
            for name in WATCHED
            if (window := self.rules.windows.get(name))
        ]
        gaps = int((self.batches["missing_links"].fillna("") != "").sum())
        return (
            f"{count(len(self.batches), 'batch')} joined from field to spirit, "
            f"{gaps} with a link missing (last column). House windows: {listed(windows)}. "
            "A reading every 8 h misses the true peak: the highest recorded can be about 1 °C low."
        )


def season_review(batches: pd.DataFrame, rules: HouseRules) -> SeasonReview:
    """Every batch against the house windows.

    `batches`: Season.batches with the derived measures (`joined.batches_with_measures`).
    A batch still fermenting is not held against windows that only its end can meet.
    """
    finished = batches[batches["status"] != "fermenting"]
    rows = [
        {
            "batch_id": batch.batch_id,
            "measure": name,
            "says": window.says,
            "value": value,
            "low": window.low,
            "high": window.high,
        }
        for name in WATCHED
        if (window := rules.windows.get(name)) is not None and name in finished
        for batch, value in zip(finished.itertuples(), finished[name], strict=True)
        if pd.notna(value) and not window.holds(float(value))
    ]
    columns = ["batch_id", "measure", "says", "value", "low", "high"]
    return SeasonReview(batches, pd.DataFrame(rows, columns=columns), rules)


def _range(low: float | None, high: float | None, unit: str) -> str:
    tail = f" {unit}" if unit else ""
    if low is None:
        return f"up to {high:g}{tail}"
    if high is None:
        return f"from {low:g}{tail}"
    return f"{low:g} to {high:g}{tail}"
