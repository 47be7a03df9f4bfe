"""Invented panels with known truth, shared by the tests and the long simulations."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

SDS: Mapping[str, float] = {
    "batch": 0.9,
    "assessor": 0.8,
    "tasting": 0.3,
    "assessor:batch": 0.4,
    "assessor:tasting": 0.25,
    "residual": 0.6,
}


def panel(
    seed: int,
    batches: int = 12,
    assessors: int = 8,
    replicates: int = 2,
    per_tasting: int = 6,
    attributes: int = 1,
    control: bool = True,
    missing: float = 0.0,
    drift: float = 0.0,
    sds: Mapping[str, float] = SDS,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Long scores and the true batch means (batch_id x attribute) around 5.

    Every attribute is scored on the same glasses. Every tasting serves `per_tasting` batches (and
    the control) `replicates` times to everybody, in random order; `missing` is the share of
    assessor x tasting visits missed at random; `drift` the change of score per serving position.
    """
    rng = np.random.default_rng(seed)
    names = [f"B{i + 1:03d}" for i in range(batches)]
    served = _glasses(rng, names, assessors, replicates, per_tasting, control, missing)
    known = [*names, "control"]
    frames, truth = [], {}
    for a in range(attributes):
        own = pd.Series(5 + rng.normal(0, sds["batch"], len(known)), known)
        truth[f"attribute {a + 1}"] = own[names]
        score = served["batch_id"].map(own) + drift * (served["position"] - 1)
        score += _drawn(rng, served, ["assessor_id"], sds["assessor"])
        score += _drawn(rng, served, ["tasting_id"], sds["tasting"])
        score += _drawn(rng, served, ["assessor_id", "batch_id"], sds["assessor:batch"])
        score += _drawn(rng, served, ["assessor_id", "tasting_id"], sds["assessor:tasting"])
        score += rng.normal(0, sds["residual"], len(served))
        frames.append(served.assign(attribute=f"attribute {a + 1}", score=score))
    return pd.concat(frames, ignore_index=True), pd.DataFrame(truth)


def _drawn(rng: np.random.Generator, served: pd.DataFrame, by: list[str], sd: float) -> pd.Series:
    level = served.groupby(by, sort=False).ngroup()
    return pd.Series(rng.normal(0, sd, level.max() + 1)[level], served.index)


def _glasses(
    rng: np.random.Generator,
    names: list[str],
    assessors: int,
    replicates: int,
    per_tasting: int,
    control: bool,
    missing: float,
) -> pd.DataFrame:
    rows = []
    for t, start in enumerate(range(0, len(names), per_tasting), start=1):
        line = names[start : start + per_tasting] + (["control"] if control else [])
        for i in range(1, assessors + 1):
            if rng.random() < missing:
                continue
            for r in range(1, replicates + 1):
                order = enumerate(rng.permutation(line), start=1)
                rows += [(f"T{t:02d}", f"A{i:02d}", str(name), r, p) for p, name in order]
    served = pd.DataFrame(
        rows, columns=["tasting_id", "assessor_id", "batch_id", "replicate", "position"]
    )
    week = pd.to_timedelta(7 * served["tasting_id"].str[1:].astype(int), unit="D")
    return served.assign(
        sample_kind=np.where(served["batch_id"].eq("control"), "control", "batch"),
        tasted_on=pd.Timestamp("2025-01-06") + week,
        served_abv_pct=20.0,
        scale="0-10",
    )
