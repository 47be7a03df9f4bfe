"""The proven optimum against every choice of parts, tried one by one, on small stocks."""

from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize

from origin_compare import vatting
from tests.families.test_find import _frame

LEAST = 0.02


def _best_by_hand(mean: np.ndarray, target: np.ndarray, limit: np.ndarray, most: int) -> float:
    """Smallest root mean square distance over all sets of parts, each solved by SLSQP."""
    best = np.inf
    for size in range(1, most + 1):
        for rows in map(list, combinations(range(len(mean)), size)):
            if limit[rows].sum() >= 1 and LEAST * size <= 1:
                best = min(best, _shares_by_hand(mean[rows], target, limit[rows]))
    return float(np.sqrt(best / mean.shape[1]))


def _shares_by_hand(mean: np.ndarray, target: np.ndarray, limit: np.ndarray) -> float:
    found = minimize(
        lambda shares: float(((shares @ mean - target) ** 2).sum()),
        limit / limit.sum(),
        jac=lambda shares: 2 * mean @ (shares @ mean - target),
        bounds=[(LEAST, float(top)) for top in limit],
        constraints={"type": "eq", "fun": lambda s: s.sum() - 1, "jac": np.ones_like},
        method="SLSQP",
        options={"ftol": 1e-12, "maxiter": 500},
    )
    return float(found.fun) if abs(found.x.sum() - 1) < 1e-6 else np.inf


@pytest.mark.parametrize("seed", range(12))
def test_no_choice_of_parts_is_nearer_than_the_proven_one(seed: int) -> None:
    generator = np.random.default_rng(seed)
    batches, most = int(generator.integers(4, 9)), int(generator.integers(1, 4))
    mean = generator.uniform(1, 9, (batches, 4))
    target = generator.uniform(3, 7, 4)
    litres = generator.uniform(100, 900, batches)
    limit = np.minimum(litres * 0.68 / (0.8 * np.sort(litres * 0.68)[::-1][:most].sum()), 1)
    frame = _frame(mean)
    stock = pd.DataFrame({"batch_id": frame.index, "new_make_l": litres, "new_make_abv_pct": 68.0})
    lpa = 0.8 * float(np.sort(litres * 0.68)[::-1][:most].sum())
    made = vatting.recipes(
        frame, stock, pd.Series(target, frame.columns), lpa, most, how_many=1, least_share=LEAST
    )
    assert made.proven
    by_hand = _best_by_hand(mean, target, limit, most)
    assert made.ranked[0].distance == pytest.approx(by_hand, abs=2e-4)


def test_every_further_recipe_differs_by_a_fifth() -> None:
    generator = np.random.default_rng(5)
    frame = _frame(generator.uniform(1, 9, (15, 6)))
    stock = pd.DataFrame({"batch_id": frame.index, "new_make_l": 900.0, "new_make_abv_pct": 68.0})
    made = vatting.recipes(frame, stock, frame.mean(), 500, how_many=4)
    held = [recipe.parts.set_index("batch_id")["share"] for recipe in made.ranked]
    for place, one in enumerate(held):
        for other in held[:place]:
            kept = np.minimum(
                one.reindex(frame.index).fillna(0), other.reindex(frame.index).fillna(0)
            )
            assert kept.sum() <= 0.8 + 1e-6
