"""A plain season answers in the shapes promised."""

import numpy as np
import pandas as pd

from origin_compare.mixed import fit

SEED = 11


def season(batches: int = 12, assessors: int = 5, replicates: int = 2) -> pd.DataFrame:
    random = np.random.default_rng(SEED)
    batch, assessor, _ = (axis.ravel() for axis in np.indices((batches, assessors, replicates)))
    cell = batch * assessors + assessor
    table = pd.DataFrame(
        {
            "grower": [f"G{b % 4}" for b in batch],
            "batch": [f"B{b:02d}" for b in batch],
            "assessor": [f"A{a}" for a in assessor],
            "peak_temp_c": random.normal(29, 1, batches)[batch],
        }
    )
    for name, sd in (("fruity", 1.5), ("cereal", 0.6)):
        table[name] = (
            50
            + sd * random.normal(size=batches)[batch]
            + 2 * random.normal(size=assessors)[assessor]
            + 0.7 * random.normal(size=batches * assessors)[cell]
            + random.normal(size=len(table))
        )
    return table


GROUPS = ["grower", "batch", "assessor", "assessor:batch"]


def test_one_row_per_response_group_and_term() -> None:
    answer = fit(season(), ["fruity", "cereal"], "peak_temp_c", GROUPS)
    assert list(answer.criterion.index) == ["fruity", "cereal"]
    assert list(answer.components.columns) == ["response", "group", "variance", "sd"]
    assert list(answer.components["group"]) == [*GROUPS, "residual"] * 2
    assert list(answer.fixed.columns) == ["response", "term", "estimate", "se", "df", "t", "p"]
    assert list(answer.fixed["term"]) == ["Intercept", "peak_temp_c"] * 2
    assert set(answer.status) <= {"ok", "boundary"}
    assert len(answer.effects("assessor:batch")) == 2 * 60
