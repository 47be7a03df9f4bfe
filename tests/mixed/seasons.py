"""Invented panel seasons of any size for the tests, seeded by the caller."""

import numpy as np
import pandas as pd

GROUPS = ["grower", "batch", "assessor", "assessor:batch"]


def season(
    seed: int,
    batches: int = 12,
    assessors: int = 5,
    replicates: int = 2,
    missed: float = 0.0,
    growers: int = 4,
    responses: tuple[str, ...] = ("fruity", "cereal"),
) -> pd.DataFrame:
    """One row per tasting; `missed` is the share of rows left out at random."""
    random = np.random.default_rng(seed)
    batch, assessor, _ = (a.ravel() for a in np.indices((batches, assessors, replicates)))
    cell = batch * assessors + assessor
    grower = batch % growers
    table = pd.DataFrame(
        {
            "grower": [f"G{g:02d}" for g in grower],
            "batch": [f"B{b:03d}" for b in batch],
            "assessor": [f"A{a:02d}" for a in assessor],
            "peak_temp_c": random.normal(29, 1, batches)[batch],
            "still": np.where(batch % 3 == 0, "wash", "spirit"),
        }
    )
    for place, name in enumerate(responses):
        table[name] = (
            50
            + (1.0 + place) * random.normal(size=growers)[grower]
            + 1.5 * random.normal(size=batches)[batch]
            + 2 * random.normal(size=assessors)[assessor]
            + 0.9 * random.normal(size=batches * assessors)[cell]
            + random.normal(size=len(table))
        )
    return table[random.random(len(table)) >= missed].reset_index(drop=True)
