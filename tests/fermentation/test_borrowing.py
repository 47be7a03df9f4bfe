from __future__ import annotations

import numpy as np
import pandas as pd

from origin_compare.fermentation import fit_curves
from origin_compare.fermentation.curves.curve import fit_all, settled


def distillery(seed: int, sparse: int = 20, full: int = 40) -> tuple[pd.DataFrame, np.ndarray]:
    """Readings of batches from one cloud, the first `sparse` of them with four readings only,
    and each one's true lag."""
    rng = np.random.default_rng(seed)
    rows, lags = [], []
    for batch in range(sparse + full):
        hours = np.abs(np.arange(0, 136, 8.0) + rng.uniform(-1, 1, 17))
        if batch < sparse:
            hours = np.sort(rng.choice(hours[2:9], 4, replace=False))
        middle, rate = rng.normal(32, 3), rng.normal(0.15, 0.015)
        end, fall = rng.normal(0.5, 0.8), rng.normal(65, 1.2)
        degrees = end + fall / (1 + np.exp(rate * (hours - middle)))
        degrees = degrees + rng.normal(0, 0.4, len(hours))
        name = f"B{batch:02d}"
        rows.append(pd.DataFrame({"batch_id": name, "hours": hours, "sg": 1 + degrees / 1000}))
        lags.append(middle - 2 / rate)
    return pd.concat(rows, ignore_index=True), np.array(lags)


def test_four_readings_alone_say_nothing_and_with_the_others_enough():
    readings, lags = distillery(3)
    alone = fit_curves(readings)
    assert set(alone["status"][:20]) == {"not_identified"}
    assert (alone["borrowed_from"] == 0).all()
    helped = fit_curves(readings, borrowing=True)
    assert set(helped["status"]) == {"ok"}
    assert (helped["borrowed_from"] >= 30).all()
    off = helped["lag_h"].to_numpy() - lags
    # the batches themselves differ by 3.3 h (sd); borrowing must do far better than their mean
    assert np.sqrt(np.mean(off[:20] ** 2)) < 1.3
    assert np.sqrt(np.mean(off[20:] ** 2)) < 0.6


def test_the_doubt_stated_is_the_doubt_there_is():
    inside = []
    for seed in range(4, 10):
        readings, lags = distillery(seed)
        helped = fit_curves(readings, borrowing=True)
        off = np.abs(helped["lag_h"].to_numpy() - lags) / helped["lag_se_h"].to_numpy()
        inside.append(off[:20] < 1.96)
    share = np.mean(np.concatenate(inside))
    assert 0.88 <= share <= 0.995


def test_with_nobody_to_borrow_from_curves_stand_alone():
    readings, _ = distillery(2, sparse=4, full=3)
    helped = fit_curves(readings, borrowing=True)
    assert (helped["borrowed_from"] == 0).all()
    assert set(helped["status"][:4]) == {"not_identified"}


def test_only_a_curve_its_own_readings_leave_open_is_helped_and_says_so():
    readings, _ = distillery(3)
    found, own = settled(readings), fit_all(readings, "evidence")
    assert all(found[f"B{at:02d}"].borrowed_from >= 30 for at in range(20))
    assert found["B00"].sentence().endswith(f"(steadied by {found['B00'].borrowed_from} batches).")
    assert all(found[name].borrowed_from == 0 for name in list(found)[20:])
    assert found["B40"].lag_h == own["B40"].lag_h
