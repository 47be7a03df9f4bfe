"""Two batches side by side: different, alike within a margin set beforehand, or undecided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.answers import listed
from origin_compare.errors import UnknownName
from origin_compare.estimates import ALPHA, holm
from origin_compare.panel.profile.profile import Profile
from origin_compare.panel.profile.smallest_gap import detectable


@dataclass(frozen=True)
class Gap:
    """The gap between two batches on every attribute.

    `gaps`: attribute, gap (first less second), se, df, low, high (95 %), smallest_seen (the true
        gap of this pair that would be seen four times in five, 5 % two-sided), p, p_adjusted (Holm
        over the attributes), margin, p_alike (two one-sided tests), told_apart, verdict:
        "different", "alike" or "undecided". Attributes in the profile's order; one missing for
        either batch is absent.
    """

    first: str
    second: str
    gaps: pd.DataFrame

    def sentence(self) -> str:
        by = {
            verdict: list(self.gaps.loc[self.gaps["verdict"].eq(verdict), "attribute"])
            for verdict in ("different", "alike", "undecided")
        }
        parts = []
        if by["different"]:
            parts.append(f"differ on {listed(by['different'], 20)}")
        if by["alike"]:
            parts.append(f"are alike within the margin on {listed(by['alike'], 20)}")
        if by["undecided"]:
            least = self.gaps.loc[self.gaps["verdict"].eq("undecided"), "smallest_seen"].max()
            parts.append(
                f"cannot be told apart or called alike on {listed(by['undecided'], 20)}, where "
                f"gaps of up to {least:.1f} points could have been missed"
            )
        return f"{self.first} and {self.second} {'; they '.join(parts)}."

    def table(self) -> pd.DataFrame:
        return self.gaps.copy()

    def rests_on(self) -> str:
        margin = self.gaps["margin"].notna().any()
        return (
            f"One pair of batches on {len(self.gaps)} attributes, allowed for by Holm's method; "
            + (
                "likeness by two one-sided tests within the margin."
                if margin
                else "no margin was set, so nothing can be called alike."
            )
        )


def gap(
    profile: Profile,
    first: str,
    second: str,
    margin: float | Mapping[str, float] | None = None,
) -> Gap:
    """Compare two batches on every attribute with the panel's error of their difference.

    `margin`: the gap in points below which the house calls two batches alike, one for all
    attributes or by attribute; without it nothing is called alike. Raises `UnknownName` for a
    batch the panel has not tasted, `ValueError` for one batch given twice.
    """
    if first == second:
        raise ValueError(f"batch {first}: given twice. Name two batches.")
    for name in (first, second):
        if name not in profile.batches:
            raise UnknownName(f"batch {name}: not tasted. Tasted are {listed(profile.batches)}.")
    rows = []
    for attribute in profile.attributes:
        solution, ids = profile.solutions[attribute]
        if first not in ids or second not in ids:
            continue
        contrast = np.zeros((len(ids), 1))
        contrast[ids.index(first)] += 1.0
        contrast[ids.index(second)] -= 1.0
        variance, df = solution.variance_of(contrast)
        size = margin.get(attribute) if isinstance(margin, Mapping) else margin
        found = float(contrast[:, 0] @ solution.estimate)
        rows.append(
            _row(attribute, found, float(np.sqrt(variance[0])), float(df[0]), size)
            | {"told_apart": profile.verdict(attribute).told_apart}
        )
    table = pd.DataFrame(rows)
    table["p_adjusted"] = holm(table["p"])
    alike = table["p_alike"].lt(ALPHA)
    different = table["p_adjusted"].lt(ALPHA) & table["told_apart"]
    table["verdict"] = np.select([alike, different], ["alike", "different"], "undecided")
    columns = ["attribute", "gap", "se", "df", "low", "high", "smallest_seen", "p", "p_adjusted"]
    return Gap(first, second, table[[*columns, "margin", "p_alike", "told_apart", "verdict"]])


def _row(
    attribute: str, found: float, se: float, df: float, margin: float | None
) -> dict[str, object]:
    reach = float(stats.t.ppf(1 - ALPHA / 2, df)) * se
    alike = float("nan")
    if margin is not None:
        alike = float(stats.t.sf((margin - abs(found)) / se, df))
    return {
        "attribute": attribute,
        "gap": found,
        "se": se,
        "df": df,
        "low": found - reach,
        "high": found + reach,
        "smallest_seen": detectable(df) * se,
        "p": 2 * float(stats.t.sf(abs(found) / se, df)),
        "margin": float("nan") if margin is None else float(margin),
        "p_alike": alike,
    }
