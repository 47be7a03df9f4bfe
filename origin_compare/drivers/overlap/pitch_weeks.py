"""The week a batch was pitched in and whether it ran over a weekend, as factors of their own."""

from __future__ import annotations

import pandas as pd

from origin_compare.answers import count
from origin_compare.drivers.wording import joined, plain

LONG = 0.75
"""Fermentations above this quantile of length count as long."""
MOSTLY, SELDOM = 0.9, 0.6


def with_calendar(batches: pd.DataFrame) -> pd.DataFrame:
    """The batches with `week` (year and ISO week of pitching) and `weekend` ("yes" where the
    batch stood from a Saturday noon to the Sunday noon after), as far as times are recorded."""
    if "pitched_at" not in batches:
        return batches
    pitched = pd.to_datetime(batches["pitched_at"]).dt.tz_localize(None)
    iso = pitched.dt.isocalendar()
    week = iso["year"].astype(str) + "-" + iso["week"].astype(str).str.zfill(2)
    found = batches.assign(week=week.where(pitched.notna()))
    if "length_h" not in batches:
        return found
    saturday = pitched.dt.normalize() + pd.to_timedelta((5 - pitched.dt.day_of_week) % 7, unit="D")
    noon = saturday + pd.Timedelta(hours=12)
    noon = noon.where(noon >= pitched, noon + pd.Timedelta(days=7))
    ended = pitched + pd.to_timedelta(batches["length_h"].astype(float), unit="h")
    over = ended >= noon + pd.Timedelta(days=1)
    return found.assign(weekend=over.map({True: "yes", False: "no"}).where(ended.notna()))


def weekend_words(rows: pd.DataFrame, origin: str, named: str) -> str:
    """Whether the long fermentations were those that stood over a weekend, and of whom; empty
    where they were not."""
    if "weekend" not in rows or rows["weekend"].nunique() < 2 or "length_h" not in rows:
        return ""
    length = rows["length_h"].astype(float)
    limit = float(length.quantile(LONG))
    long, over = length > limit, rows["weekend"].eq("yes")
    if not long.any() or over[long].mean() < MOSTLY or over[~long].mean() > SELDOM:
        return ""
    whose = sorted(rows.loc[long, origin].astype(str).unique())
    of = joined(whose) if len(whose) <= 3 else count(len(whose), named)
    share = "All" if over[long].all() else f"{int(over[long].sum())} of {int(long.sum())}"
    return (
        f"{share} long fermentations (over {plain(limit, 0)} h) were weekend fermentations, of "
        f"{of}; of the others {int(over[~long].sum())} of {int((~long).sum())} were."
    )
