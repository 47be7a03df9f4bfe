"""Is a recipe's stated distance true, and do its intervals hold, though it was chosen as nearest?

    python -m tests.faults.recipes_study 150          # seasons of each kind; a few minutes

Seasons of 60 batches and 10 attributes with known truth and a panel's error; the best recipe of at
most four parts is taken, towards scores drawn by hand or towards a batch, and held against the
truth. Exits 1 when an interval holds under 92 or over 98 %.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd

from origin_compare import vatting
from tests.families.test_find import FakeProfile, _frame

BATCHES, ATTRIBUTES = 60, 10
SPREADS = {"even": 0.6, "heavy tails": 0.6, "related attributes": 0.6, "little spread": 0.25}


def _truth(kind: str, generator: np.random.Generator) -> np.ndarray:
    drawn = generator.standard_normal((BATCHES, ATTRIBUTES))
    if kind == "heavy tails":
        drawn = generator.standard_t(4, (BATCHES, ATTRIBUTES)) / np.sqrt(2)
    if kind == "related attributes":
        drawn = np.sqrt(0.5) * (drawn + generator.standard_normal((BATCHES, 1)))
    return 5 + SPREADS[kind] * drawn


def season(kind: str, by_hand: bool, seed: int, error: float = 0.3) -> tuple[float, ...]:
    """Stated and true distance, whether the interval holds it, share of predictions held."""
    generator = np.random.default_rng(seed)
    truth = _frame(_truth(kind, generator))
    seen = truth + generator.normal(0, error, truth.shape)
    stock = pd.DataFrame({"batch_id": truth.index, "new_make_l": 800.0, "new_make_abv_pct": 68.0})
    wanted = pd.Series(5 + generator.normal(0, 0.4, ATTRIBUTES), truth.columns)
    target = wanted if by_hand else "B000"
    best = vatting.recipes(
        FakeProfile(seen, error),  # type: ignore[arg-type]
        stock,
        target,
        600.0,
        how_many=1,
        must_not=() if by_hand else ("B000",),
        seed=seed,
    ).ranked[0]
    made = best.parts.set_index("batch_id")["share"] @ truth.loc[best.parts["batch_id"]]
    true = float(np.sqrt(((made - (wanted if by_hand else truth.loc["B000"])) ** 2).mean()))
    predicted = best.predicted.set_index("attribute")
    held = predicted["low"].le(made) & made.le(predicted["high"])
    return best.distance, true, float(best.low <= true <= best.high), float(held.mean())


def study(seasons: int) -> pd.DataFrame:
    """One row per kind of season: mean stated and true distance, and how often intervals hold."""
    rows = []
    for kind in SPREADS:
        for by_hand in (True, False):
            found = np.array([season(kind, by_hand, seed) for seed in range(seasons)])
            rows.append((kind, "by hand" if by_hand else "a batch", *found.mean(axis=0)))
    columns = ["truth", "target", "stated", "true", "distance_held", "prediction_held"]
    return pd.DataFrame(rows, columns=columns)


if __name__ == "__main__":
    table = study(int(sys.argv[1]) if len(sys.argv) > 1 else 150)
    print(table.round(3).to_string(index=False))
    held = table[["distance_held", "prediction_held"]]
    sys.exit(int(((held < 0.92) | (held > 0.98)).any().any()))
