"""Which process variables cannot be told apart, from each other or from the origin."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import count, listed
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
STRAYS = 0.10
"""Most batches, as a share, that may count as strays from how two variables move together."""
FAR = 3.5
"""A stray lies this many robust standard deviations off (usual for the median deviation)."""


def inflation(columns: Array) -> Array:
    """Variance inflation factor of each column (n x k) given the others; inf when exact."""
    from statsmodels.stats.outliers_influence import variance_inflation_factor

    whole = np.column_stack([columns - columns.mean(axis=0), np.ones(len(columns))])
    with np.errstate(divide="ignore"):
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


def strays(columns: Array, k: int) -> NDArray[np.intp]:
    """Rows that stray from how column k goes with the others: residuals of a fit repeated
    without those far off by the median deviation; none if that would be more than a tenth."""
    n = len(columns)
    X = np.column_stack([np.ones(n), np.delete(columns, k, axis=1)])
    kept = np.ones(n, dtype=bool)
    for _ in range(20):
        beta = np.linalg.lstsq(X[kept], columns[kept, k], rcond=None)[0]
        residual = np.abs(columns[:, k] - X @ beta)
        scale = 1.4826 * float(np.median(residual))
        now = residual <= FAR * max(scale, 1e-12)
        if (now == kept).all() or now.sum() <= X.shape[1] + 1:
            break
        kept = now
    out = np.flatnonzero(~kept)
    return out if len(out) <= STRAYS * n else out[:0]


def partners(
    rows: pd.DataFrame, process: list[str], origin: str, still: Iterable[str], limits: Limits
) -> dict[str, tuple[str, str]]:
    """For each process variable that cannot be told apart: with what, and the sentence why.

    A variance inflation factor above the limit refuses, with all batches or without the few
    that stray (see `strays`): what is told apart by two faulty batches alone is not told apart.
    """
    moving = [name for name in process if rows[name].nunique() > 1]
    numbers = [*moving, *(name for name in still if name not in process)]
    found: dict[str, tuple[str, str]] = {}
    for name in process:
        if name not in moving:
            found[name] = ("", f"{title(name)} did not vary in these batches")
            continue
        by_origin = number_and_factor(rows, name, origin, limits)
        if by_origin["cannot_tell"]:
            found[name] = (origin, str(by_origin["says"]).rstrip("."))
            continue
        tied = _tied(rows, name, numbers, limits)
        if tied:
            found[name] = tied
    return found


def _tied(
    rows: pd.DataFrame, name: str, numbers: list[str], limits: Limits
) -> tuple[str, str] | None:
    """What `name` moves with too closely, with the sentence why; None if it moves apart."""
    matrix = numbers_of(rows, numbers)
    if varies(rows, "season"):
        matrix = np.hstack([matrix, coded(rows["season"].astype(str))])
    k = numbers.index(name)
    if inflation(matrix)[k] > limits.most_vif:
        return _nearest(rows, name, numbers, "")
    out = strays(matrix, k)
    if len(out) and inflation(np.delete(matrix, out, axis=0))[k] > limits.most_vif:
        ids = [str(batch) for batch in rows.index[out]]
        save = f" in all but {count(len(ids), 'batch')} ({listed(ids)})"
        return _nearest(rows.drop(index=rows.index[out]), name, numbers, save)
    return None


def _nearest(rows: pd.DataFrame, name: str, numbers: list[str], save: str) -> tuple[str, str]:
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
        return other, (
            f"{title(name)} went with the season and the other variables{save}: this data cannot "
            "tell them apart"
        )
    r = float(np.corrcoef(own, numbers_of(rows, [other])[:, 0])[0, 1])
    pair = sorted([name, other], key=numbers.index)
    return other, (
        f"{title(pair[0])} and {title(pair[1])} move together here{save} (r = {plain(r)}): this "
        "data cannot tell them apart"
    )


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
