"""What became of one grower's barley: lots to malts to batches, with shares."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.chain.balance import Balance
from origin_compare.chain.purity import Reckoning
from origin_compare.errors import UnknownName
from origin_compare.measures import litres_of_alcohol
from origin_compare.season.lot_shares import WHOLE, Span, flows
from origin_compare.season.season import Season


@dataclass(frozen=True)
class GrowerChain:
    """What became of one grower's barley: `rows`, one per lot and batch it went into.

    Columns: season, lot_id, field, variety, delivered_t, batch_id, origin, share, malt_kg
    and new_make_lpa (both by mass share), missing_links; a lot not mashed has no batch. `ways`:
    lot_id, malt_id, batch_id, malt_kg of this grower (malt and batch missing where it has gone no
    further), batch_kg. `batches` (`BATCH_COLUMNS`): the span of its alcohol that is this
    grower's. `lot_accounts`: mass and alcohol of each lot.
    """

    grower_id: str
    rows: pd.DataFrame
    ways: pd.DataFrame
    batches: pd.DataFrame
    lot_accounts: tuple[Balance, ...]

    def sentence(self) -> str:
        """How many lots and batches, and the pure alcohol by mass share."""
        batches = self.rows.dropna(subset="batch_id").groupby("batch_id")["share"].sum()
        whole = int((batches >= WHOLE).sum())
        lots = self.rows["lot_id"].nunique()
        said = f"Grower {self.grower_id}: {count(lots, 'lot')}, {count(whole, 'whole batch')}"
        if len(batches) > whole:
            said += f" and a part of {count(len(batches) - whole, 'other')}"
        lpa = self.rows["new_make_lpa"]
        if lpa.notna().any():
            said += f", {lpa.sum():,.0f} L of pure alcohol by mass share"
        return f"{said}."

    def of_one_grower(self) -> str:
        """How many of its batches can be called of this grower alone, and its share of them."""
        if self.batches.empty:
            return f"No batch was mashed from grower {self.grower_id}'s barley yet."
        able = int((self.batches["single_origin"] == "yes").sum())
        ends = Span(self.batches["least_pct"].min() / 100, self.batches["most_pct"].max() / 100)
        said = (
            f"{able:,} of {count(len(self.batches), 'batch')} with barley of grower "
            f"{self.grower_id} can be called of one grower"
        )
        return f"{said}; its share of their alcohol is {ends.words()}."

    def table(self) -> pd.DataFrame:
        return self.rows

    def rests_on(self) -> str:
        """How many of the batches are distilled."""
        batches = self.rows.dropna(subset="batch_id").drop_duplicates("batch_id")
        done = int(batches["new_make_lpa"].notna().sum())
        return f"{count(done, 'distilled batch')} of {len(batches):,}."


def grower_chain(season: Season, grower_id: str) -> GrowerChain:
    """Every lot of a grower and what was made of it; `UnknownName` if there is no such grower."""
    lots = season.sheets["lots"]
    mine = lots[lots["grower_id"] == grower_id]
    known = set(season.sheets["growers"]["grower_id"]) | set(lots["grower_id"].dropna())
    if grower_id not in known:
        there = listed(sorted(known)) or "none"
        raise UnknownName(f"There is no grower {grower_id}. Growers on record: {there}.")
    made = season.batches[
        ["batch_id", "origin", "grist_kg", "new_make_l", "new_make_abv_pct", "missing_links"]
    ]
    shares = season.shares[["batch_id", "lot_id", "share"]]
    rows = mine.merge(shares, on="lot_id", how="left").merge(made, on="batch_id", how="left")
    rows["malt_kg"] = rows["grist_kg"] * rows["share"]
    rows["new_make_lpa"] = (
        litres_of_alcohol(rows["new_make_l"], rows["new_make_abv_pct"]) * rows["share"]
    )
    order = rows.sort_values(["season", "lot_id", "batch_id"], ignore_index=True)
    reckoning = Reckoning(season)
    return GrowerChain(
        grower_id,
        order[_GROWER_COLUMNS],
        _ways(season, mine),
        _batches(reckoning, grower_id, order),
        tuple(reckoning.lot_balance(str(lot)) for lot in order["lot_id"].drop_duplicates()),
    )


def _ways(season: Season, lots: pd.DataFrame) -> pd.DataFrame:
    """The grower's lots with every malt and batch they went into, and what they weigh there."""
    grown = lots[["season", "lot_id"]].drop_duplicates("lot_id")
    malted = season.sheets["malts"][["lot_id", "malt_id"]].drop_duplicates()
    mashed = flows(season.sheets)
    ways = grown.merge(malted, on="lot_id", how="left").merge(
        mashed, on=["lot_id", "malt_id"], how="left"
    )
    whole = season.batches.set_index("batch_id")["grist_kg"]
    ways["batch_kg"] = whole.reindex(ways["batch_id"]).to_numpy()
    return ways.sort_values(["season", "lot_id", "malt_id", "batch_id"], ignore_index=True)


def _batches(reckoning: Reckoning, grower_id: str, rows: pd.DataFrame) -> pd.DataFrame:
    here = rows.dropna(subset="batch_id")
    shares = here.groupby("batch_id", sort=False)["share"].sum()
    found = []
    for batch_id, share in shares.items():
        one = reckoning.of(str(batch_id), grower_id)
        why = "; ".join(one.reasons)
        ends = (100 * one.share.least, 100 * one.share.most)
        found.append((batch_id, share, *ends, "no" if why else "yes", why))
    return pd.DataFrame(found, columns=BATCH_COLUMNS)


BATCH_COLUMNS = ["batch_id", "share", "least_pct", "most_pct", "single_origin", "why_not"]


_GROWER_COLUMNS = [
    *["season", "lot_id", "field", "variety", "delivered_t", "batch_id", "origin", "share"],
    *["malt_kg", "new_make_lpa", "missing_links"],
]
