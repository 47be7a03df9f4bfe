"""By way of what: a field's trait, a process variable between, and the flavour behind it.

The total slope of flavour on the trait, the direct one at like process, and the part by way of
the variable between (product of two slopes). Interval of the product by drawing both slopes
(MacKinnon, Lockwood and Williams, Multivariate Behav. Res. 39 (2004) 99).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Unpack

import numpy as np
import pandas as pd

from origin_compare.answers import listed
from origin_compare.drivers.model.batch_model import fit_batches
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.study import Choices, Study, study_of
from origin_compare.drivers.model.usable_batches import Kept, ProfileLike, numbers_of
from origin_compare.drivers.overlap.ties import inflation
from origin_compare.drivers.wording import Limits, plain, signed, step, title, upper
from origin_compare.errors import NotEnoughData
from origin_compare.estimates import LEVEL, Estimates

DRAWS = 4000


@dataclass(frozen=True)
class Path:
    """One row per attribute (`parts`): `total, direct, by_way_of` in score points per step of
    the trait, each with `_low, _high` (95 %); `told_apart`; `seen` where the interval of the
    part by way of the variable leaves out nothing. `first`: how the variable goes with the trait.
    """

    parts: pd.DataFrame
    first: tuple[float, float, float]
    trait: str
    between: str
    kept: Kept

    def table(self) -> pd.DataFrame:
        """One row per attribute."""
        return self.parts.copy()

    def sentence(self) -> str:
        """Whether anything goes with the trait by way of the variable."""
        trait, between = title(self.trait), title(self.between)
        seen = self.parts[self.parts["seen"] & self.parts["told_apart"]]
        if seen.empty:
            return f"Nothing is seen to go with {trait} by way of {between}."
        told = [
            f"{row['attribute']} ({signed(row['by_way_of'])} per {step(self.trait)[1]})"
            for row in seen.to_dict("records")
        ]
        return f"{upper(trait)} goes with {listed(told)} by way of {between}."

    def rests_on(self) -> str:
        """Batches, and what this cannot show."""
        return (
            f"{self.kept.words()} Seen among batches as they came: a third thing that moves both "
            f"{title(self.between)} and the flavour would look the same. {self.kept.still_words()}"
        ).strip()


def path(
    batches: pd.DataFrame,
    profile: ProfileLike,
    trait: str,
    by_way_of: str,
    origin: str = "grower_id",
    *,
    seed: int = 0,
    **choices: Unpack[Choices],
) -> Path:
    """Total, direct and by-way-of slopes of every attribute on a field's `trait`.

    Same model over batches as `effects`, season fixed, origin random. Raises NotEnoughData when
    too few batches are left or trait and variable cannot be told apart.
    """
    study = study_of(batches, profile, (trait, by_way_of), origin, **choices)
    return path_of(study, seed)


def path_of(study: Study, seed: int = 0) -> Path:
    """`path` of a study of two variables: the trait, and what it goes by way of."""
    trait, by_way_of = study.process
    layout = study.layout
    study.refuse_few("A path")
    _refuse_tied(study.kept, trait, by_way_of, study.limits)
    own, between = layout.place[trait], layout.place[by_way_of]
    simple, last = [*layout.base, own], len(layout.base)
    middle = layout.X[:, between : between + 1]
    nothing = np.zeros((len(middle), 1))
    first = fit_batches(middle, layout.X[:, simple], layout.groups, nothing).estimates(last)
    total, both = study.fit(simple), study.fit()
    rng = np.random.default_rng(seed)
    drawn = _drawn(first, rng) * _drawn(both.estimates(between), rng)
    low, high = np.quantile(drawn, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=0)
    parts = pd.DataFrame(
        {
            "attribute": list(study.names),
            **total.estimates(last).columns("total", "total"),
            **both.estimates(own).columns("direct", "direct"),
            "by_way_of": first.value * both.beta[:, between],
            "by_way_of_low": low,
            "by_way_of_high": high,
            "seen": (low > 0) | (high < 0),
            "told_apart": study.told,
        }
    )
    ends = [float(end[0]) for end in first.interval()]
    told = (float(first.value[0]), ends[0], ends[1])
    return Path(parts, told, trait, by_way_of, study.kept)


def _refuse_tied(kept: Kept, trait: str, between: str, limits: Limits) -> None:
    """A trait is its field's, so it is tied to the grower by nature; what must not be tied is
    the trait and the variable, and both must have moved."""
    columns = numbers_of(kept.rows, [trait, between])
    for name, values in zip((trait, between), columns.T, strict=True):
        if np.ptp(values) == 0:
            raise NotEnoughData(
                f"{upper(title(name))} did not vary in these batches, so no path can be followed."
            )
    if inflation(columns)[0] > limits.most_vif:
        r = float(np.corrcoef(columns[:, 0], columns[:, 1])[0, 1])
        raise NotEnoughData(
            f"{upper(title(trait))} and {title(between)} move together here (r = {plain(r)}), so "
            "no path between them can be followed."
        )


def _drawn(found: Estimates, rng: np.random.Generator) -> Array:
    """DRAWS x attributes: slopes as they might have come out."""
    noise = rng.standard_t(found.df, size=(DRAWS, len(found.value)))
    return np.asarray(found.value + found.se * noise)
