"""What is wished of a recipe: how much, from which parts, within which limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from origin_compare.errors import BadWish

STRONGEST_PCT = 96.0
"""% vol; ethanol and water distil no stronger under air's pressure (97.2, common handbooks)."""


@dataclass(frozen=True, slots=True)
class Wish:
    """A recipe's limits, checked.

    `lpa`: litres of pure alcohol wanted, None for as much as a recipe can sensibly be.
    `most_batches`, `fewest_batches`: parts. `least_share`, `most_share`: of pure alcohol, 0 to 1.
    `least_draw_l`: litres under which a batch is not worth opening. `must_hold`, `must_not`:
    batches. `only`: stock column -> the values allowed. `at_least`: grower -> least share of the
    alcohol. `strength_pct`: % vol at 20 °C after reduction with water, None for as mixed.
    """

    lpa: float | None = None
    most_batches: int = 4
    fewest_batches: int = 1
    least_share: float = 0.02
    most_share: float = 1.0
    least_draw_l: float = 0.0
    must_hold: Sequence[str] = ()
    must_not: Sequence[str] = ()
    only: Mapping[str, Sequence[Any]] = field(default_factory=dict)
    at_least: Mapping[str, float] = field(default_factory=dict)
    strength_pct: float | None = None

    def __post_init__(self) -> None:
        _parts(self)
        _shares(self)
        _amounts(self)
        both = sorted(set(self.must_hold) & set(self.must_not))
        if both:
            raise BadWish(f"{both[0]} must and must not be in the recipe. Take one of the two out.")


def wished_lpa(lpa: float | None, litres: float | None, strength_pct: float | None) -> float | None:
    """Litres of pure alcohol from litres at a strength, where these are given instead."""
    if litres is None:
        return None if lpa is None else float(lpa)
    if lpa is not None:
        raise BadWish("Litres and litres of pure alcohol are both given. Give one of the two.")
    if strength_pct is None:
        raise BadWish(f"{litres:g} litres of what strength? Give the strength after reduction.")
    return float(litres) * float(strength_pct) / 100


def _parts(wish: Wish) -> None:
    for name in ("most_batches", "fewest_batches"):
        value = getattr(wish, name)
        if int(value) != value or value < 1:
            raise BadWish(f"{value:g} parts make no recipe. Ask for 1 or more, in whole numbers.")
    if wish.fewest_batches > wish.most_batches:
        raise BadWish(
            f"At least {wish.fewest_batches} parts and at most {wish.most_batches} cannot both be "
            "had. Widen one of the two."
        )


def _shares(wish: Wish) -> None:
    shares = {
        "least share": wish.least_share,
        "most share": wish.most_share,
        **{f"share from {grower}": share for grower, share in wish.at_least.items()},
    }
    for name, share in shares.items():
        if not 0 <= share <= 1:
            raise BadWish(f"A {name} of {share:g} is outside 0 to 1. Write 25 % as 0.25.")
    if wish.most_share == 0 or wish.least_share > wish.most_share:
        raise BadWish(
            f"A least share of {wish.least_share:.0%} lies above a most share of "
            f"{wish.most_share:.0%}. Change one of the two."
        )


def _amounts(wish: Wish) -> None:
    if wish.lpa is not None and not (np.isfinite(wish.lpa) and wish.lpa > 0):
        raise BadWish(f"{wish.lpa:g} L of pure alcohol cannot be mixed. Ask for more than nothing.")
    if not 0 <= wish.least_draw_l < np.inf:
        raise BadWish(f"A smallest draw of {wish.least_draw_l:g} L cannot be. Give 0 or more.")
    if wish.strength_pct is not None and not 0 < wish.strength_pct <= STRONGEST_PCT:
        raise BadWish(
            f"A strength of {wish.strength_pct:g} % vol is outside 0 to {STRONGEST_PCT:g}. "
            "Give % vol at 20 °C."
        )
