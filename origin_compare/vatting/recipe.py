"""One recipe: its parts, what it is predicted to give, and the doubt in that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from origin_compare.answers import listed
from origin_compare.families.shrunken import Shrunken
from origin_compare.vatting.programme import Solved
from origin_compare.vatting.target import Target
from origin_compare.vatting.water import Mixed, mixed

Floats = NDArray[np.float64]

PROVEN = 0.01
"""Score points: a recipe is proven best when none can be nearer by more than this."""
_DRAWS = 4000


@dataclass(frozen=True, slots=True)
class Recipe:
    """One recipe. `parts`: batch_id, share (of pure alcohol), lpa, litres, strength_pct, of_stock
    (share of what is left of the batch, 0 to 1); litres at 20 °C.

    `predicted`: attribute, target, predicted, low, high (95 %), gap. `distance`: expected root
    mean square gap to the target in score points, panel error counted; `low`, `high` (95 %).
    All allow for the recipe having been chosen for looking near (see `families.shrunken`).
    `mix`: strength, litres and water. `proven`: no recipe within the limits is nearer by more
    than `PROVEN`; `gap`: by how much one could be at most, score points.
    """

    parts: pd.DataFrame
    predicted: pd.DataFrame
    distance: float
    low: float
    high: float
    mix: Mixed
    proven: bool
    gap: float

    @property
    def strength_pct(self) -> float:
        """% vol at 20 °C of what is made, water included."""
        return self.mix.strength_pct

    def words(self) -> str:
        """`18 % B-07 (120 L), 82 % B-31 (540 L)`, and the water."""
        parts = [
            f"{part.share:.0%} {part.batch_id} ({part.litres:,.0f} L)"
            for part in self.parts.itertuples()
        ]
        text = listed(parts, most=12)
        if self.mix.water_l > 0:
            text += (
                f", with {self.mix.water_l:,.0f} L ({self.mix.water_kg:,.0f} kg) of water to "
                f"{self.mix.litres:,.0f} L at {self.mix.strength_pct:.1f} % vol"
            )
        return text


def recipe_of(
    solved: Solved,
    held: pd.DataFrame,
    drawn: Shrunken,
    target: Target,
    lpa: float,
    strength_pct: float | None,
    seed: int,
) -> Recipe:
    """The recipe the solver found for the batches in `held`, `lpa` litres of pure alcohol of it."""
    parts = _parts(solved.shares, held, lpa)
    shares = pd.Series(solved.shares, held["batch_id"]).reindex(drawn.mean.index).fillna(0.0)
    weights = np.asarray(shares, dtype=np.float64)
    predicted, variance = drawn.contrast(weights)
    _, doubt = drawn.contrast(weights - target.batches)
    gap = predicted - target.scores.to_numpy()
    reach = norm.ppf(0.975) * np.sqrt(variance)
    low, high = _interval(gap, np.sqrt(doubt), target.weights, seed)
    distance = float(np.sqrt(solved.value))
    return Recipe(
        parts=parts,
        predicted=pd.DataFrame(
            {
                "attribute": target.scores.index,
                "target": target.scores.to_numpy(),
                "predicted": predicted,
                "low": predicted - reach,
                "high": predicted + reach,
                "gap": gap,
            }
        ),
        distance=distance,
        low=min(low, distance),
        high=max(high, distance),
        mix=mixed(
            parts["litres"].to_numpy(dtype=float),
            parts["strength_pct"].to_numpy(dtype=float),
            strength_pct,
        ),
        proven=solved.gap <= PROVEN,
        gap=solved.gap,
    )


def _parts(shares: Floats, held: pd.DataFrame, lpa: float) -> pd.DataFrame:
    picked = held[shares > 0]
    strength = picked["new_make_abv_pct"].to_numpy(dtype=float)
    alcohol = shares[shares > 0] * lpa
    return pd.DataFrame(
        {
            "batch_id": picked["batch_id"].to_numpy(),
            "share": shares[shares > 0],
            "lpa": alcohol,
            "litres": alcohol / strength * 100,
            "strength_pct": strength,
            "of_stock": alcohol / picked["lpa"].to_numpy(dtype=float),
        }
    ).sort_values("share", ascending=False, ignore_index=True, kind="stable")


def _interval(gap: Floats, se: Floats, weights: Floats, seed: int) -> tuple[float, float]:
    """95 % interval of the distance, by drawing the gaps."""
    draws = np.random.default_rng(seed).standard_normal((_DRAWS, len(gap)))
    distance = np.sqrt((gap + draws * se) ** 2 @ weights)
    low, high = np.quantile(distance, [0.025, 0.975])
    return float(low), float(high)
