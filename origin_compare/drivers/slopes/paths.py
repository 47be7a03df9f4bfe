"""By way of what: a field's trait, a process variable between, and the flavour behind it.

The total slope of flavour on the trait, the direct one at like process, and the part by way of
the variable between (product of two slopes). Interval of the product by drawing both slopes
(MacKinnon, Lockwood and Williams, Multivariate Behav. Res. 39 (2004) 99).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.answers import listed
from origin_compare.drivers.model.batch_model import BatchFit, fit_batches, turn_noise
from origin_compare.drivers.model.coding import Array
from origin_compare.drivers.model.fixed_columns import lay_out
from origin_compare.drivers.model.usable_batches import (
    Kept,
    ProfileLike,
    anchored,
    chosen,
    keep,
    numbers_of,
    refuse_below,
    scores_of,
)
from origin_compare.drivers.overlap.ties import inflation
from origin_compare.drivers.wording import STILL, USUAL, Limits, plain, signed, step, title, upper
from origin_compare.errors import NotEnoughData

DRAWS = 4000
LEVEL = 0.95


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
    attributes: Iterable[str] | None = None,
    still: Iterable[str] = STILL,
    leave_out: Iterable[str] = (),
    seed: int = 0,
    limits: Limits = USUAL,
) -> Path:
    """Total, direct and by-way-of slopes of every attribute on a field's `trait`.

    Same model over batches as `effects`, season fixed, origin random. Raises NotEnoughData when
    too few batches are left or trait and variable cannot be told apart.
    """
    kept = keep(batches, profile, [trait, by_way_of], origin, still, leave_out)
    layout = lay_out(kept, (trait, by_way_of), origin, limits)
    refuse_below(len(kept.rows), layout.least, "A path")
    _refuse_tied(kept, trait, by_way_of, limits)
    names = chosen(profile, attributes)
    scores, noise = scores_of(kept, profile, names)
    turned = turn_noise(anchored(noise))
    own, between = layout.place[trait], layout.place[by_way_of]
    simple = [*layout.base, own]
    middle = layout.X[:, between : between + 1]
    nothing = np.zeros((len(middle), 1))
    first = fit_batches(middle, layout.X[:, simple], layout.groups, nothing)
    total = fit_batches(scores, layout.X[:, simple], layout.groups, turned)
    both = fit_batches(scores, layout.X, layout.groups, turned)
    rng = np.random.default_rng(seed)
    parts = pd.DataFrame({"attribute": names})
    parts = parts.assign(**_named("total", total, len(simple) - 1), **_named("direct", both, own))
    a = _drawn(first, len(simple) - 1, rng)
    b = _drawn(both, between, rng)
    low, high = np.quantile(a * b, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=0)
    parts["by_way_of"] = first.beta[0, -1] * both.beta[:, between]
    parts["by_way_of_low"], parts["by_way_of_high"] = low, high
    parts["seen"] = (low > 0) | (high < 0)
    parts["told_apart"] = [name in set(profile.told) for name in names]
    slope = _named("first", first, len(simple) - 1)
    told = tuple(float(slope[name][0]) for name in ("first", "first_low", "first_high"))
    return Path(parts, (told[0], told[1], told[2]), trait, by_way_of, kept)


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


def _named(name: str, fit: BatchFit, column: int) -> dict[str, Array]:
    slope, se = fit.beta[:, column], fit.se[:, column]
    reach = stats.t.ppf(0.5 + LEVEL / 2, fit.df[:, column]) * se
    return {name: slope, f"{name}_low": slope - reach, f"{name}_high": slope + reach}


def _drawn(fit: BatchFit, column: int, rng: np.random.Generator) -> Array:
    """DRAWS x attributes: slopes as they might have come out."""
    slope, se, df = fit.beta[:, column], fit.se[:, column], fit.df[:, column]
    return np.asarray(slope + se * rng.standard_t(df, size=(DRAWS, len(slope))))
