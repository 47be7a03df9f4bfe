"""What the weak worts of one mash carry into the next: recorded, or stated by the house.

The last waters of a mash go into the next one, and with them the extract of another lot: the first
mash after a change is the least pure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from origin_compare.answers import count
from origin_compare.house import HouseRules
from origin_compare.measures import extract_kg
from origin_compare.season.lot_shares import ANYTHING, NOTHING, Span
from origin_compare.season.season import Season

STATED = "weak_worts_pct"
"""The house's own window: extract of a mash that came with the weak worts of the mash before, %."""

SpanOf = Callable[[str], Span]
MASH_COLUMNS = [
    *["batch_id", "mash_no", "extract_kg", "weak_kg", "part_least", "part_most", "known", "told"],
]


def in_order(season: Season) -> pd.DataFrame:
    """`MASH_COLUMNS`, one row per mash in the order of mashing, as in one mash tun.

    `part_least`, `part_most`: how much of the mash's extract came with weak worts, as recorded (by
    volume at most, where their gravity is missing) or as the house states it; none where neither
    does, and then `known` is False. `told`: whether the moment of mashing is on record.
    """
    mashes = season.sheets["mashes"]
    # A mash of two malts stands in two rows, each with the figures of the whole mash.
    single = mashes.groupby(["batch_id", "mash_no"], dropna=False).agg(
        mashed_at=("mashed_at", "min"),
        **{name: (name, "mean") for name in ("wort_l", "wort_sg", "weak_wort_l", "weak_wort_sg")},
    )
    single["extract_kg"] = extract_kg(single["wort_l"], single["wort_sg"])
    single["weak_kg"] = extract_kg(single["weak_wort_l"], single["weak_wort_sg"]).clip(lower=0)
    single.loc[single["weak_wort_l"] == 0, "weak_kg"] = 0.0
    usual = _stated(season.rules)
    parts = [_part(mash, usual) for mash in single.to_dict("records")]
    single["part_least"] = [part.least for part in parts]
    single["part_most"] = [part.most for part in parts]
    single["known"] = single["weak_wort_l"].notna() | (usual is not None)
    single["told"] = single["mashed_at"].notna()
    ordered = single.sort_values("mashed_at", kind="stable").reset_index()
    return ordered[MASH_COLUMNS]


def _stated(rules: HouseRules) -> Span | None:
    window = rules.windows.get(STATED)
    if window is None:
        return None
    return Span((window.low or 0.0) / 100, 1.0 if window.high is None else window.high / 100)


def _part(mash: Mapping[Any, Any], usual: Span | None) -> Span:
    if pd.isna(mash["weak_wort_l"]):
        return usual or NOTHING
    if pd.notna(mash["weak_kg"]) and mash["extract_kg"] > 0:
        part = min(1.0, mash["weak_kg"] / mash["extract_kg"])
        return Span(part, part)
    if mash["wort_l"] > 0:  # weaker than the wort it went into
        return Span(0.0, min(1.0, mash["weak_wort_l"] / mash["wort_l"]))
    return ANYTHING


def mixed_in(mashes: pd.DataFrame, own: SpanOf) -> dict[str, Span]:
    """An origin's share of each batch's extract with the weak worts in it; empty if none are known.

    `own`: the origin's span in a batch's grain. Weak worts have the make-up of the mash they came
    from; what stood before the first mash on record, or before one whose moment is missing, may
    have been anything. Mashes of a batch weigh by their extract, equally where it is missing.
    """
    if not mashes["known"].any():
        return {}
    stands, ends = ANYTHING, []
    for mash in mashes.to_dict("records"):
        before = stands if mash["told"] else ANYTHING
        part = Span(mash["part_least"], mash["part_most"])
        stands = own(str(mash["batch_id"])).mixed(part, before)
        ends.append((stands.least, stands.most))
    spans = mashes.assign(least=[end[0] for end in ends], most=[end[1] for end in ends])
    return {str(batch): _over(rows) for batch, rows in spans.groupby("batch_id", sort=False)}


def _over(rows: pd.DataFrame) -> Span:
    weight = rows["extract_kg"] if (rows["extract_kg"] > 0).all() else None
    return Span(*(float(np.average(rows[end], weights=weight)) for end in ("least", "most")))


def carried_kg(mashes: pd.DataFrame) -> pd.Series:
    """By batch the extract that left with its weak worts less what came in so, kg.

    Only what is recorded, and only from one mash to the next on record; missing where nothing is.
    """
    moved: dict[str, float] = {}
    told = mashes[mashes["told"]].to_dict("records")
    for mash in told:
        if pd.notna(mash["weak_kg"]):
            moved[mash["batch_id"]] = moved.get(mash["batch_id"], 0.0) - mash["weak_kg"]
    for earlier, later in pairwise(told):
        if pd.notna(later["weak_kg"]):
            moved[earlier["batch_id"]] = moved.get(earlier["batch_id"], 0.0) + later["weak_kg"]
    return pd.Series(moved, dtype="float64")


def says(mashes: pd.DataFrame, batch_id: str) -> str:
    """How much of the extract of a batch's first mash came with weak worts, and whence."""
    at = np.flatnonzero((mashes["batch_id"] == batch_id).to_numpy())
    if not len(at):
        return ""
    first = mashes.iloc[at[0]]
    if not first["known"]:
        return "not on record, taken as none"
    before = "what was mashed before, not on record"
    if at[0] > 0 and first["told"] and mashes["told"].iloc[at[0] - 1]:
        before = str(mashes["batch_id"].iloc[at[0] - 1])
    part = Span(first["part_least"], first["part_most"])
    return f"{part.words()} of its first mash's extract, of {before}"


def assumed(mashes: pd.DataFrame) -> list[str]:
    """What the shares stand on, in words."""
    if not mashes["known"].any():
        return ["weak worts not stated, taken as none"]
    said = ["weak worts have the make-up of the mash before, in one mash tun"]
    silent = int((~mashes["known"]).sum())
    if silent:
        said.append(f"for {count(silent, 'mash')} not on record, and taken as none")
    return said
