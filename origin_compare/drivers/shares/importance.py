"""Which explanatory variable carries how much of R2, averaged over the orders of entry.

Lindeman, Merenda and Gold, Introduction to Bivariate and Multivariate Analysis (1980), p. 119 ff.;
as in Groemping, J. Stat. Softw. 17(1), 2006.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import factorial
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.answers import count, listed
from origin_compare.drivers.model.coding import (
    Array,
    as_table,
    basis,
    beyond,
    coded,
    enough_rows,
    numeric_matrix,
    whole_rows,
)
from origin_compare.drivers.shares.partition import Table
from origin_compare.drivers.wording import plain

MOST_VARIABLES = 14
"""2 to the power of this many regressions; beyond it the wait is no longer worth the answer."""


@dataclass(frozen=True)
class Importance:
    """Shares of R2 by variable (`shares`, adding to `r2`), first entry (`first`: R2 of the
    variable alone) and last entry (`last`: what it adds to all others). `chance`: the share a
    variable with as many columns would get though it went with nothing."""

    shares: pd.Series
    first: pd.Series
    last: pd.Series
    chance: pd.Series
    r2: float
    response: str
    n_rows: int
    n_dropped: int

    def table(self) -> pd.DataFrame:
        """One row per variable, largest share first."""
        table = pd.DataFrame({"share": self.shares, "alone": self.first, "added_last": self.last})
        table["by_chance"] = self.chance
        table["of_explained"] = table["share"] / self.r2 if self.r2 > 0 else np.nan
        return (
            table.rename_axis("variable")
            .reset_index()
            .sort_values("share", ascending=False, ignore_index=True)
        )

    def sentence(self) -> str:
        """R2 and the shares in one sentence."""
        top = self.table()
        parts = [
            f"{v} {plain(100 * s, 0)} % (of which {plain(100 * by, 0)} would come by chance)"
            for v, s, by in zip(top["variable"], top["share"], top["by_chance"], strict=True)
        ]
        return (
            f"Together they go with {plain(100 * self.r2, 0)} % of the variation in "
            f"{self.response}: {listed(parts)}, each averaged over the orders in which they "
            "can enter."
        )

    def rests_on(self) -> str:
        """Rows used and left out."""
        dropped = (
            f", {count(self.n_dropped, 'row')} left out for an empty cell" if self.n_dropped else ""
        )
        return f"{count(self.n_rows, 'row')}, {count(len(self.shares), 'variable')}{dropped}."


def importance(y: Table, X: Table, *, missing: Literal["refuse", "drop"] = "refuse") -> Importance:
    """Averaged-over-orderings shares of R2 of `y` (n) among the columns of `X` (n x p, p <= 14).

    A factor is one variable whatever its number of levels. Raises ValueError for more than 14
    variables, unlike lengths or empty cells, NotEnoughData for more columns than rows bear.
    """
    tables = {"the response": as_table(y, "response"), "the variables": as_table(X, "variable")}
    whole, dropped = whole_rows(tables, missing)
    variables = whole["the variables"]
    names = [str(name) for name in variables.columns]
    if not 1 <= len(names) <= MOST_VARIABLES:
        raise ValueError(
            f"{count(len(names), 'variable')} given; 1 to {MOST_VARIABLES} can be averaged over "
            "their orders. Choose those that matter before looking."
        )
    response = numeric_matrix(whole["the response"], "The response")[:, 0]
    blocks = [coded(variables[name]) for name in variables.columns]
    enough_rows(len(response), basis(np.hstack(blocks)).shape[1], "the table")
    r2, rank = _all_r2(response, blocks)
    everyone = (1 << len(names)) - 1
    first = [r2[1 << k] for k in range(len(names))]
    last = [r2[everyone] - r2[everyone ^ (1 << k)] for k in range(len(names))]
    return Importance(
        shares=pd.Series(_averaged(r2, len(names)), index=names, name="share"),
        first=pd.Series(first, index=names, name="alone"),
        last=pd.Series(last, index=names, name="added_last"),
        chance=pd.Series(_by_chance(r2, rank, len(response)), index=names, name="by_chance"),
        r2=float(r2[everyone]),
        response=str(whole["the response"].columns[0]),
        n_rows=len(response),
        n_dropped=dropped,
    )


def _all_r2(y: Array, blocks: list[Array]) -> tuple[Array, Array]:
    """R2 of every subset of variables and its rank, indexed by its bits. The widest block (a factor
    of many levels) is taken out once: what a subset adds to it is the R2 of what is left of both.
    """
    centred = y - y.mean()
    total = float(centred @ centred)
    if total == 0:
        raise ValueError("The response does not vary, so there is nothing to share out.")
    widest = max(range(len(blocks)), key=lambda k: blocks[k].shape[1])
    span = basis(blocks[widest])
    within = span.T @ centred
    alone = float(within @ within) / total
    others = [k for k in range(len(blocks)) if k != widest]
    r2 = np.zeros(1 << len(blocks))
    r2[1 << widest] = alone
    rank = np.zeros(len(r2))
    rank[1 << widest] = span.shape[1]
    for size in range(1, len(others) + 1):
        for subset in combinations(others, size):
            columns = np.hstack([blocks[k] for k in subset])
            bits = sum(1 << k for k in subset)
            own, more = basis(columns), beyond(columns, span)
            part = own.T @ centred
            r2[bits] = float(part @ part) / total
            rank[bits] = own.shape[1]
            part = more.T @ centred
            r2[bits | 1 << widest] = alone + float(part @ part) / total
            rank[bits | 1 << widest] = span.shape[1] + more.shape[1]
    return r2, rank


def _averaged(r2: Array, variables: int) -> list[float]:
    """The mean gain of each variable over all orders."""
    return [
        float(weight @ (r2[before | 1 << k] - r2[before]))
        for k, before, weight in _entries(variables)
    ]


def _by_chance(r2: Array, rank: Array, rows: int) -> list[float]:
    """The mean gain of as many columns of pure chance, entering at the same places: each takes
    its part of what is left, one over the degrees of freedom left."""
    shares = []
    for k, before, weight in _entries(int(np.log2(len(r2)))):
        columns = rank[before | 1 << k] - rank[before]
        left = np.maximum(rows - 1 - rank[before], 1.0)
        shares.append(float(weight @ ((1.0 - r2[before]) * columns / left)))
    return shares


def _entries(variables: int) -> list[tuple[int, NDArray[np.intp], Array]]:
    """Each variable with the subsets that may stand before it, weighted by how many orders put
    exactly them there."""
    weight = np.array(
        [
            factorial(size) * factorial(variables - 1 - size) / factorial(variables)
            for size in range(variables)
        ]
    )
    subsets = np.arange(1 << variables)
    sizes = np.array([int(subset).bit_count() for subset in subsets])
    found = []
    for k in range(variables):
        before = subsets[(subsets >> k) & 1 == 0]
        found.append((k, before, weight[sizes[before]]))
    return found
