"""The smallest difference a panel could have seen, and what it would take to see a smaller one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy import optimize, stats

from origin_compare.answers import count, listed
from origin_compare.estimates import ALPHA
from origin_compare.panel.profile.profile import Profile

Between = Literal["batches", "origins"]

SURE = 0.8


@dataclass(frozen=True)
class SmallestGap:
    """The gap seen four times in five at 5 % two-sided, per attribute, on the panel's scale.

    `gaps`: attribute, gap, sd_batch, sd_panel (panel's error of one batch), df.
    """

    gaps: pd.DataFrame
    between: Between
    batches: int
    origins: int
    assessors: int
    replicates: int

    def gap(self, attribute: str) -> float:
        """The smallest gap of one attribute."""
        return float(self.gaps.set_index("attribute")["gap"][attribute])

    def sentence(self) -> str:
        low, high = self.gaps["gap"].min(), self.gaps["gap"].max()
        size = f"{low:.1f}" if f"{low:.1f}" == f"{high:.1f}" else f"{low:.1f} to {high:.1f}"
        what = (
            "two batches of one tasting"
            if self.between == "batches"
            else f"two origins of {count(self.batches, 'batch')} each"
        )
        return (
            f"With {count(self.assessors, 'assessor')} and {count(self.replicates, 'replicate')}, "
            f"a gap between {what} must be {size} points or more to be seen four times in five."
        )

    def table(self) -> pd.DataFrame:
        return self.gaps.copy()

    def rests_on(self) -> str:
        if self.between == "batches":
            return (
                f"{count(self.batches, 'batch')} compared within one tasting; two-sided test at "
                "5 %, one pair, no allowance for many pairs or attributes."
            )
        return (
            f"{count(self.origins, 'origin')} pooling the spread between their batches; "
            "two-sided test at 5 %, one pair, no allowance for many pairs or attributes. "
            "A gap between origins rests on batches, never on panel rows."
        )


def smallest_gap(
    source: Profile | Mapping[str, float] | Mapping[str, Mapping[str, float]],
    batches: int,
    assessors: int,
    replicates: int,
    *,
    between: Between = "batches",
    origins: int = 2,
) -> SmallestGap:
    """The smallest true gap seen with 80 % power at 5 %, two-sided.

    `source`: a profile, or variance components by name (`batch`, `assessor:batch`, `residual`, ...)
    of one attribute, or such a mapping for each attribute.
    `between="batches"`: two of `batches` batches tasted in one tasting; error is the assessors'
    disagreement and repeat error, with (assessors - 1) x (batches - 1) degrees of freedom.
    `between="origins"`: two origins of `batches` batches each; error is the spread between batches
    of an origin plus the panel's error of each batch, pooled over `origins` origins.
    Power by the noncentral t. Raises `ValueError` for fewer than 2 batches or assessors.
    """
    _check(batches, assessors, replicates, between, origins)
    rows = []
    for attribute, part in _by_attribute(source).items():
        panel = _panel_variance(part, assessors, replicates)
        if between == "batches":
            variance, df = 2 * panel, (assessors - 1) * (batches - 1)
        else:
            variance, df = 2 * (part.get("batch", 0.0) + panel) / batches, origins * (batches - 1)
        gap = detectable(df) * float(np.sqrt(variance))
        rows.append((attribute, gap, np.sqrt(part.get("batch", 0.0)), np.sqrt(panel), df))
    gaps = pd.DataFrame(rows, columns=["attribute", "gap", "sd_batch", "sd_panel", "df"])
    return SmallestGap(gaps, between, batches, origins, assessors, replicates)


def needed_for(
    gap: float,
    source: Profile | Mapping[str, float] | Mapping[str, Mapping[str, float]],
    *,
    between: Between = "origins",
    origins: int = 2,
    assessors: tuple[int, ...] = (6, 8, 10, 12),
    replicates: tuple[int, ...] = (1, 2, 3),
    most: int = 60,
) -> pd.DataFrame:
    """Least batches (per origin, or in the tasting) with which `gap` is seen four times in five.

    One row per attribute, assessors and replicates: attribute, assessors, replicates, batches
    (missing where more than `most` would be needed), glasses (of one assessor, both origins).
    Raises `ValueError` for a gap not above 0.
    """
    if not gap > 0:
        raise ValueError(f"gap: {gap} is not above 0. Give the difference worth seeing, in points.")
    rows = []
    for attribute, part in _by_attribute(source).items():
        for people in assessors:
            for times in replicates:
                found = _least(gap, part, people, times, between, origins, most)
                glasses = None
                if found is not None:
                    glasses = found * times * (2 if between == "origins" else 1)
                rows.append((attribute, people, times, found, glasses))
    table = pd.DataFrame(
        rows, columns=["attribute", "assessors", "replicates", "batches", "glasses"]
    )
    return table.astype({"batches": "Int64", "glasses": "Int64"})


def detectable(df: float, power: float = SURE, alpha: float = ALPHA) -> float:
    """The gap, in its standard errors, seen with that power by a two-sided t test on `df`."""
    df = min(df, 1e6)  # the noncentral t is not defined at infinity
    edge = stats.t.ppf(1 - alpha / 2, df)
    return float(
        optimize.brentq(lambda shift: stats.nct.sf(edge, df, shift) - power, 0.0, 40.0 + 5 * edge)
    )


def _least(
    gap: float,
    part: Mapping[str, float],
    assessors: int,
    replicates: int,
    between: Between,
    origins: int,
    most: int,
) -> int | None:
    for batches in range(2, most + 1):
        found = smallest_gap(part, batches, assessors, replicates, between=between, origins=origins)
        if found.gaps["gap"].iloc[0] <= gap:
            return batches
    return None


def _panel_variance(part: Mapping[str, float], assessors: int, replicates: int) -> float:
    """Variance of one batch's panel mean, the assessors' common habit left out."""
    return (part.get("assessor:batch", 0.0) + part["residual"] / replicates) / assessors


def _by_attribute(
    source: Profile | Mapping[str, float] | Mapping[str, Mapping[str, float]],
) -> dict[str, Mapping[str, float]]:
    if isinstance(source, Profile):
        return {v.attribute: v.components.variance for v in source.verdicts}
    plain = {name: value for name, value in source.items() if not isinstance(value, Mapping)}
    given = {name: value for name, value in source.items() if isinstance(value, Mapping)}
    if plain:
        given = {"score": {name: float(value) for name, value in plain.items()}}
    lacking = [name for name, part in given.items() if "residual" not in part]
    if lacking or not given:
        raise ValueError(
            f"components of {listed(lacking) or 'no attribute'}: no `residual`. Give variances by "
            "name: batch, assessor:batch, residual."
        )
    return given


def _check(batches: int, assessors: int, replicates: int, between: str, origins: int) -> None:
    for name, value, least in (
        ("batches", batches, 2),
        ("assessors", assessors, 2),
        ("replicates", replicates, 1),
        ("origins", origins, 2),
    ):
        if value < least:
            raise ValueError(f"{name}: {value} is below {least}.")
    if between not in ("batches", "origins"):
        raise ValueError(f"between: {between!r} is not known. Choose batches or origins.")
