from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from origin_compare.fermentation import fit_acid, fit_acids
from tests.answers import owed

HOURS = np.arange(0.0, 132.0, 8.0)


def two_falls(hours, middle=28.0, late=75.0, width=9.0, late_fall=0.9):
    return 5.3 - 1.05 * expit((hours - middle) / 6) - late_fall * expit((hours - late) / width)


def test_the_hour_of_the_lactic_fall_is_found_with_its_doubt():
    rng = np.random.default_rng(4)
    found = [fit_acid(HOURS, two_falls(HOURS) + rng.normal(0, 0.03, len(HOURS))) for _ in range(60)]
    told = [one for one in found if one.status == "ok"]
    assert len(told) >= 55
    off = np.array([one.lactic_from_h - (75 - 2 * 9) for one in told])
    doubt = np.array([one.lactic_from_se_h for one in told])
    assert abs(off.mean()) < 4
    assert 0.85 <= np.mean(np.abs(off) < 2 * doubt) <= 1
    assert np.mean([one.after_yeast_ph for one in told]) == pytest.approx(4.25, abs=0.1)


def test_a_batch_without_a_lactic_fall_says_so():
    rng = np.random.default_rng(5)
    once = [
        fit_acid(HOURS, two_falls(HOURS, late_fall=0) + rng.normal(0, 0.03, len(HOURS)))
        for _ in range(40)
    ]
    assert sum(one.status == "ok" for one in once) <= 3
    assert all(np.isnan(one.lactic_from_h) for one in once if one.status != "ok")


def test_a_log_that_ends_early_is_not_read_too_far():
    early = HOURS[HOURS <= 48]
    curve = fit_acid(early, two_falls(early))
    owed(curve)
    assert curve.status == "not_identified"
    assert curve.sentence() == (
        "When the lactic fall of pH began cannot be told: readings end at 48 h, before it could "
        "show."
    )


def test_few_readings_and_wrong_input():
    curve = fit_acid(HOURS[:4], two_falls(HOURS[:4]))
    assert curve.reason == "4 pH readings at different hours, at least 7 needed"
    with pytest.raises(ValueError, match=r"^hours has shape \(2,\), pH \(1,\): give lists of one"):
        fit_acid([1, 2], [5.0])
    with pytest.raises(
        ValueError, match=r"^No reading has both an hour and a pH: nothing to fit\."
    ):
        fit_acid([1.0], [np.nan])


def test_many_at_once_equal_one_at_a_time():
    logs = [
        pd.DataFrame({"batch_id": f"B{k}", "hours": HOURS, "ph": two_falls(HOURS, late=60 + 4 * k)})
        for k in range(5)
    ]
    together = fit_acids(pd.concat(logs, ignore_index=True)).set_index("batch_id")
    assert together["lactic_from_h"].is_monotonic_increasing
    for log in logs:
        alone = fit_acid(log["hours"], log["ph"])
        row = together.loc[log["batch_id"].iloc[0]]
        assert row["lactic_from_h"] == pytest.approx(alone.lactic_from_h, rel=1e-6)
        assert alone.at([0.0])[0] == pytest.approx(5.3, abs=0.05)
