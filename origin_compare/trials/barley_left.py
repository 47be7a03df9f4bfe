"""Barley for the next batches: what is left of each lot, and how many batches it makes."""

from __future__ import annotations

import numpy as np
import pandas as pd

from origin_compare.drivers.wording import plain
from origin_compare.sheets.frames import Sheets


def grain_per_batch_t(sheets: Sheets) -> float:
    """Grain one batch has taken so far, t: the middle grist over the middle malt made of a tonne
    of grain; missing where the records do not say."""
    malts, mashes = sheets["malts"], sheets["mashes"]
    made = (malts["tonnes"] / malts["grain_t"]).median()
    grist = mashes.groupby("batch_id")["grist_kg"].sum(min_count=1).median() / 1000
    return float(grist / made) if pd.notna(grist) and pd.notna(made) and made > 0 else np.nan


def barley_left(sheets: Sheets, made: pd.DataFrame) -> pd.DataFrame:
    """One row per lot, latest season first: `lot_id, grower_id, season, left_t` (delivered less
    steeped; missing where the delivery was not weighed) and `earlier`, the batches of `made` (with
    `lot_id`) that were mashed of it alone."""
    lots = sheets["lots"].drop_duplicates("lot_id")
    steeped = sheets["malts"].groupby("lot_id")["grain_t"].sum()
    earlier = made["lot_id"].value_counts()
    table = pd.DataFrame(
        {
            "lot_id": lots["lot_id"],
            "grower_id": lots["grower_id"],
            "season": lots["season"],
            "left_t": lots["delivered_t"] - lots["lot_id"].map(steeped).fillna(0.0),
            "earlier": lots["lot_id"].map(earlier).fillna(0).astype(int),
        }
    )
    table["left_t"] = table["left_t"].clip(lower=0.0)
    return table.sort_values(["season", "lot_id"], ascending=[False, True], ignore_index=True)


def lots_to_come(chosen: pd.DataFrame, per_batch_t: float) -> pd.DataFrame:
    """`lot_id, grower_id, most` from `lot_id, grower_id, tonnes`: whole batches only.

    A lot with no tonnes stated has no limit. Raises ValueError for tonnes below one batch's.
    """
    rows = chosen.dropna(subset=["lot_id"])
    rows = rows[rows["lot_id"].astype(str).str.strip() != ""]
    tonnes = pd.to_numeric(rows["tonnes"], errors="coerce").astype(float)
    if tonnes.notna().any() and not per_batch_t > 0:
        raise ValueError(
            "How much grain one batch takes is not known, so tonnes cannot be turned into batches. "
            "State the tonnes a batch takes."
        )
    most = np.floor(tonnes / per_batch_t + 1e-9)
    for lot, left, batches in zip(rows["lot_id"], tonnes, most, strict=True):
        if batches < 1:
            raise ValueError(
                f"Lot {lot}: {plain(left, 1)} t is less than the {plain(per_batch_t, 1)} t that "
                "one batch takes. Leave it out, or state smaller batches."
            )
    names = {"lot_id": rows["lot_id"].astype(str).str.strip(), "grower_id": rows["grower_id"]}
    return pd.DataFrame({**names, "most": most}).reset_index(drop=True)
