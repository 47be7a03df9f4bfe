"""What a distillery's sheets hold once joined: one row per batch, and what would not join."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from origin_compare.house import HouseRules, default_rules
from origin_compare.sheets.faults import Fault
from origin_compare.sheets.frames import Sheets


@dataclass(frozen=True)
class Season:
    """One or several harvests, joined from field to spirit.

    `sheets`: clean sheets by name (see `sheets.SHEETS`), every column present, missing as NaN;
        moments are UTC timestamps; `readings` always carries `hours` since the
        house's hour zero (see `sheets.hour_zero`) and gravity as SG;
        `scores` is long (one row per score).
    `batches`: one row per batch (index-free, sorted by `pitched_at`), the chain from lot to
        spirit joined; see `join` for its columns.
    `shares`: batch x lot mass shares (`batch_id, lot_id, grower_id, season, share`), adding to 1
        for every batch whose origin is known in full.
    `unmatched`: rows that found no partner (`sheet, key, missing_sheet, missing_key, cause`).
    `faults`: what intake found in the files; the rows concerned are not in `sheets`.
    `revision`: changes whenever the store's content does; a cache key.
    `rules`: the house rules it was joined under.
    """

    sheets: Sheets
    batches: pd.DataFrame
    shares: pd.DataFrame
    unmatched: pd.DataFrame
    faults: tuple[Fault, ...] = ()
    revision: int = 0
    site: str = field(default="")
    rules: HouseRules = field(default_factory=default_rules)
