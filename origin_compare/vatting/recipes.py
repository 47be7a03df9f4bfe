"""Recipes from stock towards a wanted profile."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import count, listed
from origin_compare.errors import BadWish, NotEnoughData
from origin_compare.families.profiles import points
from origin_compare.families.shrunken import Shrunken, shrunken
from origin_compare.vatting.first_recipe import first_recipe
from origin_compare.vatting.limits import Limits, limits_of
from origin_compare.vatting.programme import APART, Programme, Solved, fighting, settled, solve
from origin_compare.vatting.recipe import PROVEN, Recipe, recipe_of
from origin_compare.vatting.stock import drawable
from origin_compare.vatting.target import Target, target_of
from origin_compare.vatting.wish import Wish, wished_lpa

if TYPE_CHECKING:
    from origin_compare.panel import Profile

Floats = NDArray[np.float64]

FIRST_GUESS = (
    "A vat's profile as the mean of its parts, weighted by pure alcohol, is a first guess: "
    "thresholds and masking do not add up. Blend a bench sample and nose it before any cask."
)
_PRECISION = 1e-4
_FURTHER_TIME = 0.25
"""Each recipe after the best gets this part of the best one's time."""


@dataclass(frozen=True, slots=True)
class NextPart:
    """What one more allowed part would buy: the best distance with it, and the points saved."""

    parts: int
    distance: float
    saved: float

    def words(self) -> str:
        """Whether one part more is worth it, in one sentence."""
        if self.saved < PROVEN:
            return f"A part more ({self.parts} in all) would bring it no nearer."
        return (
            f"A part more ({self.parts} in all) would bring it to {self.distance:.2f} points, "
            f"{self.saved:.2f} nearer."
        )


@dataclass(frozen=True, slots=True)
class Recipes:
    """Recipes in order of how near they come to the target; each leaves out parts that made up a
    fifth or more of every one found before it.

    `lpa`: litres of pure alcohol of each. `proven`: the first is the best there is, to 0.01 score
    points. `next_part`: what one more allowed part would buy, if asked for.
    """

    ranked: tuple[Recipe, ...]
    lpa: float
    batches_in_stock: int
    attributes: tuple[str, ...]
    ignored: tuple[str, ...]
    target: Target
    next_part: NextPart | None

    @property
    def proven(self) -> bool:
        """Whether the first recipe is the best there is, to 0.01 score points."""
        return self.ranked[0].proven

    def sentence(self) -> str:
        best = self.ranked[0]
        tied = sum(recipe.low <= best.high for recipe in self.ranked) - 1
        text = (
            f"The nearest recipe is {best.words()}: {best.distance:.2f} points from the target "
            f"({best.low:.2f} to {best.high:.2f})."
        )
        if not best.proven:
            text += f" Not proven best: another could be nearer by up to {best.gap:.2f} points."
        if tied:
            text += f" The panel cannot tell it from {count(tied, 'other recipe')} listed here."
        return f"{text} {self.next_part.words()}" if self.next_part else text

    def table(self) -> pd.DataFrame:
        """One row per recipe and batch: recipe, batch_id, share, lpa, litres, distance."""
        rows = [
            recipe.parts.assign(recipe=place, distance=recipe.distance)
            for place, recipe in enumerate(self.ranked, start=1)
        ]
        order = ["recipe", "batch_id", "share", "lpa", "litres", "strength_pct", "distance"]
        return pd.concat(rows, ignore_index=True)[order]

    def rests_on(self) -> str:
        text = (
            f"{count(self.batches_in_stock, 'batch')} in stock with a panel profile, "
            f"{count(len(self.attributes), 'attribute')} the panel can tell apart; "
            f"{self.lpa:,.0f} L of pure alcohol; the target is {self.target.words}. Profiles are "
            "drawn towards the mean as far as the panel is in doubt, so that a recipe is not taken "
            f"at its word for having been chosen. {FIRST_GUESS}"
        )
        if self.ignored:
            text += f" Wanted but not used, as the panel cannot tell them: {listed(self.ignored)}."
        return text


