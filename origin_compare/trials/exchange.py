"""What a set of batches tells: columns of settings and lots, and the exchange that chooses runs.

Lots are random with the spread that the fitted model gives them, so what the batches tell of the
settings is Henderson's mixed-model equations (Biometrics 31 (1975) 423). Runs are exchanged one
at a time (Fedorov, Theory of Optimal Experiments, 1972; Cook and Nachtsheim, Technometrics 22
(1980) 315), for the determinant of what is known of the settings (D), or, where some effects
matter more, for the weighted sum of their variances (L).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.drivers.model.coding import Array

KEEP = 1e-9
"""A little information on every column, so that a start with too few runs can be improved."""
STARTS = 30
PASSES = 100
ALIKE = 1e6
"""Lots that do not differ: the ratio of batch to lot variance taken for no lot variance at all."""

Term = tuple[str, ...]
Scale = tuple[Mapping[str, float], Mapping[str, float]]


def columns(rows: pd.DataFrame, terms: Sequence[Term], scale: Scale) -> Array:
    """Intercept and terms, settings coded from -1 to 1."""
    centre, half = scale
    coded = {
        name: (rows[name].to_numpy(dtype=float) - centre[name]) / half[name] for name in centre
    }
    return np.column_stack(
        [np.ones(len(rows)), *(np.prod([coded[n] for n in term], axis=0) for term in terms)]
    )


def efficiency(X: Array) -> float:
    """D-efficiency in per cent: the p-th root of |X'X| over the number of runs, columns coded
    from -1 to 1; 100 when the columns are orthogonal and all at their ends."""
    sign, logdet = np.linalg.slogdet(X.T @ X)
    return float(100 * np.exp(logdet / X.shape[1]) / len(X)) if sign > 0 else 0.0


@dataclass(frozen=True)
class Rows:
    """Batches as columns: `fixed` n x p (intercept, terms, harvests of the past), `lot` n codes
    into all lots, -1 throughout where lots take no part."""

    fixed: Array
    lot: NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.fixed)

    def whole(self, lots: int) -> Array:
        """Fixed columns and a column for each of the lots."""
        return np.hstack([self.fixed, (self.lot[:, None] == np.arange(lots)).astype(float)])


@dataclass(frozen=True)
class Told:
    """What `n` batches tell: `cov` of all columns (the first `fixed`, then lots) over the batch
    variance, `spent` degrees of freedom taken (lots count as far as they are not held back)."""

    cov: Array
    spent: float
    n: int
    fixed: int


def tell(rows: Rows, lots: int, ratio: float) -> Told | None:
    """Solve the mixed-model equations; None where the fixed columns cannot be told apart.

    `ratio`: batch variance over lot variance.
    """
    if len(rows) <= rows.fixed.shape[1] or _short(rows.fixed):
        return None
    W = rows.whole(lots)
    held = np.zeros(W.shape[1])
    held[rows.fixed.shape[1] :] = ratio
    cov = np.linalg.inv(W.T @ W + np.diag(held))
    return Told(cov, float(np.sum(cov * (W.T @ W))), len(rows), rows.fixed.shape[1])


def _short(fixed: Array) -> bool:
    return int(np.linalg.matrix_rank(fixed)) < fixed.shape[1]


@dataclass(frozen=True)
class Wanted:
    """What the runs are chosen for. `weights`: per column of fixed and lots, None for the
    determinant of the `fixed` columns alone."""

    weights: Array | None
    fixed: int


@dataclass(frozen=True)
class Room:
    """Which candidates may still be taken: `lot` and `setting` codes of each candidate, `most`
    batches a lot makes (by code), and whether one lot may be made at several settings."""

    lot: NDArray[np.intp]
    setting: NDArray[np.intp]
    most: Mapping[int, int]
    split: bool = True

    def free(self, taken: Sequence[int]) -> NDArray[np.bool_]:
        """Which candidates may be added to those taken."""
        runs = list(taken)
        counts = Counter(self.lot[runs].tolist())
        full = [lot for lot, n in counts.items() if n >= self.most.get(lot, n + 1)]
        free = ~np.isin(self.lot, full)
        if not self.split:
            for run in runs:
                free &= (self.lot != self.lot[run]) | (self.setting == self.setting[run])
        return np.asarray(free)


def best_runs(
    X: Array, known: Array, runs: int, room: Room, wanted: Wanted, rng: np.random.Generator
) -> list[int]:
    """Indices of the chosen candidates (rows of X, fixed and lot columns), best of many starts."""
    found: tuple[float, list[int]] = (-np.inf, [])
    starts = STARTS if len(X) * X.shape[1] < 4000 else STARTS // 3
    for _ in range(starts):
        chosen = _exchange(X, known, _start(runs, room, rng), room, wanted)
        worth = _worth(known + X[chosen].T @ X[chosen], wanted)
        if worth > found[0] + 1e-10:
            found = (worth, chosen)
    return found[1]


def made_again(
    X: Array, known: Array, chosen: list[int], repeats: int, room: Room, wanted: Wanted
) -> list[int]:
    """Add the runs of the plan that tell most when made once more, each at most once."""
    once = list(dict.fromkeys(chosen))
    for _ in range(repeats):
        adds = _adds(X, known, chosen, room, wanted)
        best = max(once, key=lambda run: adds[run])
        chosen = [*chosen, best]
        once = [run for run in once if run != best] or list(dict.fromkeys(chosen))
    return chosen


def _start(runs: int, room: Room, rng: np.random.Generator) -> list[int]:
    taken: list[int] = []
    for _ in range(runs):
        taken.append(int(rng.choice(np.flatnonzero(room.free(taken)))))
    return taken


def _exchange(X: Array, known: Array, chosen: list[int], room: Room, wanted: Wanted) -> list[int]:
    """Swap one run at a time for the candidate that adds most, until none adds."""
    for _ in range(PASSES):
        moved = False
        for place in range(len(chosen)):
            left = [run for k, run in enumerate(chosen) if k != place]
            adds = _adds(X, known, left, room, wanted)
            best = int(adds.argmax())
            if adds[best] > adds[chosen[place]] + 1e-9 * abs(adds[chosen[place]]) + 1e-12:
                chosen[place], moved = best, True
        if not moved:
            break
    return chosen


def _adds(X: Array, known: Array, taken: list[int], room: Room, wanted: Wanted) -> Array:
    """What each candidate would add to what is known with the runs taken; none where no barley."""
    M = known + X[taken].T @ X[taken]
    turned = X @ np.linalg.inv(M)
    more = np.einsum("ij,ij->i", turned, X)
    if wanted.weights is not None:
        adds = (turned**2) @ wanted.weights / (1.0 + more)
    else:
        # Less the part of the gain that is about the lot, not about the settings.
        of_lots = np.append(np.log1p(1.0 / np.diag(M)[wanted.fixed :]), 0.0)
        adds = np.log1p(more) - of_lots[room.lot]
    return np.where(room.free(taken), adds, -np.inf)


def _worth(M: Array, wanted: Wanted) -> float:
    if wanted.weights is not None:
        return -float(np.diag(np.linalg.inv(M)) @ wanted.weights)
    return float(np.linalg.slogdet(M)[1] - np.log(np.diag(M)[wanted.fixed :]).sum())


def known_before(rows: Rows, to_come: int, lots: int, ratio: float) -> Array:
    """What earlier batches tell of the fixed columns and of the lots to come (the first codes),
    other lots absorbed, with the hold on the lots and a little on every column."""
    p = rows.fixed.shape[1]
    W = rows.whole(lots)
    M = W.T @ W + np.diag(np.r_[np.zeros(p), np.full(lots, ratio)])
    kept = p + to_come
    inner = M[:kept, :kept]
    if lots > to_come:
        inner = inner - M[:kept, kept:] @ np.linalg.solve(M[kept:, kept:], M[kept:, :kept])
    return np.asarray(inner + KEEP * np.eye(kept))
