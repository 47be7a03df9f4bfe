"""What a recipe should come near to: scores drawn by hand, a batch, or the mean of batches."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import listed
from origin_compare.errors import BadWish, NotEnoughData, UnknownName
from origin_compare.families.shrunken import Shrunken

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Target:
    """`scores`: attribute -> score; `weights`: one per attribute, adding up to 1.

    `batches`: share of each scored batch in the target, all 0 where it was drawn by hand.
    `ignored`: attributes wanted that the panel cannot tell. `words` names the target.
    """

    scores: pd.Series
    weights: Floats
    batches: Floats
    ignored: tuple[str, ...]
    words: str


def target_of(
    wanted: pd.Series | str | Sequence[str],
    drawn: Shrunken,
    not_told: Sequence[str],
    weights: Mapping[str, float] | None,
    scale: str | None,
) -> Target:
    """The target a blender named, with how much each attribute counts.

    `wanted`: attribute -> score, or a batch, or batches whose mean is meant. `weights`: attribute
    -> weight, 1 where none is given. `scale`: `low-high` of the panel, if it has one.
    Raises `UnknownName`, `NotEnoughData` or `BadWish`.
    """
    told = drawn.mean.columns
    if isinstance(wanted, pd.Series):
        scores, ignored = _by_hand(wanted, told, not_told, scale)
        shares = np.zeros(len(drawn.mean))
        words = "the profile drawn by hand"
    else:
        names = [wanted] if isinstance(wanted, str) else list(wanted)
        shares = _mean_of(names, drawn.mean.index)
        scores, ignored = pd.Series(shares @ drawn.mean.to_numpy(), told), ()
        words = names[0] if len(names) == 1 else f"the mean of {listed(names)}"
    counts = _weights(weights or {}, scores.index, not_told)
    return Target(scores, counts, shares, ignored, words)


def _by_hand(
    wanted: pd.Series, told: pd.Index, not_told: Sequence[str], scale: str | None
) -> tuple[pd.Series, tuple[str, ...]]:
    _known(wanted.index, told, not_told, "score")
    usable = wanted[[name for name in wanted.index if name in told]].dropna().astype(float)
    if usable.empty:
        raise NotEnoughData(
            "The target names only attributes on which the panel cannot tell batches apart. "
            f"Name at least one of {listed(list(told), most=30)}."
        )
    low, high = _ends(scale)
    for name, score in usable.items():
        if not low <= score <= high or not np.isfinite(score):
            raise BadWish(f"{name} at {score:g} is outside the panel's scale, {scale}.")
    return usable, tuple(str(name) for name in wanted.index if name in not_told)


def _ends(scale: str | None) -> tuple[float, float]:
    found = re.fullmatch(r"\s*(-?[\d.]+)\s*[-–]\s*([\d.]+)\s*", scale or "")
    return (float(found[1]), float(found[2])) if found else (-np.inf, np.inf)


def _mean_of(names: Sequence[str], scored: pd.Index) -> Floats:
    missing = [name for name in names if name not in scored]
    if missing:
        raise UnknownName(
            f"{listed(missing)} cannot be the target: no full panel profile. "
            "Name batches that were tasted."
        )
    if not names:
        raise BadWish("No batch is named as the target. Name one or more.")
    return scored.isin(names) / len(set(names))


def _weights(weights: Mapping[str, float], used: pd.Index, not_told: Sequence[str]) -> Floats:
    _known(weights, used, not_told, "weigh")
    counts = np.array([float(weights.get(str(name), 1.0)) for name in used])
    if not np.isfinite(counts).all() or (counts < 0).any():
        raise BadWish("A weight is below 0 or no number. Give 0 for an attribute of no matter.")
    if not counts.any():
        raise BadWish("Every attribute weighs 0, so every recipe is as near. Let one count.")
    return counts / counts.sum()


def _known(
    named: pd.Index | Mapping[str, float], told: pd.Index, not_told: Sequence[str], verb: str
) -> None:
    strange = [str(name) for name in named if name not in told and name not in not_told]
    if strange:
        raise UnknownName(
            f"The panel does not {verb} {listed(strange)}. "
            f"Name attributes from {listed([*told, *not_told], most=30)}."
        )
