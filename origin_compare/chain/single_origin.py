"""What speaks against calling a batch of one grower, or of one lot, in words, one by one."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from origin_compare.answers import listed
from origin_compare.chain.balance import Balance
from origin_compare.house import HouseRules
from origin_compare.season.lot_shares import MIXED, NOT_KNOWN, Span

LEVELS = {"grower": "grower_id", "lot": "lot_id"}
SINGLE_LIMIT, CARRY_LIMIT = "single_origin_pct", "carry_over_pct"


def broken(batch: pd.Series) -> list[str]:
    """Where the chain of one row of the season table does not hold from field to spirit."""
    missing = str(batch["missing_links"]).split("; ")
    found = [f"chain broken, {one}" for one in missing if one in ("no mash", "no malt", "no lot")]
    if batch["origin"] == NOT_KNOWN and not found:
        found.append("chain broken, a part of the grain is not known")
    if any(one.startswith("weights missing") for one in missing) and batch["origin"] == MIXED:
        found.append("weights missing")
    if batch["status"] != "distilled":
        what = "still fermenting" if batch["status"] == "fermenting" else "not distilled"
        found.append(f"{what}, so what it meets in the still is not known")
    return found


def mixed(shares: pd.DataFrame, level: str) -> list[str]:
    """That its grain is of several growers or lots; `shares`: its rows of `Season.shares`."""
    names = shares.groupby(LEVELS[level])["share"].sum()
    if len(names) < 2:
        return []
    told = [f"{name} {share:.0%}" for name, share in names.items()]
    return [f"{level}s mixed, {listed(told)} by mass"]


def gaps(accounts: Iterable[Balance]) -> list[str]:
    """The gaps of mass or alcohol outside their limits, each told once."""
    flags = [flag.says for one in accounts for flag in one.flags]
    return [f"gap outside its limit: {says}" for says in dict.fromkeys(flags)]


def carried_too_far(rules: HouseRules, old: Span, apart: str) -> list[str]:
    """That more of the alcohol may come from earlier runs than the house allows.

    `old`: its share; `apart`: what the house says of foreshots and feints (`house.FEINTS`).
    """
    window = rules.windows.get(CARRY_LIMIT)
    if window is None or window.high is None or 100 * old.most <= window.high:
        return []
    why = "whether foreshots and feints are kept apart is not stated"
    if apart != "not stated":
        why = "foreshots and feints are not kept apart"
    return [f"{window.says} {old.words()}, limit {window.words()} ({why})"]


def too_little(rules: HouseRules, share: Span) -> list[str]:
    """That the origin may hold less of the alcohol than the house asks of a single one."""
    window = rules.windows.get(SINGLE_LIMIT)
    if window is None or window.low is None or 100 * share.least >= window.low:
        return []
    return [f"{window.says} {share.words()}, limit {window.words()}"]
