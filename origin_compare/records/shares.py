"""Which lots a batch was mashed from, and in what shares by mass."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from origin_compare.records.frames import looked_up

SHARE_COLUMNS = ["batch_id", "lot_id", "grower_id", "season", "share", "weighed"]
ONE_FIELD, ONE_GROWER, MIXED, NOT_KNOWN = "one field", "one grower", "mixed", "not known"

# Shares are sums of products of fractions; a hundred terms stay well inside this.
WHOLE = 1 - 1e-9


def origins(sheets: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Batch x lot mass shares, one row per pair: `SHARE_COLUMNS`.

    A batch's malts weigh by `grist_kg`, a malt's lots by `grain_t`. Where one of the weights of
    a mash or malting is missing its parts count as equal and `weighed` is False. A malt whose
    lots are not known leaves its part out: the shares of that batch add to less than 1.
    """
    grist = _parts(sheets["mashes"], "batch_id", "malt_id", "grist_kg")
    grain = _parts(sheets["malts"], "malt_id", "lot_id", "grain_t")
    pairs = grist.merge(grain, on="malt_id", suffixes=("_grist", "_grain"))
    pairs["share"] = pairs["part_grist"] * pairs["part_grain"]
    pairs["weighed"] = pairs["weighed_grist"] & pairs["weighed_grain"]
    shares = pairs.groupby(["batch_id", "lot_id"], as_index=False, sort=True).agg(
        share=("share", "sum"), weighed=("weighed", "all")
    )
    lots = sheets["lots"][["lot_id", "grower_id", "season"]].drop_duplicates("lot_id")
    return shares.merge(lots, on="lot_id", how="left")[SHARE_COLUMNS]


def _parts(frame: pd.DataFrame, whole: str, part: str, weight: str) -> pd.DataFrame:
    """One row per (whole, part): its fraction of the whole by weight, or by count."""
    rows = frame.dropna(subset=[whole, part])
    sums = rows.groupby([whole, part])[weight].sum(skipna=False).rename("mass").reset_index()
    by_whole = sums.groupby(whole)["mass"]
    total = looked_up(sums[whole], by_whole.sum(skipna=False))
    number = looked_up(sums[whole], by_whole.size())
    known = total.notna() & (total > 0)
    sums["part"] = np.where(known, sums["mass"] / total.where(known), 1 / number)
    sums["weighed"] = known | (number == 1)
    return sums[[whole, part, "part", "weighed"]]


def classes(shares: pd.DataFrame) -> pd.DataFrame:
    """One row per batch, indexed by `batch_id`: origin, grower_id, lot_id, growers, lots, season.

    `origin` is "one field" (a single lot), "one grower", "mixed" or "not known"; a batch of which
    a part is not known is "mixed" only if two growers are proved. `season` is missing when the
    lots are of two harvests.
    """
    by_batch = shares.groupby("batch_id", sort=True)
    numbers = by_batch[["grower_id", "lot_id", "season"]].nunique()
    in_full = (by_batch["share"].sum() >= WHOLE) & (
        by_batch["grower_id"].count() == by_batch.size()
    )
    table = pd.DataFrame(index=numbers.index)
    table["origin"] = np.select(
        [numbers["grower_id"] > 1, ~in_full, numbers["lot_id"] == 1],
        [MIXED, NOT_KNOWN, ONE_FIELD],
        ONE_GROWER,
    )
    for name in ("grower_id", "lot_id", "season"):
        table[name] = by_batch[name].first()
    table["grower_id"] = table["grower_id"].where(table["origin"].isin([ONE_FIELD, ONE_GROWER]))
    table["lot_id"] = table["lot_id"].where(table["origin"] == ONE_FIELD)
    table["season"] = table["season"].where(numbers["season"] == 1)
    table["growers"] = joined_names(shares, "batch_id", "grower_id").reindex(table.index)
    table["lots"] = joined_names(shares, "batch_id", "lot_id").reindex(table.index)
    return table.astype({"season": "Int64"})


def joined_names(frame: pd.DataFrame, by: str, name: str) -> pd.Series:
    """`A + B`: the different values of `name` in order, per value of `by`; missing left out."""
    pairs = frame[[by, name]].dropna().drop_duplicates().sort_values([by, name])
    return pairs.groupby(by)[name].agg(" + ".join)
