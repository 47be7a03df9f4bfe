"""Hour zero of a fermentation: the moment from which the house counts its hours."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from origin_compare.answers import count, listed

MOMENT_OF: Mapping[str, str] = {
    "yeast in": "pitched_at",
    "first fill": "first_fill_at",
    "last fill": "last_fill_at",
}
"""The column of fermentations that holds each choice of hour zero."""

ALWAYS_THERE = "yeast in"


def hour_zeros(fermentations: pd.DataFrame, wanted: str) -> pd.DataFrame:
    """Per row `hour_zero_at` (UTC) and `hour_zero`, the words for the moment that was used.

    `wanted`: `yeast in`, `first fill` or `last fill`. Where that moment is not on record hours
    count from yeast in, and `hour_zero` says so.
    """
    pitched = fermentations[MOMENT_OF[ALWAYS_THERE]]
    column = MOMENT_OF[wanted]
    chosen = fermentations[column] if column in fermentations else pitched.mask(pitched.notna())
    used = pd.Series(wanted, index=fermentations.index, dtype="str")
    return pd.DataFrame(
        {
            "hour_zero_at": chosen.fillna(pitched),
            "hour_zero": used.where(chosen.notna(), ALWAYS_THERE),
        }
    )


def hour_zero_said(batches: pd.DataFrame, wanted: str) -> str:
    """From when hours count, and which batches (with `hour_zero`) had to be counted otherwise."""
    others = batches.loc[batches["hour_zero"] != wanted, "batch_id"].tolist()
    if not others:
        return f"Hour 0 is {wanted}."
    have, go = ("has", "counts") if len(others) == 1 else ("have", "count")
    return (
        f"Hour 0 is {wanted}; {count(len(others), 'batch')} {have} no {wanted} on record and "
        f"{go} from {ALWAYS_THERE} ({listed(others, 6)})."
    )