def recipes(
    profile: Profile | pd.DataFrame,
    stock: pd.DataFrame,
    target: pd.Series | str | Sequence[str],
    lpa: float | None = None,
    most_batches: int = 4,
    how_many: int = 5,
    must_hold: Sequence[str] = (),
    *,
    litres: float | None = None,
    strength_pct: float | None = None,
    weights: Mapping[str, float] | None = None,
    must_not: Sequence[str] = (),
    only: Mapping[str, Sequence[Any]] | None = None,
    at_least: Mapping[str, float] | None = None,
    least_share: float = 0.02,
    most_share: float = 1.0,
    least_draw_l: float = 0.0,
    fewest_batches: int = 1,
    look_further: bool = False,
    seconds: float = 1.2,
    seed: int = 1,
) -> Recipes:
    """Recipes from stock that come nearest to `target`, proven the best within the limits.

    `profile`: a panel profile, or a table of batches x attributes taken as without error.
    `stock`: batch_id, new_make_l, new_make_abv_pct (litres at 20 °C), where wanted reserved_l and
    any column that `only` names. `target`: attribute -> score, a batch, or batches whose mean is
    meant. `weights`: attribute -> how much it counts (1 where not named).

    How much: `lpa` litres of pure alcohol, or `litres` at `strength_pct` (% vol at 20 °C, after
    reduction with water); without either a tenth of the stock, or half of what `most_batches` can
    give if that is less. Shares are of pure alcohol. `fewest_batches` to `most_batches` parts,
    each with `least_share` to `most_share` and at least `least_draw_l` litres, none above what is
    left of it. `must_hold`, `must_not`: batches. `only`: stock column -> allowed values, such as
    `{"grower_id": ["G07"]}`. `at_least`: grower -> least share (needs `grower_id` in `stock`).

    `how_many` recipes that differ: each leaves out parts that made up a fifth of every one before.
    `look_further` also asks what one more part would buy. `seconds` of processor time at
    most for the best recipe; if it runs out, the result says what is not proven.

    Raises `BadWish` (a `ValueError`) for figures that cannot be meant, `UnknownName` for names that
    are not there, `NotEnoughData` if no recipe keeps to the limits, naming those that fight.
    """
    if how_many < 1:
        raise BadWish(f"{how_many:g} recipes are none. Ask for 1 or more.")
    wish = Wish(
        wished_lpa(lpa, litres, strength_pct),
        most_batches,
        fewest_batches,
        least_share,
        most_share,
        least_draw_l,
        must_hold,
        must_not,
        only or {},
        at_least or {},
        strength_pct,
    )
    used = points(profile, fewest=1)
    drawn = shrunken(used)
    wanted = target_of(target, drawn, used.left_out, weights, getattr(profile, "scale", None))
    held = drawable(stock, used.mean.index, wish)
    total = _enough(held, wish)
    limits = limits_of(held, wish, total)
    drawn = Shrunken(drawn.mean[wanted.scores.index], _of(drawn, wanted))
    programme = _programme(drawn, wanted, held)
    solved = _several(programme, limits, how_many, seconds)
    if not solved:
        _refuse(limits)
    made = [recipe_of(one, held, drawn, wanted, total, strength_pct, seed) for one in solved]
    return Recipes(
        ranked=tuple(sorted(made, key=lambda recipe: recipe.distance)),
        lpa=total,
        batches_in_stock=len(held),
        attributes=tuple(wanted.scores.index),
        ignored=wanted.ignored,
        target=wanted,
        next_part=_next_part(programme, limits, solved[0], seconds) if look_further else None,
    )


def _of(drawn: Shrunken, wanted: Target) -> Floats:
    return drawn.cov[drawn.mean.columns.get_indexer(wanted.scores.index)]


def _enough(held: pd.DataFrame, wish: Wish) -> float:
    """Litres of pure alcohol to mix; refuses what the largest batches cannot give together."""
    reach = float(held["lpa"].nlargest(wish.most_batches).sum())
    if wish.lpa is None:
        return min(float(held["lpa"].sum()) / 10, reach / 2)
    if wish.lpa > reach * (1 + 1e-9):
        raise NotEnoughData(
            f"{wish.lpa:,.0f} L of pure alcohol is outside what {wish.most_batches} batches can "
            f"give (0 to {reach:,.0f} L). Ask for less, or allow more batches in a recipe."
        )
    return wish.lpa


def _programme(drawn: Shrunken, wanted: Target, held: pd.DataFrame) -> Programme:
    rows = drawn.mean.index.get_indexer(pd.Index(held["batch_id"]))
    gaps = (drawn.mean.to_numpy() - wanted.scores.to_numpy()) * np.sqrt(wanted.weights)
    noise = drawn.variance() @ wanted.weights
    return Programme(
        gaps=gaps[rows],
        noise=noise[rows],
        known=(noise * wanted.batches)[rows],
        constant=float(noise @ wanted.batches**2),
    )


def _several(programme: Programme, limits: Limits, how_many: int, seconds: float) -> list[Solved]:
    """The best recipe, then the best that differ from those before; fewer if there are no more."""
    found: list[Solved] = []
    before: list[Floats] = []
    while len(found) < how_many:
        start = first_recipe(programme, _leaving_out(limits, before))
        one = solve(
            programme,
            limits,
            seconds if not found else seconds * _FURTHER_TIME,
            _PRECISION if not found else PROVEN,
            start,
            before,
        )
        if one is None:
            break
        one = _settled(programme, limits, one)
        found.append(one)
        before.append(one.shares)
    return found


def _settled(programme: Programme, limits: Limits, one: Solved) -> Solved:
    """The same parts with their shares at the very best."""
    shares = settled(programme, limits, one.shares > 0)
    if shares is None or programme.value(shares) > one.value:
        return one
    value = programme.value(shares)
    return Solved(shares, value, min(one.bound, value))


def _leaving_out(limits: Limits, before: Sequence[Floats]) -> Limits:
    """Limits under which the largest parts of the recipes before are no longer in stock."""
    stock = limits.stock.copy()
    for shares in before:
        for row in np.argsort(-shares, kind="stable"):
            if shares[stock == 0].sum() >= APART:
                break
            if not limits.must[row]:
                stock[row] = 0.0
    return replace(limits, stock=stock)


def _next_part(programme: Programme, limits: Limits, best: Solved, seconds: float) -> NextPart:
    wider = replace(limits, most_batches=limits.most_batches + 1)
    start = first_recipe(programme, wider)
    more = solve(programme, wider, seconds, PROVEN, best.shares if start is None else start)
    reached = min(best.value, best.value if more is None else more.value)
    distance = float(np.sqrt(reached))
    return NextPart(wider.most_batches, distance, float(np.sqrt(best.value)) - distance)


def _refuse(limits: Limits) -> None:
    reasons = fighting(limits)
    raise NotEnoughData(
        f"No recipe keeps to all of this at once: {listed(reasons, 12)}. "
        "Without any one of these there would be one: give up or widen one."
    )
