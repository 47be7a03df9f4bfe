"""Which process variables cannot be told apart, from each other or from the origin."""

from __future__ import annotations

import warnings
from collections.abc import Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.drivers.model.coding import Array, basis, coded, explained
from origin_compare.drivers.model.usable_batches import numbers_of
from origin_compare.drivers.wording import Limits, plain, title, upper

PAIR = [
    "first",
    "second",
    "kind",
    "relation",
    "strength",
    "r",
    "within",
    "cannot_tell",
    "says",
]
EXACT = 1e9
"""A factor above it is rounding: the column is spanned by the others."""


def inflation(columns: Array) -> Array:
    """Variance inflation factor of each column (n x k) given the others; inf when exact."""
    from statsmodels.stats.outliers_influence import variance_inflation_factor

    centred = columns - columns.mean(axis=0)
    scaled = centred / np.maximum(np.linalg.norm(centred, axis=0), np.finfo(float).tiny)
    whole = np.column_stack([scaled, np.ones(len(columns))])
    with np.errstate(divide="ignore"), warnings.catch_warnings():
        # An exact tie is an answer here: a factor that is infinite.
        warnings.simplefilter("ignore")
        found = [variance_inflation_factor(whole, k) for k in range(columns.shape[1])]
    return np.where(np.array(found) > EXACT, np.inf, np.abs(found))


def condition_index(columns: Array) -> float:
    """Largest over smallest singular value, columns centred and at unit length (after Belsley,
    Kuh and Welsch, Regression Diagnostics, 1980); inf when one column is spanned by others."""
    if columns.shape[1] < 2:
        return 1.0
    centred = columns - columns.mean(axis=0)
    singular = np.linalg.svd(centred / np.linalg.norm(centred, axis=0), compute_uv=False)
    return float(singular[0] / singular[-1]) if singular[-1] > 1e-9 * singular[0] else float("inf")


def within_share(number: Array, factor: Array) -> float:
    """Share of a number's variance that lies within the groups coded by `factor` (n x k),
    as one minus adjusted R2, at most 1; 0 when there is no degree of freedom within."""
    n, rank = len(number), basis(factor).shape[1]
    if n - 1 - rank < 1:
        return 0.0
    return float(min(1.0, (1.0 - explained(number, factor)) * (n - 1) / (n - 1 - rank)))


def partners(
    rows: pd.DataFrame, process: list[str], origin: str, still: Iterable[str], limits: Limits
) -> dict[str, tuple[str, str]]:
    """For each process variable that cannot be told apart: with what, and the sentence why.

    Only what is dependent in practice is refused: set by the origin, or hardly anything of it
    left beyond the other variables. Batches that break a tie are what tells the two apart; that
    a finding leans on one of them is said beside the finding.
    """
    moving = [name for name in process if rows[name].nunique() > 1]
    found: dict[str, tuple[str, str]] = {}
    for name in process:
        if name not in moving:
            found[name] = ("", f"{title(name)} did not vary in these batches")
            continue
        for factor in (origin, "lot_id") if len(several_lots(rows, origin)) else (origin,):
            by_factor = number_and_factor(rows, name, factor, limits)
            if by_factor["cannot_tell"] and name not in found:
                found[name] = (factor, str(by_factor["says"]).rstrip("."))
    close = _close(rows, moving, still, limits.most_vif)
    for name in moving:
        if name in close and name not in found:
            other, told, _ = close[name]
            found[name] = (other, f"{told}: this data cannot tell them apart")
    return found


def linked(
    rows: pd.DataFrame, process: list[str], still: Iterable[str], limits: Limits
) -> dict[str, tuple[str, str]]:
    """For each process variable that moves with another, though it can be told apart from it:
    with what, and the sentence of how much less surely it is known for that."""
    moving = [name for name in process if rows[name].nunique() > 1]
    return {
        name: (
            other,
            f"{told}: each alone is known {plain(float(np.sqrt(vif)), 1)} times less surely than "
            "if they moved apart",
        )
        for name, (other, told, vif) in _close(rows, moving, still, limits.wide_vif).items()
        if vif <= limits.most_vif
    }


