"""Growers side by side: each one's profile drawn towards the mean as far as it is uncertain."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.answers import count, listed
from origin_compare.drivers.model.batch_model import fit_batches, turn_noise
from origin_compare.drivers.model.fixed_columns import lay_out
from origin_compare.drivers.model.usable_batches import (
    Kept,
    ProfileLike,
    anchored,
    chosen,
    keep,
    refuse_below,
    scores_of,
)
from origin_compare.drivers.wording import PROCESS, STILL, USUAL, Limits, title, upper
from origin_compare.errors import NotEnoughData

LEVEL = 0.95


@dataclass(frozen=True)
class Origins:
    """Shrunken profiles: one row per origin and attribute, in the order of their codes.

    `profiles`: `estimate, low, high` in score points from the mean of all, process left as it
        was (total); `direct, direct_low, direct_high` at like process; `n_batches`; `q` after
        Benjamini and Hochberg over all told attributes; `stands_out` where it is at most the limit.
    """

    profiles: pd.DataFrame
    origin: str
    kept: Kept

    def table(self) -> pd.DataFrame:
        """One row per origin and attribute."""
        return self.profiles.copy()

    def sentence(self) -> str:
        """On which attributes any of them stands out. No order of merit."""
        name = title(self.origin)
        out = self.profiles[self.profiles["stands_out"]]
        if out.empty:
            return f"No {name} stands out from the others on any attribute the panel can tell."
        told = [
            f"{attribute} ({listed(list(rows[self.origin]))})"
            for attribute, rows in out.groupby("attribute", sort=False)
        ]
        return f"{upper(name)}s stand out on {listed(told)}."

    def rests_on(self) -> str:
        """Batches per origin, and what was left out."""
        sizes = self.kept.rows[self.origin].value_counts()
        return (
            f"{self.kept.words()} {count(len(sizes), title(self.origin))} with {sizes.min()} to "
            f"{sizes.max()} batches each; profiles are drawn towards the mean as far as they are "
            f"uncertain. {self.kept.still_words()}"
        ).strip()


def origins(
    batches: pd.DataFrame,
    profile: ProfileLike,
    process: Iterable[str] = PROCESS,
    origin: str = "grower_id",
    *,
    attributes: Iterable[str] | None = None,
    still: Iterable[str] = STILL,
    leave_out: Iterable[str] = (),
    limits: Limits = USUAL,
) -> Origins:
    """Profiles of the origins, total and at like process, drawn towards the mean.

    Conditional modes of the model over batches (see `batch_model`); intervals 95 %, with one
    degree of freedom less than there are origins. Raises NotEnoughData for fewer than three
    origins, or where every origin has one batch.
    """
    process = tuple(process)
    kept = keep(batches, profile, process, origin, still, leave_out)
    layout = lay_out(kept, process, origin, limits)
    refuse_below(len(kept.rows), layout.least, "A profile of origins")
    name = title(origin)
    codes, levels = pd.factorize(kept.rows[origin].astype(str), sort=True)
    if len(levels) < 3 or layout.one_each:
        raise NotEnoughData(
            f"{count(len(levels), name)} in {count(len(kept.rows), 'batch')}: profiles side by "
            f"side need three {name}s or more, some of them with several batches."
        )
    names = chosen(profile, attributes)
    scores, noise = scores_of(kept, profile, names)
    turned = turn_noise(anchored(noise))
    table = pd.DataFrame(
        {
            origin: np.repeat(levels, len(names)),
            "attribute": np.tile(names, len(levels)),
            "n_batches": np.repeat(np.bincount(codes), len(names)),
        }
    )
    reach = float(stats.t.ppf(0.5 + LEVEL / 2, len(levels) - 1))
    for columns, as_named in (
        (layout.base, ("estimate", "low", "high")),
        (list(range(layout.X.shape[1])), ("direct", "direct_low", "direct_high")),
    ):
        fit = fit_batches(scores, layout.X[:, columns], codes.astype(np.intp), turned)
        modes, se = fit.growers.T.ravel(), fit.grower_se.T.ravel()
        table[as_named[0]] = modes
        table[as_named[1]] = modes - reach * se
        table[as_named[2]] = modes + reach * se
        if as_named[0] == "estimate":
            with np.errstate(invalid="ignore", divide="ignore"):
                t = np.where(se > 0, np.abs(modes) / se, 0.0)
            table["p"] = 2 * stats.t.sf(t, len(levels) - 1)
    table["told_apart"] = table["attribute"].isin(list(profile.told))
    table["q"] = np.nan
    asked = table["told_apart"]
    table.loc[asked, "q"] = stats.false_discovery_control(table.loc[asked, "p"])
    table["stands_out"] = table["q"] <= limits.clear_q
    return Origins(table, origin, kept)
