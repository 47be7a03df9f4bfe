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

    Every tasting serves `per_tasting` batches (and the control) `replicates` times to everybody,
    in random order; `missing` is the share of assessor x tasting visits missed at random;
    `drift` is the change of score per serving position.
    """
    rng = np.random.default_rng(seed)
    names = [f"B{i + 1:03d}" for i in range(batches)]
    tastings = [names[i : i + per_tasting] for i in range(0, batches, per_tasting)]
    frames, truth = [], {}
    for a in range(attributes):
        attribute = f"attribute {a + 1}"
        own = {name: rng.normal(0, sds["batch"]) for name in [*names, "control"]}
        truth[attribute] = {name: 5 + own[name] for name in names}
        who = rng.normal(0, sds["assessor"], assessors)
        taste = {
            (i, name): rng.normal(0, sds["assessor:batch"])
            for i in range(assessors)
            for name in own
        }
        rows = []
        for t, served in enumerate(tastings):
            day = rng.normal(0, sds["tasting"])
            line = [*served, "control"] if control else served
            for i in range(assessors):
                visit = rng.normal(0, sds["assessor:tasting"])
                if rng.random() < missing:
                    continue
                for r in range(replicates):
                    for position, name in enumerate(rng.permutation(line)):
                        mean = 5 + own[name] + who[i] + day + taste[i, name] + visit
                        score = mean + drift * position + rng.normal(0, sds["residual"])
                        rows.append(
                            (f"T{t + 1:02d}", f"A{i + 1:02d}", name, r + 1, position + 1, score)
                        )
        frame = pd.DataFrame(
            rows,
            columns=["tasting_id", "assessor_id", "batch_id", "replicate", "position", "score"],
        )
        frames.append(frame.assign(attribute=attribute))
    scores = pd.concat(frames, ignore_index=True)
    kind = np.where(scores["batch_id"].eq("control"), "control", "batch")
    days = pd.Timestamp("2025-01-06") + pd.to_timedelta(
        7 * scores["tasting_id"].str[1:].astype(int), unit="D"
    )
    return scores.assign(
        sample_kind=kind, tasted_on=days, served_abv_pct=20.0, scale="0-10"
    ), pd.DataFrame(truth)
