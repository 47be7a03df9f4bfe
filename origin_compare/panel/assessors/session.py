"""One tasting opened: who sat, in which order the glasses came, and whether scores moved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.panel.profile.profile import Profile
from origin_compare.panel.score_rows import usable

FEW_ASSESSORS = 3
"""Fewer assessors than this give no interval of a drift worth showing."""


@dataclass(frozen=True)
class Session:
    """One tasting (session) as it was held.

    `sat`: assessor_id, glasses, samples, replicates, scores, declined.
    `served`: assessor_id, position, batch_id, replicate; one row per glass (position may miss).
    `places`: position, shift, low, high (95 %), n_assessors: how far scores at that place lie
        from what the same batches get over all tastings, points of the scale, over the
        attributes told apart and centred per assessor.
    `drift`: shift from the first to the last glass, with `low` and `high`; NaN if not to be told.
    """

    tasting_id: str
    tasted_on: pd.Timestamp
    served_abv_pct: tuple[float, ...]
    sat: pd.DataFrame
    absent: tuple[str, ...]
    served: pd.DataFrame
    places: pd.DataFrame
    drift: float
    low: float
    high: float

    @property
    def moved(self) -> bool:
        """Whether scores rose or fell through the sitting beyond the panel's noise."""
        return bool(self.low > 0 or self.high < 0)

    def sentence(self) -> str:
        when = "" if pd.isna(self.tasted_on) else f" on {self.tasted_on:%Y-%m-%d}"
        samples = self.served["batch_id"].nunique()
        head = (
            f"In {self.tasting_id}{when} {count(len(self.sat), 'assessor')} had "
            f"{count(samples, 'sample')}"
        )
        if np.isnan(self.drift):
            return f"{head}; whether scores moved through the sitting cannot be told."
        if not self.moved:
            return (
                f"{head}; scores did not demonstrably move from the first glass to the last "
                f"({self.drift:+.2f} points, 95 % interval {self.low:+.2f} to {self.high:+.2f})."
            )
        way = "rose" if self.drift > 0 else "fell"
        return (
            f"{head}; scores {way} by {abs(self.drift):.2f} points from the first glass to the "
            f"last (95 % interval {self.low:+.2f} to {self.high:+.2f}): fewer glasses or a pause "
            "may help."
        )

    def table(self) -> pd.DataFrame:
        return self.sat.copy()

    def rests_on(self) -> str:
        out = f" Not there: {listed(list(self.absent), 20)}." if self.absent else ""
        return (
            f"{count(int(self.sat['scores'].sum()), 'score')}, "
            f"{int(self.sat['declined'].sum())} declined.{out} A place is judged against what the "
            "same batches get over all tastings, each assessor against their own mean; the "
            "interval is between assessors."
        )


def session(
    scores: pd.DataFrame,
    profile: Profile,
    tasting_id: str,
    scales: Mapping[str, tuple[float, float]] | None = None,
) -> Session:
    """One tasting opened.

    `scores`, `scales`: as for `adjusted`; `profile`: what `adjusted` made of all of them. Raises
    `UnknownName` for a tasting without scores.
    """
    all_rows = scores[scores["sample_kind"].ne("warm-up")]
    raw = all_rows[all_rows["tasting_id"].eq(tasting_id)]
    if raw.empty:
        known = listed(sorted(scores["tasting_id"].astype(str).unique()), 20)
        raise UnknownName(f"tasting {tasting_id}: no scores here. Tastings are {known}.")
    who = raw["assessor_id"].unique()
    rows = usable(raw, scales).frame
    residual = _residuals(rows, profile)
    drift, low, high = _drift(residual)
    return Session(
        tasting_id=tasting_id,
        tasted_on=raw["tasted_on"].min(),
        served_abv_pct=tuple(sorted(raw["served_abv_pct"].dropna().unique())),
        sat=_sat(raw),
        absent=tuple(sorted(set(scores["assessor_id"]) - set(who))),
        served=raw[["assessor_id", "position", "batch_id", "replicate"]]
        .drop_duplicates()
        .reset_index(drop=True),
        places=_places(residual),
        drift=drift,
        low=low,
        high=high,
    )


def _sat(raw: pd.DataFrame) -> pd.DataFrame:
    glass = ["batch_id", "replicate"]
    rows = [
        {
            "assessor_id": str(who),
            "glasses": len(own[glass].drop_duplicates()),
            "samples": own["batch_id"].nunique(),
            "replicates": int(own.groupby("batch_id")["replicate"].nunique().max()),
            "scores": int(own["score"].notna().sum()),
            "declined": int(own["score"].isna().sum()),
        }
        for who, own in raw.groupby("assessor_id", sort=True)
    ]
    return pd.DataFrame(rows)


def _residuals(rows: pd.DataFrame, profile: Profile) -> pd.DataFrame:
    """assessor_id, position, residual: mean over the attributes told apart, one row per glass."""
    parts = []
    for attribute in profile.told:
        solution, ids = profile.solutions[attribute]
        known = pd.Series(solution.estimate, list(ids))
        own = rows[rows["attribute"].eq(attribute) & rows["position"].notna()]
        left = own["score"] - own["batch_id"].map(known).astype("float64")
        centred = left - left.groupby(own["assessor_id"]).transform("mean")
        parts.append(own[["assessor_id", "position"]].assign(residual=centred))
    if not parts:
        return pd.DataFrame(columns=["assessor_id", "position", "residual"], dtype="float64")
    whole = pd.concat(parts, ignore_index=True).dropna(subset="residual")
    return whole.groupby(["assessor_id", "position"])[["residual"]].mean().reset_index()


def _places(residual: pd.DataFrame) -> pd.DataFrame:
    columns = ["position", "shift", "low", "high", "n_assessors"]
    rows = []
    for position in sorted(residual["position"].unique()):
        own = residual.loc[residual["position"].eq(position), "residual"]
        rows.append((int(position), *_interval(own.to_numpy(dtype=float)), len(own)))
    return pd.DataFrame(rows, columns=columns)


def _drift(residual: pd.DataFrame) -> tuple[float, float, float]:
    """First to last glass: each assessor's own slope, then their mean with its interval."""
    slopes = [
        float(np.polyfit(own["position"].astype(float), own["residual"].astype(float), 1)[0])
        * float(own["position"].max() - own["position"].min())
        for _, own in residual.groupby("assessor_id")
        if own["position"].nunique() >= 3
    ]
    if len(slopes) < FEW_ASSESSORS:
        return float("nan"), float("nan"), float("nan")
    return _interval(np.array(slopes))


def _interval(values: np.ndarray) -> tuple[float, float, float]:
    mean = float(values.mean())
    if len(values) < FEW_ASSESSORS:
        return mean, float("nan"), float("nan")
    reach = float(stats.t.ppf(0.975, len(values) - 1) * values.std(ddof=1) / np.sqrt(len(values)))
    return mean, mean - reach, mean + reach


def usual_tasting(scores: pd.DataFrame) -> tuple[int, int, int]:
    """Batches, assessors and replicates of the middle one of the tastings held."""
    sizes = scores.groupby("tasting_id").agg(
        batches=("batch_id", "nunique"),
        assessors=("assessor_id", "nunique"),
        replicates=("replicate", "max"),
    )
    middle = sizes.astype("float64").median()
    return (
        max(2, round(middle["batches"])),
        max(2, round(middle["assessors"])),
        max(1, round(middle["replicates"])),
    )
