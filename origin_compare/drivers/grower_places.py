"""Do growers keep their place from season to season? Two seasons are two draws."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import pandas as pd

from origin_compare.answers import count
from origin_compare.drivers.model.study import Tasted
from origin_compare.drivers.model.usable_batches import Kept, ProfileLike
from origin_compare.drivers.wording import plain, title
from origin_compare.errors import NotEnoughData
from origin_compare.estimates import LEVEL

LEAST = 5
"""Growers in both seasons without which no correlation is worth a number."""


@dataclass(frozen=True)
class Agreement:
    """`means`: per origin, season and attribute the mean score less that season's mean over the
    origins, with `n` batches, not shrunk. `pairs`: per attribute and two seasons `r, low, high`
    (Fisher's z) over `n` origins in both, and `says` (kept, turned, cannot tell).
    """

    means: pd.DataFrame
    pairs: pd.DataFrame
    seasons: tuple[str, ...]
    origin: str
    kept: Kept

    def table(self) -> pd.DataFrame:
        """One row per attribute and pair of seasons."""
        return self.pairs.copy()

    def of(self, attribute: str) -> str:
        """Whether origins kept their place on one attribute, in words."""
        name = title(self.origin)
        rows = self.pairs[self.pairs["attribute"] == attribute]
        if rows.empty:
            return (
                f"One season is one draw of the weather: whether a {name} would be the same "
                "another year cannot be told."
            )
        told = [
            f"{row['first']} and {row['second']}: {row['says']} (r = {plain(row['r'])}, "
            f"{plain(row['low'])} to {plain(row['high'])}, {row['n']} {name}s)"
            for row in rows.to_dict("records")
        ]
        draws = " Two seasons are two draws of the weather." if len(self.seasons) == 2 else ""
        return f"{'; '.join(told)}.{draws}"

    def sentence(self) -> str:
        """On how many attributes places were kept from season to season."""
        if self.pairs.empty:
            return f"No two seasons share {LEAST} {title(self.origin)}s, so nothing is compared."
        kept = self.pairs[self.pairs["says"] == KEPT]["attribute"].nunique()
        asked = self.pairs["attribute"].nunique()
        return (
            f"{title(self.origin).capitalize()}s surely kept their place between seasons on "
            f"{kept} of {count(asked, 'attribute')}."
        )

    def rests_on(self) -> str:
        """The batches, and what pulls the correlation towards nothing."""
        return (
            f"{self.kept.words()} Means per season as scored; batch scatter and panel error pull "
            "the correlation towards nothing."
        )


KEPT, TURNED, UNSURE = "places kept", "places turned round", "cannot tell whether places were kept"


def agreement(
    batches: pd.DataFrame,
    profile: ProfileLike,
    origin: str = "grower_id",
    *,
    attributes: Iterable[str] | None = None,
    leave_out: Iterable[str] = (),
) -> Agreement:
    """Each origin's mean in each season, and how far two seasons agree on the origins.

    Raises NotEnoughData when no ended, tasted batch of known origin is left.
    """
    return agreement_of(Tasted(batches, profile, tuple(leave_out)), origin, attributes)


def agreement_of(
    tasted: Tasted, origin: str = "grower_id", attributes: Iterable[str] | None = None
) -> Agreement:
    """`agreement` of batches already settled."""
    wanted = list(tasted.profile.told) if attributes is None else attributes
    study = tasted.study([], origin, attributes=wanted, still=())
    kept, names = study.kept, list(study.names)
    if kept.rows.empty:
        raise NotEnoughData("No ended, tasted batch of one known origin, so none is compared.")
    scores = tasted.profile.wide().loc[kept.rows.index, names]
    long = scores.assign(
        origin=kept.rows[origin].astype(str), season=kept.rows["season"].astype(str)
    ).melt(id_vars=["origin", "season"], var_name="attribute", value_name="score")
    grouped = long.groupby(["attribute", "origin", "season"])["score"]
    means = pd.DataFrame({"score": grouped.mean(), "n": grouped.size()}).reset_index()
    within = means.groupby(["attribute", "season"])["score"]
    means["score"] = means["score"] - within.transform("mean")
    seasons = tuple(sorted(means["season"].unique()))
    order = {name: place for place, name in enumerate(names)}
    pairs = [
        row for name, rows in means.groupby("attribute") for row in _pairs(str(name), rows, seasons)
    ]
    table = pd.DataFrame(
        pairs, columns=["attribute", "first", "second", "n", "r", "low", "high", "says"]
    ).sort_values("attribute", key=lambda a: a.map(order), kind="stable", ignore_index=True)
    return Agreement(means.rename(columns={"origin": origin}), table, seasons, origin, kept)


def _pairs(name: str, rows: pd.DataFrame, seasons: tuple[str, ...]) -> list[tuple[object, ...]]:
    from scipy.stats import pearsonr

    wide = rows.pivot(index="origin", columns="season", values="score")
    told: list[tuple[object, ...]] = []
    for first, second in combinations(seasons, 2):
        both = wide[[first, second]].dropna().to_numpy()
        if len(both) < LEAST or both.std(axis=0).min() == 0:
            continue
        found = pearsonr(both[:, 0], both[:, 1])
        low, high = (float(end) for end in found.confidence_interval(LEVEL))
        says = KEPT if low > 0 else TURNED if high < 0 else UNSURE
        told.append((name, first, second, len(both), float(found.statistic), low, high, says))
    return told