def _close(
    rows: pd.DataFrame, moving: list[str], still: Iterable[str], limit: float
) -> dict[str, tuple[str, str, float]]:
    """The variables whose inflation factor is above the limit: what each most nearly moves with,
    the sentence, the factor."""
    numbers = [*moving, *(name for name in still if name not in moving)]
    matrix = numbers_of(rows, numbers)
    if varies(rows, "season"):
        matrix = np.hstack([matrix, coded(rows["season"].astype(str))])
    vif = inflation(matrix)
    return {
        name: (*_nearest(rows, name, numbers), float(vif[k]))
        for k, name in enumerate(moving)
        if vif[k] > limit
    }


def _nearest(rows: pd.DataFrame, name: str, numbers: list[str]) -> tuple[str, str]:
    """The variable that most nearly moves with `name`, and the sentence."""
    own = numbers_of(rows, [name])[:, 0]
    likeness = {
        other: np.sqrt(explained(own, numbers_of(rows, [other])))
        for other in numbers
        if other != name
    }
    if varies(rows, "season"):
        likeness["season"] = np.sqrt(explained(own, coded(rows["season"].astype(str))))
    other = max(likeness, key=lambda key: likeness[key])
    if other == "season":
        return other, f"{title(name)} went with the season and the other variables"
    r = float(np.corrcoef(own, numbers_of(rows, [other])[:, 0])[0, 1])
    pair = sorted([name, other], key=numbers.index)
    return other, f"{title(pair[0])} and {title(pair[1])} move together here (r = {plain(r)})"


def several_lots(rows: pd.DataFrame, origin: str) -> NDArray[np.intp]:
    """n lot codes where growers have several lots and lots several batches; else none (empty).

    A batch of no one lot counts as a lot of its own.
    """
    if origin != "grower_id" or "lot_id" not in rows:
        return np.empty(0, dtype=np.intp)
    own = pd.Series(rows.index.astype(str), index=rows.index)
    codes, lots = pd.factorize(rows["lot_id"].astype("object").fillna(own).astype(str))
    growers = rows[origin].nunique()
    nested = pd.Series(rows[origin].to_numpy()).groupby(codes).nunique().max() == 1
    if not nested or not growers < len(lots) < len(rows) - 1:
        return np.empty(0, dtype=np.intp)
    return codes.astype(np.intp)


def varies(rows: pd.DataFrame, name: str) -> bool:
    """Whether the batches have the column and it takes more than one value."""
    return name in rows and rows[name].nunique() > 1


def number_and_factor(
    rows: pd.DataFrame, number: str, factor: str, limits: Limits
) -> dict[str, object]:
    """How a number goes with a factor: how much of it lies within one level (see `PAIR`)."""
    values = numbers_of(rows, [number])[:, 0]
    levels = coded(rows[factor].astype(str))
    share = within_share(values, levels)
    tied = share < limits.least_within
    says, relation = "", "apart"
    if tied:
        relation = f"set by the {title(factor)}"
        if levels.shape[1] == len(values) - 1:
            relation = f"one batch per {title(factor)}"
            says = (
                f"With one batch per {title(factor)}, {title(number)} and {title(factor)} are "
                "one thing."
            )
        else:
            says = (
                f"{upper(title(number))} hardly varied within one "
                f"{title(factor)} ({100 * share:.0f} % of its variation): this data cannot tell "
                f"{title(number)} from {title(factor)}."
            )
    strength = float(np.sqrt(max(0.0, 1.0 - share)))
    return dict(
        zip(
            PAIR,
            [number, factor, "number and factor", relation, strength, np.nan, share, tied, says],
            strict=True,
        )
    )
