"""Orders of serving in which each sample stands in each place, and after each other, equally often.

Williams, Australian Journal of Scientific Research A 2 (1949) 149: one square for an even number
of samples, a pair of mirrored squares for an odd one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]


def williams_rows(samples: int) -> Ints:
    """Balanced orders, rows x samples: `samples` rows if even, twice as many if odd."""
    if samples < 2:
        return np.zeros((1, samples), dtype=np.int64)
    first = [(step + 1) // 2 if step % 2 else -(step // 2) for step in range(samples)]
    square = (np.array(first) + np.arange(samples)[:, None]) % samples
    return square if samples % 2 == 0 else np.vstack([square, square[:, ::-1]])


def complete_orders(samples: int, servings: int, rng: np.random.Generator) -> Ints:
    """`servings` orders of all samples: whole Williams sets first, then part of one.

    Rows of each set come in random order with the samples renamed at random, so the balance holds
    exactly when `servings` is a multiple of the set, and nearly otherwise.
    """
    rows = williams_rows(samples)
    half = samples if samples % 2 and samples > 2 else len(rows)
    parts: list[Ints] = []
    count = 0
    while count < servings:
        renamed = rng.permutation(samples)[rows]
        shuffled = [
            renamed[start : start + half][rng.permutation(min(half, len(rows) - start))]
            for start in range(0, len(rows), half)
        ]
        parts.extend(shuffled)
        count += len(rows)
    return np.vstack(parts)[:servings]


@dataclass(frozen=True)
class Balance:
    """How even a set of orders is; all spans are 0 in a perfectly balanced one.

    `position_span`: most less fewest times a sample stands in one place; `neighbour_span`: most
    less fewest times one sample comes right after another; `together_span`: most less fewest
    times two samples share a sitting; `efficiency`: of comparisons within sittings, 1 where every
    sitting holds all samples (harmonic mean of the canonical efficiency factors; John and
    Williams, Cyclic and Computer Generated Designs, 1995, from memory).
    """

    position_span: int
    neighbour_span: int
    together_span: int
    efficiency: float


def balance(orders: list[Ints], samples: int, counted: int | None = None) -> Balance:
    """The balance of a list of orders (each an array of sample numbers, lengths may differ).

    Spans are taken over the first `counted` samples; a control behind them, served in every
    sitting, is meant to be seen more often.
    """
    counted = samples if counted is None else counted
    longest = max(len(order) for order in orders)
    places = np.zeros((samples, longest), dtype=int)
    after = np.zeros((samples, samples), dtype=int)
    for order in orders:
        places[order, np.arange(len(order))] += 1
        np.add.at(after, (order[:-1], order[1:]), 1)
    together = concurrence(orders, samples)
    places, after = places[:counted], after[:counted, :counted]
    together = together[:counted, :counted]
    off = ~np.eye(counted, dtype=bool)
    shortest = min(len(order) for order in orders)
    return Balance(
        position_span=int(np.ptp(places[:, :shortest], axis=0).max()),
        neighbour_span=int(np.ptp(after[off])) if counted > 1 else 0,
        together_span=int(np.ptp(together[off])) if counted > 1 else 0,
        efficiency=efficiency(orders, samples),
    )


def concurrence(orders: list[Ints], samples: int) -> Ints:
    """Times two samples share a sitting, samples x samples; the diagonal counts servings."""
    together = np.zeros((samples, samples), dtype=np.int64)
    for order in orders:
        np.add.at(together, np.ix_(order, order), 1)
    return together


def efficiency(orders: list[Ints], samples: int) -> float:
    """Average efficiency factor of the sittings as blocks; 0 if they do not hang together."""
    if samples < 2:
        return 1.0
    information = np.zeros((samples, samples))
    for order in orders:
        seen = np.bincount(order, minlength=samples).astype(float)
        information += np.diag(seen) - np.outer(seen, seen) / len(order)
    served = np.bincount(np.concatenate(orders), minlength=samples).astype(float)
    if (served == 0).any():
        return 0.0
    root = 1 / np.sqrt(served)
    values = np.sort(np.linalg.eigvalsh(root[:, None] * information * root))[1:]
    return float(len(values) / np.sum(1 / values)) if values[0] > 1e-9 else 0.0


def incomplete_orders(
    samples: int, per_sitting: int, rounds: int, rng: np.random.Generator, tries: int = 40
) -> list[list[Ints]]:
    """For each round, sittings of at most `per_sitting` samples that together hold every sample.

    Samples meet one another as equally often as a search finds (`_splits`). Orders within a
    sitting are then the best of `tries` random ones: places and neighbours even out.
    """
    places = np.zeros((samples, per_sitting))
    after = np.zeros((samples, samples))
    found = []
    for split in _splits(samples, -(-samples // per_sitting), rounds, rng):
        line = []
        for members in split:
            orders = [rng.permutation(members) for _ in range(tries)]
            order = min(orders, key=lambda o: _unevenness(o, places, after))
            places[order, np.arange(len(order))] += 1
            np.add.at(after, (order[:-1], order[1:]), 1)
            line.append(order.astype(np.int64))
        found.append(line)
    return found


SEARCHES, SWEEPS = 4, 6
"""Starts of the search for even sittings, and passes over the rounds in each."""


def _splits(samples: int, sittings: int, rounds: int, rng: np.random.Generator) -> list[list[Ints]]:
    """Each round's samples dealt to sittings so that pairs meet as equally often as found.

    Least sum of squared meetings, by swaps of two samples between sittings of a round, rounds
    taken in turn (interchange; John and Williams, Cyclic and Computer Generated Designs, 1995,
    ch. 4, from memory).
    """
    base = np.concatenate(
        [
            np.full(len(part), i)
            for i, part in enumerate(np.array_split(np.arange(samples), sittings))
        ]
    )
    best, least = np.zeros((0, samples), dtype=np.int64), np.inf
    for _ in range(SEARCHES):
        dealt = np.stack([rng.permutation(base) for _ in range(rounds)])
        met = np.sum([_same(one) for one in dealt], axis=0)
        for _ in range(SWEEPS):
            before = float((met**2).sum())
            for i in range(rounds):
                met = met - _same(dealt[i])
                dealt[i] = _settled(dealt[i], met, sittings)
                met = met + _same(dealt[i])
            if float((met**2).sum()) >= before:
                break
        crowding = float((met**2).sum())
        if crowding < least:
            best, least = dealt, crowding
    return [[np.flatnonzero(one == s) for s in range(sittings)] for one in best]


def _same(dealt: Ints) -> NDArray[np.float64]:
    """Which samples share a sitting, samples x samples, the diagonal left out."""
    return (dealt[:, None] == dealt).astype(float) - np.eye(len(dealt))


def _settled(dealt: Ints, met: NDArray[np.float64], sittings: int) -> Ints:
    """One round's sittings after the best swaps, given how often pairs meet in the others."""
    dealt = dealt.copy()
    while True:
        member = np.eye(sittings)[dealt]
        company = met @ member  # meetings of each sample with each sitting's members
        own = company[np.arange(len(dealt)), dealt]
        there = company[:, dealt]  # sample i in the sitting of sample j
        change = there + there.T - own[:, None] - own - 2 * met
        change[dealt[:, None] == dealt] = 0.0
        i, j = np.unravel_index(int(change.argmin()), change.shape)
        if change[i, j] > -0.5:  # meetings are whole numbers
            return dealt
        dealt[i], dealt[j] = dealt[j], dealt[i]


def _unevenness(order: Ints, places: NDArray[np.float64], after: NDArray[np.float64]) -> float:
    where = places[order, np.arange(len(order))]
    follows = after[order[:-1], order[1:]]
    return float((2 * where + 1).sum() + (2 * follows + 1).sum())
