"""The season table in full: chain, derived measures and panel profile, one row per batch."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from origin_compare.fermentation import Derived
    from origin_compare.panel import Profile
    from origin_compare.records.season import Season

SCORE, ERROR = "score_", "score_se_"


def batches_with_measures(season: Season, derived: Derived) -> pd.DataFrame:
    """Season.batches with the derived measures beside them; one row per batch."""
    measures = derived.table()
    fresh = [name for name in measures.columns if name not in season.batches or name == "batch_id"]
    return season.batches.merge(measures[fresh], on="batch_id", how="left", validate="1:1")


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
