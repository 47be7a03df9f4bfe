"""What of the stock a recipe may draw on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from origin_compare.answers import listed
from origin_compare.errors import BadWish, NotEnoughData, UnknownName
from origin_compare.measures import litres_of_alcohol
from origin_compare.vatting.wish import STRONGEST_PCT, Wish

NEEDED = ("batch_id", "new_make_l", "new_make_abv_pct")


def drawable(stock: pd.DataFrame, scored: pd.Index, wish: Wish) -> pd.DataFrame:
    """The batches a recipe may hold: the stock's columns and `free_l`, `lpa` (what is left of it).

    `stock`: batch_id, new_make_l, new_make_abv_pct and, where wanted, reserved_l (litres promised
    elsewhere) and columns that the wish names. Litres at 20 °C. `scored`: batches with a panel
    profile. Raises `BadWish` for figures that cannot be, `UnknownName` for a batch or origin the
    stock does not hold, `NotEnoughData` if nothing is left.
    """
    _columns(stock, wish)
    held = stock.dropna(subset=list(NEEDED)).reset_index(drop=True)
    _possible(held)
    reserved = held["reserved_l"].fillna(0.0) if "reserved_l" in held else 0.0
    held = held.assign(free_l=held["new_make_l"] - reserved)
    held = held[held["batch_id"].isin(scored) & (held["free_l"] > 0)]
    if held.empty:
        raise NotEnoughData(
            "No batch has both a panel profile and litres of new make with a strength. "
            "Take in the spirits sheet first."
        )
    _known(wish, held)
    allowed = held[~held["batch_id"].isin(wish.must_not)]
    for column, values in wish.only.items():
        allowed = allowed[allowed[column].isin(_several(values))]
    if allowed.empty:
        raise NotEnoughData(
            f"No batch in stock is {_only_words(wish.only)} and allowed. Allow others as well."
        )
    lpa = litres_of_alcohol(allowed["free_l"], allowed["new_make_abv_pct"])
    return allowed.assign(lpa=lpa).reset_index(drop=True)


def _columns(stock: pd.DataFrame, wish: Wish) -> None:
    wanted = [*NEEDED, *wish.only, *(["grower_id"] if wish.at_least else [])]
    missing = [name for name in wanted if name not in stock.columns]
    if missing:
        there = listed([str(name) for name in stock.columns], 30)
        raise BadWish(f"stock: no column {listed(missing)}. It has {there}.")


def _possible(held: pd.DataFrame) -> None:
    twice = held["batch_id"][held["batch_id"].duplicated()]
    if len(twice):
        raise BadWish(f"stock: {twice.iloc[0]} stands in two rows. Add them up first.")
    for column in ("new_make_l", "reserved_l"):
        if column in held and (held[column] < 0).any():
            row = held[held[column] < 0].iloc[0]
            raise BadWish(f"stock: {row['batch_id']} has {row[column]:g} in {column}, below 0.")
    strength = held["new_make_abv_pct"]
    wrong = ~strength.between(0, STRONGEST_PCT, inclusive="right")
    if wrong.any():
        row = held[wrong].iloc[0]
        raise BadWish(
            f"stock: {row['batch_id']} has {row['new_make_abv_pct']:g} in new_make_abv_pct, "
            f"outside 0 to {STRONGEST_PCT:g} % vol."
        )


def _known(wish: Wish, held: pd.DataFrame) -> None:
    names = set(held["batch_id"])
    missing = [batch for batch in wish.must_hold if batch not in names]
    if missing:
        raise UnknownName(
            f"{listed(missing)} cannot be in a recipe: no stock, or no panel profile. "
            "Choose among the batches in the stock table."
        )
    for batch in wish.must_hold:
        row = held[held["batch_id"] == batch].iloc[0]
        for column, values in wish.only.items():
            if row[column] not in _several(values):
                raise BadWish(
                    f"{batch} must be in the recipe, but is not {_only_words({column: values})}."
                )
    growers = set(held["grower_id"].dropna()) if wish.at_least else set()
    strange = [grower for grower in wish.at_least if grower not in growers]
    if strange:
        raise UnknownName(
            f"{listed(strange)} has no stock. In stock: {listed(sorted(growers), 30)}."
        )


def _several(values: Sequence[Any] | Any) -> list[Any]:
    return [values] if isinstance(values, str) or not isinstance(values, Sequence) else list(values)


def _only_words(only: Mapping[str, Any]) -> str:
    parts = [
        f"{column.removesuffix('_id')} {listed([str(value) for value in _several(values)])}"
        for column, values in only.items()
    ]
    return " and ".join(parts) or "left"
