"""Time to a proven recipe: 200 batches x 12 attributes, at most 8 parts, stock limits, 2 % least.

    OMP_NUM_THREADS=1 python -m tests.benchmarks.recipes

Processor seconds for the whole call and the proof's gap, for a batch and for scores by hand as
the target, with a panel's error and without.
"""

from __future__ import annotations

import time

import numpy as np
import pandas as pd

from origin_compare import vatting
from tests.families.test_find import FakeProfile, _frame

BATCHES, ATTRIBUTES, PARTS = 200, 12, 8


def timed(seed: int, by_hand: bool, error: float) -> tuple[float, float, float]:
    """Processor seconds, distance and gap of one best recipe."""
    generator = np.random.default_rng(seed)
    frame = _frame(5 + generator.normal(0, 0.6, (BATCHES, ATTRIBUTES)))
    litres = generator.uniform(100, 1200, BATCHES)
    stock = pd.DataFrame({"batch_id": frame.index, "new_make_l": litres, "new_make_abv_pct": 68.0})
    drawn = pd.Series(5 + generator.normal(0, 0.5, ATTRIBUTES), frame.columns)
    start = time.process_time()
    made = vatting.recipes(
        FakeProfile(frame, error) if error else frame,  # type: ignore[arg-type]
        stock,
        drawn if by_hand else "B000",
        1360.0,
        PARTS,
        how_many=1,
        must_not=() if by_hand else ("B000",),
    )
    best = made.ranked[0]
    return time.process_time() - start, best.distance, best.gap


if __name__ == "__main__":
    print("target   error  seed  cpu_s  distance  gap")
    for by_hand in (True, False):
        for error in (0.0, 0.25):
            for seed in range(3):
                cpu_s, distance, gap = timed(seed, by_hand, error)
                name = "by hand" if by_hand else "a batch"
                print(f"{name}  {error:5.2f}  {seed:4d}  {cpu_s:5.2f}  {distance:8.3f}  {gap:.4f}")
