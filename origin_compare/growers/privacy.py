"""What of a group of growers may be shown to one of them: a middle that gives nobody away.

Every grower's own figure is part of the group, so all growers of a harvest read the same middle
and two who lay their letters side by side learn nothing from the difference. Median and quartiles
are weighted means of all growers' figures (Harrell and Davis, Biometrika 69 (1982) 635, from
memory), so that in a small group none of the three is one grower's figure, and they are rounded.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

HIDDEN = (math.nan, math.nan, math.nan)
MOST_SHARE = 0.5
STEPS = {
    "yield_t_ha": 0.1,
    "grain_n_pct_dm": 0.05,
    "grain_moisture_pct": 0.2,
    "screenings_pct": 0.2,
    "thousand_grain_g": 0.5,
    "germination_pct": 0.5,
    "extract_pct_dm": 0.2,
    "spirit_yield_lpa_t": 2.0,
}
"""How coarsely a group's figure is rounded; a choice, no source."""


def may_show(rows: pd.DataFrame, smallest: int, amount: str | None = None) -> bool:
    """Whether the growers of `rows` (one row per lot or batch, with `grower_id`) may be grouped.

    They may if there are at least `smallest` of them and none holds more than half, neither of
    the rows nor (where `amount` is known for every row) of the amount.
    """
    owners = rows.groupby("grower_id")
    if owners.ngroups < smallest:
        return False
    if float(owners.size().max()) > MOST_SHARE * len(rows):
        return False
    if amount is None or amount not in rows or rows[amount].isna().any():
        return True
    held = owners[amount].sum()
    return float(held.max()) <= MOST_SHARE * float(held.sum())


def middle_half(by_grower: pd.Series, step: float) -> tuple[float, float, float]:
    """Lower quartile, median and upper quartile over growers, rounded to `step`.

    `by_grower`: one figure per grower, at least three.
    """
    from scipy.special import betainc

    figures = np.sort(by_grower.to_numpy("float64"))
    edges = np.arange(len(figures) + 1) / len(figures)
    low, middle, high = (
        float(np.diff(betainc(share * size, (1 - share) * size, edges)) @ figures)
        for size in [len(figures) + 1]
        for share in (0.25, 0.5, 0.75)
    )
    return rounded(low, step), rounded(middle, step), rounded(high, step)


def rounded(value: float, step: float) -> float:
    """`value` to the nearest multiple of `step`, without the tail of binary fractions."""
    return round(round(value / step) * step, 10)


def score_step(scores: pd.Series) -> float:
    """How coarsely a group's panel score is rounded: a tenth of a point on a scale up to 15."""
    widest = float(scores.abs().max())
    if widest > 15:
        return 1.0
    return 0.1 if widest > 3 else 0.05
