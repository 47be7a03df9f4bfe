"""The season's lots side by side, each over the batches made of it alone."""

from __future__ import annotations

import pandas as pd

ONE_THING = "one batch: lot and batch are one thing"
COLUMNS = [
    "lot_id",
    "season",
    "grower_id",
    "field",
    "variety",
    "grain_n_pct_dm",
    "extract_pct_dm",
    "batches",
    "length_h",
    "spirit_yield_lpa_t",
    "yield_low_lpa_t",
    "yield_high_lpa_t",
    "note",
]


def lots_compared(batches: pd.DataFrame) -> pd.DataFrame:
    """One row per lot, columns `COLUMNS`; only batches made of a single lot count.

    Means over the lot's batches; `yield_low_lpa_t` and `yield_high_lpa_t` are its least and
    greatest spirit yield, missing unless two batches or more have one. `note` says so where a
    single batch leaves lot and batch one thing.
    """
    if "lot_id" not in batches:
        return pd.DataFrame(columns=COLUMNS)
    alone = batches[batches["lot_id"].notna()].reindex(columns=["batch_id", *COLUMNS[:-4]])
    alone = alone.drop(columns=["batches"]).assign(
        spirit_yield_lpa_t=_or_missing(batches, "spirit_yield_lpa_t")
    )
    by_lot = alone.groupby("lot_id", sort=True)
    table = by_lot[["season", "grower_id", "field", "variety"]].first()
    means = ["grain_n_pct_dm", "extract_pct_dm", "length_h", "spirit_yield_lpa_t"]
    table = table.join(by_lot[means].mean()).assign(batches=by_lot.size())
    yields = by_lot["spirit_yield_lpa_t"]
    spread = yields.count() >= 2
    table["yield_low_lpa_t"] = yields.min().where(spread)
    table["yield_high_lpa_t"] = yields.max().where(spread)
    table["note"] = table["batches"].eq(1).map({True: ONE_THING, False: ""}).astype("str")
    return table.reset_index()[COLUMNS]


def _or_missing(frame: pd.DataFrame, name: str) -> pd.Series:
    if name in frame:
        return frame[name].astype("float64")
    return pd.Series(float("nan"), index=frame.index)
