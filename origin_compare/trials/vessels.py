"""Rounds and vessels of a plan: the drawn order stays, only who stands where is chosen."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from origin_compare.drivers.model.coding import Array

SWEEPS = 20


def in_rounds(
    settings: pd.DataFrame, vessels: list[str], rng: np.random.Generator
) -> tuple[NDArray[np.intp], list[str]]:
    """Round (from 1) and vessel of each run, n each, `settings` being in the order drawn.

    Each round fills each vessel once. Within its round a run takes the vessel that keeps every
    vessel's mean settings nearest to those of the plan, so that a vessel does not stand in for a
    setting; the start is drawn.
    """
    n, width = len(settings), len(vessels)
    rounds = np.arange(n) // width
    place = np.concatenate(
        [rng.permutation(width)[: int((rounds == one).sum())] for one in np.unique(rounds)]
    )
    values = settings.to_numpy(dtype=float)
    values = (values - values.mean(axis=0)) / np.maximum(values.std(axis=0), 1e-12)
    for _ in range(SWEEPS):
        if not _swapped(place, rounds, values, width):
            break
    return rounds + 1, [vessels[k] for k in place]


def _swapped(place: NDArray[np.intp], rounds: NDArray[np.intp], values: Array, width: int) -> bool:
    """Swap vessels within rounds, and into a free vessel of the last, while it evens them out."""
    moved = False
    best = _uneven(place, values, width)
    for one in np.unique(rounds):
        runs = np.flatnonzero(rounds == one)
        for a, b in combinations(range(width), 2):
            tried = place.copy()
            inside = place[runs]
            tried[runs[inside == a]], tried[runs[inside == b]] = b, a
            now = _uneven(tried, values, width)
            if now < best - 1e-9:
                place[:], best, moved = tried, now, True
    return moved


def _uneven(place: NDArray[np.intp], values: Array, width: int) -> float:
    """Squared sums of the settings in each vessel: nothing when every vessel has their mean."""
    member = (place[:, None] == np.arange(width)).astype(float)
    return float(((member.T @ values) ** 2).sum())
