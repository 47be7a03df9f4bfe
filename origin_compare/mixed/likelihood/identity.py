"""Which groups a design can tell from one another, from the residual and from the fixed part.

The expected information about the variances, tr(P Z_kZ_k' P Z_lZ_l'), depends on the design
alone. A group whose row adds nothing to the rows before it (residual first, then the groups as
listed) cannot be told from them, whatever the data.
"""

from __future__ import annotations

import numpy as np

from origin_compare.answers import listed
from origin_compare.errors import NotEnoughData
from origin_compare.mixed.likelihood.criterion import terms
from origin_compare.mixed.likelihood.nesting import Nesting
from origin_compare.mixed.likelihood.sums import Floats, Ints

UNSEEN = 1e-7
"""Share of a group's information not held by those before it, below which it is lost."""

LEAST, MOST = 0.02, 1e4
"""Bounds of a first guess, as a ratio to the residual variance."""


def told_apart(
    names: list[str], codes: list[Ints], sizes: list[int], information: Floats
) -> tuple[tuple[int, ...], dict[int, str]]:
    """Places of the groups that can be told apart, and for each other what holds its variance.

    `information` as from `expected`. Raises `NotEnoughData` if no group is left.
    """
    told: list[int] = []
    lost: dict[int, str] = {}
    for g in range(len(codes)):
        before = [0, *(h + 1 for h in told)]
        own = information[g + 1, g + 1]
        if own <= UNSEEN * _unfixed(codes[g], sizes[g]):
            lost[g] = "the fixed part"
            continue
        known = information[np.ix_(before, before)]
        shared = information[g + 1, before]
        scale = np.sqrt(np.diag(known))
        weights = np.linalg.lstsq(known / np.outer(scale, scale), shared / scale, rcond=1e-10)[0]
        if own - (shared / scale) @ weights > UNSEEN * own:
            told.append(g)
        else:
            heavy = np.abs(weights / scale * np.sqrt(own)) > 1e-4
            holders = ["residual", *(names[h] for h in told)]
            lost[g] = listed([h for h, keep in zip(holders, heavy, strict=True) if keep])
    if not told:
        reasons = "; ".join(f"{names[g]} from {other}" for g, other in lost.items())
        raise NotEnoughData(
            f"No group can be told apart in this design ({reasons}): "
            "repeats are needed, or fewer fixed terms."
        )
    return tuple(told), lost


def _unfixed(codes: Ints, size: int) -> float:
    """tr(Z'Z Z'Z): the information a group would have without a fixed part, at unit residual."""
    return float((np.bincount(codes, minlength=size).astype(float) ** 2).sum())


def expected(nesting: Nesting) -> Floats:
    """Expected information with the residual's variance alone, (K + 1, K + 1), residual first.

    Groups stand in the order of the call.
    """
    K = len(nesting.order)
    t = terms(nesting, np.zeros(1, dtype=np.intp), np.zeros((1, K)))
    place = np.array(nesting.order) + 1
    out = np.empty((K + 1, K + 1))
    out[0, 0] = nesting.n_rows - nesting.n_fixed
    out[0, place] = out[place, 0] = t.trace[0]
    out[np.ix_(place, place)] = t.frobenius[0]
    return out


def first_guess(nesting: Nesting, response: Ints, information: Floats) -> Floats:
    """Unbiased quadratic estimates as a start: ratios (B, K) in the engine's order.

    Rao's MINQUE with the residual alone as prior (Searle, Casella and McCulloch, 1992, chapter
    11). For balanced data with positive estimates this is the answer already.
    """
    K = len(nesting.order)
    t = terms(nesting, response, np.zeros((len(response), K)), order=1)
    place = np.array(nesting.order) + 1
    right = np.empty((len(response), K + 1))
    right[:, 0] = t.rss
    right[:, place] = t.pull
    return first_ratios(right, information)[:, place - 1]


def first_ratios(right: Floats, information: Floats) -> Floats:
    """Ratios (B, K) from quadratic forms `right` (B, K + 1), the residual's first in both."""
    scale = np.sqrt(np.diag(information))
    variances = np.linalg.solve(information / np.outer(scale, scale), (right / scale).T).T / scale
    total = np.maximum(variances, 0.0).sum(axis=1)
    residual = np.maximum(variances[:, 0], 1e-3 * total)
    return np.asarray(np.clip(variances[:, 1:] / residual[:, None], LEAST, MOST))
