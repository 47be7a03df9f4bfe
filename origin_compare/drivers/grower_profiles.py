"""Growers side by side: each one's profile drawn towards the mean as far as it is uncertain."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Unpack

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import count, listed
from origin_compare.drivers.model.batch_model import fit_batches
from origin_compare.drivers.model.study import Choices, Study, study_of
from origin_compare.drivers.model.usable_batches import Kept, ProfileLike
from origin_compare.drivers.shares.grower_gaps import grower_gaps
from origin_compare.drivers.wording import PROCESS, plain, title, upper
from origin_compare.errors import NotEnoughData
from origin_compare.estimates import Estimates, false_discovery


@dataclass(frozen=True)
class Origins:
    """Shrunken profiles: one row per origin and attribute, in the order of their codes.

    `profiles`: `estimate, low, high` in score points from the mean of all, process left as it
        was (total); `direct, direct_low, direct_high` at like process; `n_batches`; `p` of each
        against the mean of all (not drawn to it; lots are the error where a grower has several),
        `q` after Benjamini and Hochberg over all told attributes; `stands_out` where it is at most
        the limit; `seen_from`, the gap that would be seen four times in five.
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
            none = f"No {name} stands out from the others on any attribute the panel can tell"
            seen = self.profiles.loc[self.profiles["told_apart"], "seen_from"].median()
            if not np.isfinite(seen):
                return f"{none}."
            return f"{none}; one {plain(seen, 1)} points off would, four times in five."
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
    **choices: Unpack[Choices],
) -> Origins:
    """Profiles of the origins, total and at like process, drawn towards the mean.

    Conditional modes of the model over batches (see `batch_model`); intervals 95 %, with one
    degree of freedom less than there are origins. Raises NotEnoughData for fewer than three
    origins, or where every origin has one batch.
    """
    return origins_of(study_of(batches, profile, process, origin, **choices))


def origins_of(study: Study) -> Origins:
    """`origins` of a study already laid out."""
    layout, rows = study.layout, study.rows
    study.refuse_few("A profile of origins")
    codes, levels = pd.factorize(rows[study.origin].astype(str), sort=True)
    _refuse_few(len(levels), len(rows), layout.one_each, title(study.origin))
    total, direct = (_modes(study, codes, columns) for columns in (layout.base, None))
    tested = grower_gaps(study, codes.astype(np.intp), layout.base)
    gaps = total if tested is None else tested.gaps
    seen = np.full(len(study.names), np.nan) if tested is None else tested.smallest_seen(study.told)
    table = pd.DataFrame(
        {
            study.origin: np.repeat(levels, len(study.names)),
            "attribute": np.tile(study.names, len(levels)),
            "n_batches": np.repeat(np.bincount(codes), len(study.names)),
            **total.columns("estimate"),
            **direct.columns("direct", "direct"),
            "p": np.ravel(gaps.p),
            "seen_from": np.tile(seen, len(levels)),
            "told_apart": np.tile(study.told, len(levels)),
        }
    )
    table["q"] = false_discovery(table["p"], table["told_apart"])
    table["stands_out"] = table["q"] <= study.limits.clear_q
    return Origins(table, study.origin, study.kept)


def _refuse_few(levels: int, batches: int, one_each: bool, name: str) -> None:
    if levels < 3 or one_each:
        raise NotEnoughData(
            f"{count(levels, name)} in {count(batches, 'batch')}: profiles side by "
            f"side need three {name}s or more, some of them with several batches."
        )


def _modes(study: Study, codes: NDArray[np.intp], columns: list[int] | None) -> Estimates:
    """Each origin on each attribute, drawn towards the mean: origins x attributes, in one row."""
    X = study.layout.X if columns is None else study.layout.X[:, columns]
    fit = fit_batches(study.panel.scores, X, codes.astype(np.intp), study.panel.turned)
    return Estimates(fit.growers.T.ravel(), fit.grower_se.T.ravel(), float(codes.max()))
