"""The season table in full: chain, derived measures and panel profile, one row per batch."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from origin_compare.fermentation import Derived
    from origin_compare.panel import Profile
    from origin_compare.season.season import Season

SCORE, ERROR = "score_", "score_se_"


def batches_with_measures(season: Season, derived: Derived) -> pd.DataFrame:
    """Season.batches with the derived measures and `reading_gap_h`; one row per batch."""
    measures = derived.table()
    fresh = [name for name in measures.columns if name not in season.batches or name == "batch_id"]
    table = season.batches.merge(measures[fresh], on="batch_id", how="left", validate="1:1")
    gaps = reading_gaps(season.sheets["readings"]).reindex(table["batch_id"])
    return table.assign(reading_gap_h=gaps.to_numpy())


def reading_gaps(readings: pd.DataFrame) -> pd.Series:
    """The longest time from one reading to the next, h, by batch; missing with fewer than two."""
    hours = readings.dropna(subset="hours").sort_values(["batch_id", "hours"])
    gaps = hours.groupby("batch_id")["hours"].diff()
    return gaps.groupby(hours["batch_id"]).max().rename("reading_gap_h")


def season_table(season: Season, derived: Derived, profile: Profile | None) -> pd.DataFrame:
    """Everything known of each batch, one row per batch.

    Panel estimates stand in `score_<attribute>` with their standard errors in
    `score_se_<attribute>`; both stay empty for a batch that was not tasted.
    """
    table = batches_with_measures(season, derived)
    if profile is None:
        return table
    scores = profile.wide().add_prefix(SCORE)
    errors = profile.wide_se().add_prefix(ERROR)
    return table.merge(
        pd.concat([scores, errors], axis=1), left_on="batch_id", right_index=True, how="left"
    )
