"""How much of a response table each explanatory table explains, alone and shared.

Variation partitioning by adjusted R2: Borcard, Legendre and Drapeau, Ecology 73 (1992) 1045;
Peres-Neto, Legendre, Dray and Borcard, Ecology 87 (2006) 2614 for the adjustment. Tests permute
the residuals of the reduced model: Freedman and Lane, J. Bus. Econ. Stat. 1 (1983) 292.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from origin_compare.answers import count, listed
from origin_compare.drivers.model.coding import (
    Array,
    as_table,
    basis,
    beyond,
    design,
    enough_rows,
    numeric_matrix,
    permutations,
    whole_rows,
)
from origin_compare.drivers.wording import chance, joined, plain

Table = ArrayLike | pd.DataFrame | pd.Series
Subset = tuple[str, ...]
TIE = 1e-9
"""A permuted F within this share of the observed one counts as reaching it."""


@dataclass(frozen=True)
class Partition:
    """Adjusted R2 fractions of a response table.

    `fractions`: one row per fraction (`fraction, kind, sets, adjusted_r2, df, f, p`); kind is
        "own", "shared" or "unexplained"; own and shared fractions and the unexplained rest add
        to 1. A shared part has no test of its own (p is missing). Fractions may be negative:
        an adjusted R2 estimates, and about zero it errs both ways.
    `unions`: one row per set or union of sets (`sets, r2, adjusted_r2, df, f, p`).
    """

    fractions: pd.DataFrame
    unions: pd.DataFrame
    names: tuple[str, ...]
    n_rows: int
    n_responses: int
    n_dropped: int
    n_permutations: int
    permuted: str

    @property
    def own(self) -> dict[str, float]:
        """Own part of each set, by its name."""
        rows = self.fractions[self.fractions["kind"] == "own"]
        return {str(k): float(v) for k, v in zip(rows["sets"], rows["adjusted_r2"], strict=True)}

    @property
    def shared(self) -> dict[Subset, float]:
        """Shared parts by the names of the sets that share them."""
        rows = self.fractions[self.fractions["kind"] == "shared"]
        return {
            tuple(k.split(" + ")): float(v)
            for k, v in zip(rows["sets"], rows["adjusted_r2"], strict=True)
        }

    @property
    def unexplained(self) -> float:
        """What no set explains."""
        rows = self.fractions[self.fractions["kind"] == "unexplained"]
        return float(rows["adjusted_r2"].iloc[0])

    def table(self) -> pd.DataFrame:
        """The fractions, one row each."""
        return self.fractions.copy()

    def sentence(self) -> str:
        """The fractions in one sentence, in per cent."""
        own = [f"{name} {plain(100 * part, 0)} %" for name, part in self.own.items()]
        shared = sum(self.shared.values())
        return (
            f"On their own, {joined(own)} of the variation; {plain(100 * shared, 0)} % shared, "
            f"{plain(100 * self.unexplained, 0)} % unexplained."
        )

    def rests_on(self) -> str:
        """Rows, responses, rows left out and how the tests were made."""
        dropped = (
            f", {count(self.n_dropped, 'row')} left out for an empty cell" if self.n_dropped else ""
        )
        tests = (
            f"tests by {count(self.n_permutations, 'permutation')} of {self.permuted}"
            if self.n_permutations
            else "no tests asked for"
        )
        return (
            f"{count(self.n_rows, 'row')}, {count(self.n_responses, 'response')}{dropped}; {tests}."
        )


def partition(
    Y: Table,
    sets: Mapping[str, Table] | Sequence[Table],
    *,
    permutations: int = 999,
    seed: int = 0,
    blocks: Sequence[Any] | None = None,
    permute: Literal["whole blocks", "within blocks"] = "whole blocks",
    missing: Literal["refuse", "drop"] = "refuse",
) -> Partition:
    """Adjusted R2 fractions of the n x m table `Y` among two to four tables of n rows each.

    Factors (text, categories, true/false) enter in treatment contrasts, numbers as they are.
    `blocks` (n labels, e.g. growers) restricts the tests: whole blocks trade places with blocks
    of the same size, or rows trade places within their block. Raises ValueError for a wrong
    number of sets, unlike lengths or empty cells, NotEnoughData for more columns than rows bear.
    """
    named = _named(sets)
    tables = {"the response": as_table(Y, "response"), **named}
    if blocks is not None:
        tables["blocks"] = pd.Series(list(blocks), name="block").to_frame()
    whole, dropped = whole_rows(tables, missing)
    response = numeric_matrix(whole["the response"], "The response")
    columns = {name: design(whole[name]) for name in named}
    kept_blocks = None if blocks is None else whole["blocks"]["block"].tolist()
    orders = _orders(len(response), permutations, seed, kept_blocks, permute)
    worked = _Worked(response - response.mean(axis=0), columns, orders)
    return Partition(
        fractions=worked.fractions(),
        unions=worked.unions(),
        names=tuple(named),
        n_rows=len(response),
        n_responses=response.shape[1],
        n_dropped=dropped,
        n_permutations=permutations,
        permuted="rows" if blocks is None else permute,
    )


def hellinger(counts: Table) -> pd.DataFrame:
    """Square roots of row shares, the transform for tables of counts (Legendre and Gallagher,
    Oecologia 129 (2001) 271). ValueError for a negative count or an empty row."""
    table = as_table(counts, "count")
    values = numeric_matrix(table, "The counts")
    if (values < 0).any():
        raise ValueError(f"{values.min():g} is not a count; counts are 0 or more.")
    sums = values.sum(axis=1, keepdims=True)
    if (sums == 0).any():
        raise ValueError(
            f"Row {int(np.argmax(sums[:, 0] == 0)) + 1} holds no count at all; leave it out."
        )
    return pd.DataFrame(np.sqrt(values / sums), columns=table.columns, index=table.index)


def f_tests(E: Array, given: Array, tested: Array, orders: NDArray[np.intp]) -> tuple[float, float]:
    """Pseudo-F of `tested` after `given` for the residuals E of the reduced model, and its
    permutation p (missing without permutations).

    The bases are computed once and only their rows are permuted: permuting the response by an
    order and the basis by its inverse give the same projections.
    """
    extra, before = tested.shape[1], given.shape[1]
    rest = len(E) - 1 - extra - before
    total = float((E**2).sum())
    if extra == 0 or rest < 1 or total == 0:
        return np.nan, np.nan
    # Fewer columns, same inner products: only the span of the responses matters.
    slim = E if E.shape[1] <= len(E) else E @ np.linalg.svd(E, full_matrices=False)[2].T
    both = np.hstack([given, tested])

    def statistic(rows: NDArray[np.intp]) -> Array:
        parts = both.T[:, rows].reshape(-1, len(E)) @ slim
        squares = np.einsum("ij,ij->i", parts, parts).reshape(both.shape[1], len(rows))
        gained = squares[before:].sum(axis=0)
        left = np.maximum(total - squares.sum(axis=0), np.finfo(float).tiny)
        return (gained / extra) / (left / rest)

    observed = float(statistic(np.arange(len(E))[None, :])[0])
    if len(orders) == 0:
        return observed, np.nan
    chunk = max(1, int(4e6 / (both.shape[1] * max(len(E), slim.shape[1]))))
    reached = sum(
        int((statistic(orders[k : k + chunk]) >= observed * (1 - TIE)).sum())
        for k in range(0, len(orders), chunk)
    )
    return observed, (reached + 1) / (len(orders) + 1)


class _Worked:
    """The bases of all unions, made once, and the R2 of each."""

    def __init__(self, Y: Array, columns: Mapping[str, Array], orders: NDArray[np.intp]) -> None:
        self.Y, self.columns, self.orders = Y, columns, orders
        self.names = tuple(columns)
        self.total = float((Y**2).sum())
        if self.total == 0:
            raise ValueError("The response does not vary, so there is nothing to part.")
        self.bases = {
            union: basis(np.hstack([columns[name] for name in union]))
            for size in range(1, len(self.names) + 1)
            for union in combinations(self.names, size)
        }
        enough_rows(len(Y), self.bases[self.names].shape[1], "all sets together")

    def r2(self, union: Subset) -> float:
        if not union:
            return 0.0
        return float(((self.bases[union].T @ self.Y) ** 2).sum()) / self.total

    def adjusted(self, union: Subset) -> float:
        if not union:
            return 0.0
        n, rank = len(self.Y), self.bases[union].shape[1]
        return 1.0 - (1.0 - self.r2(union)) * (n - 1) / (n - 1 - rank)

    def fraction(self, sharing: Subset) -> float:
        """What exactly these sets share: inclusion and exclusion over what is lost without them."""
        whole = self.adjusted(self.names)
        signs = {
            part: (-1) ** (len(sharing) - size)
            for size in range(1, len(sharing) + 1)
            for part in combinations(sharing, size)
        }
        return sum(
            sign * (whole - self.adjusted(tuple(n for n in self.names if n not in part)))
            for part, sign in signs.items()
        )

    def own_test(self, name: str) -> tuple[int, float, float]:
        others = tuple(other for other in self.names if other != name)
        given = self.bases[others]
        tested = beyond(self.columns[name], given)
        E = self.Y - given @ (given.T @ self.Y)
        return tested.shape[1], *f_tests(E, given, tested, self.orders)

    def fractions(self) -> pd.DataFrame:
        rows: list[dict[str, Any]] = []
        for size in range(1, len(self.names) + 1):
            for sharing in combinations(self.names, size):
                df, f, p = self.own_test(sharing[0]) if size == 1 else (pd.NA, np.nan, np.nan)
                label = f"{sharing[0]} only" if size == 1 else f"shared by {listed(sharing)}"
                kind = "own" if size == 1 else "shared"
                rows.append(_row(label, kind, sharing, self.fraction(sharing), df, f, p))
        left = len(self.Y) - 1 - self.bases[self.names].shape[1]
        rest = 1.0 - self.adjusted(self.names)
        rows.append(_row("unexplained", "unexplained", (), rest, left, np.nan, np.nan))
        return pd.DataFrame(rows).astype({"df": "Int64"})

    def unions(self) -> pd.DataFrame:
        rows = []
        nothing = np.empty((len(self.Y), 0))
        for union, span in self.bases.items():
            tested = len(union) == 1 or union == self.names
            f, p = f_tests(self.Y, nothing, span, self.orders if tested else self.orders[:0])
            rows.append(
                {
                    "sets": " + ".join(union),
                    "r2": self.r2(union),
                    "adjusted_r2": self.adjusted(union),
                    "df": span.shape[1],
                    "f": f,
                    "p": p,
                }
            )
        return pd.DataFrame(rows)


def _row(
    label: str, kind: str, sharing: Subset, part: float, df: Any, f: float, p: float
) -> dict[str, Any]:
    return {
        "fraction": label,
        "kind": kind,
        "sets": " + ".join(sharing),
        "adjusted_r2": part,
        "df": df,
        "f": f,
        "p": p,
    }


def _named(sets: Mapping[str, Table] | Sequence[Table]) -> dict[str, pd.DataFrame]:
    if isinstance(sets, pd.DataFrame):
        raise ValueError("`sets` is one table; give two to four, as a list or by name.")
    named = (
        {str(name): table for name, table in sets.items()}
        if isinstance(sets, Mapping)
        else {f"set {k + 1}": table for k, table in enumerate(sets)}
    )
    if not 2 <= len(named) <= 4:
        raise ValueError(
            f"{count(len(named), 'set')} given; variation is parted among two to four."
        )
    return {name: as_table(table, name) for name, table in named.items()}


def _orders(
    rows: int, wanted: int, seed: int, blocks: list[Any] | None, permute: str
) -> NDArray[np.intp]:
    if permute not in ("whole blocks", "within blocks"):
        raise ValueError(f'permute is "{permute}"; "whole blocks" or "within blocks" is wanted.')
    if wanted == 0:
        return np.empty((0, rows), dtype=np.intp)
    rng = np.random.default_rng(seed)
    return permutations(rows, wanted, rng, blocks, whole=permute == "whole blocks")


def told(part: Partition, name: str) -> str:
    """One set's own part with its test, in words."""
    row = part.fractions.loc[part.fractions["sets"] == name].iloc[0]
    return f"{name} {plain(100 * row['adjusted_r2'], 0)} % ({chance(row['p'])})"
