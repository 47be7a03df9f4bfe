"""One grower's spirit against the middle half of the season's growers, with all of its doubt.

The unit is the batch. With two batches or more the interval carries what differs from batch to
batch within a grower (pooled over the season's growers) as well as the panel's error; with one
batch only the panel's error can be had, and field and batch are one thing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from origin_compare.estimates import LEVEL, quantile
from origin_compare.growers import privacy

if TYPE_CHECKING:
    from origin_compare.panel import Profile

CLEAR, HINT, NOT_SHOWN = "clear", "a hint", "not shown"
COLUMNS = [
    "attribute",
    "own",
    "low",
    "high",
    "low_all",
    "high_all",
    "group_median",
    "group_low",
    "group_high",
    "evidence",
    "side",
    "n_batches",
    "df",
]


@dataclass(frozen=True)
class Estimate:
    """A grower's mean score on one attribute; `df` are degrees of freedom of its error."""

    own: float
    se: float
    df: float
    n_batches: int


def flavours(single: pd.DataFrame, profile: Profile, grower_id: str, smallest: int) -> pd.DataFrame:
    """One row per attribute the panel tells apart and this grower was scored on, `COLUMNS`.

    `single`: the season's batches of one grower each. `low`, `high` hold for the attribute alone
    at 95 %; `low_all`, `high_all` for all attributes shown together (Šidák, J. Am. Stat. Assoc. 62
    (1967) 626, from memory). Evidence: `clear` when the interval for all attributes together lies
    outside the middle half, `a hint` when only the attribute's own interval does.
    """
    wide, df = profile.wide(), _panel_df(profile)
    growers = single.set_index("batch_id")["grower_id"]
    scored = {name: _scored(growers, wide[name]) for name in profile.told}
    shown = {name: rows for name, rows in scored.items() if (rows["grower_id"] == grower_id).any()}
    rows = [
        _row(name, estimate(rows, profile, name, grower_id, df), rows, smallest, len(shown))
        for name, rows in shown.items()
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def _scored(growers: pd.Series, score: pd.Series) -> pd.DataFrame:
    """grower_id and score by batch_id, batches scored on the attribute only."""
    return pd.DataFrame({"grower_id": growers, "score": score.reindex(growers.index)}).dropna()


def _row(
    attribute: str, found: Estimate, scored: pd.DataFrame, smallest: int, shown: int
) -> dict[str, object]:
    together = LEVEL ** (1 / shown)
    half, half_all = (
        float(quantile(0.5 + level / 2, found.df)) * found.se for level in (LEVEL, together)
    )
    group_low, group_median, group_high = privacy.HIDDEN
    if privacy.may_show(scored, smallest):
        step = privacy.score_step(scored["score"])
        by_grower = scored.groupby("grower_id")["score"].mean()
        group_low, group_median, group_high = privacy.middle_half(by_grower, step)
    word, side = evidence(found.own, half, half_all, group_low, group_high)
    return {
        "attribute": attribute,
        "own": found.own,
        "low": found.own - half,
        "high": found.own + half,
        "low_all": found.own - half_all,
        "high_all": found.own + half_all,
        "group_median": group_median,
        "group_low": group_low,
        "group_high": group_high,
        "evidence": word,
        "side": side,
        "n_batches": found.n_batches,
        "df": found.df,
    }


def estimate(
    scored: pd.DataFrame,
    profile: Profile,
    attribute: str,
    grower_id: str,
    panel_df: Mapping[tuple[str, str], float],
) -> Estimate:
    """The grower's mean over own batches and its standard error against the other growers.

    The panel's part is the variance of own mean less the others' mean, errors that batches share
    included. The batches' part is the pooled spread within growers less what the panel alone
    would give it; its degrees of freedom are those of the pooled spread, which is cautious.
    `panel_df`: the panel's degrees of freedom by batch and attribute.
    """
    cov = profile.error_cov(attribute)
    places = cov.index.get_indexer(scored.index)
    panel = cov.to_numpy("float64")[np.ix_(places, places)]
    mine = (scored["grower_id"] == grower_id).to_numpy()
    score = scored["score"].to_numpy("float64")
    n = int(mine.sum())
    weights = mine / n
    if not mine.all():
        weights = weights - ~mine / (~mine).sum()
    variance = float(weights @ panel @ weights)
    df = max(1.0, min(panel_df[batch_id, attribute] for batch_id in scored.index[mine]))
    if n > 1:
        spread, spread_df = between_batches(scored, panel)
        variance += spread / n
        df = min(df, spread_df)
    return Estimate(float(score[mine].mean()), float(np.sqrt(variance)), df, n)


def between_batches(scored: pd.DataFrame, panel: np.ndarray) -> tuple[float, float]:
    """Variance between batches of one grower beyond the panel's error, and its degrees of freedom.

    `panel`: covariance of the panel's errors, in the order of `scored`. Never below zero.
    """
    square, from_panel, df = 0.0, 0.0, 0
    growers = scored["grower_id"].to_numpy()
    score = scored["score"].to_numpy("float64")
    for grower in pd.unique(growers):
        own = np.flatnonzero(growers == grower)
        square += float(((score[own] - score[own].mean()) ** 2).sum())
        block = panel[np.ix_(own, own)]
        from_panel += float(np.trace(block) - block.sum() / len(own))
        df += len(own) - 1
    return max(0.0, (square - from_panel) / df), float(df)


def _panel_df(profile: Profile) -> dict[tuple[str, str], float]:
    table = profile.table()
    keys = zip(table["batch_id"], table["attribute"], strict=True)
    return dict(zip(keys, table["df_compare"].astype("float64"), strict=True))


def evidence(
    own: float, half: float, half_all: float, group_low: float, group_high: float
) -> tuple[str, str]:
    """The evidence word, and `more` or `less` where there is any evidence to give a side to."""
    if np.isnan(group_low):
        return NOT_SHOWN, ""
    beyond = max(own - group_high, group_low - own)
    if beyond <= half:
        return NOT_SHOWN, ""
    side = "more" if own > group_high else "less"
    return (CLEAR if beyond > half_all else HINT), side
