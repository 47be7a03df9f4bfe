"""pH and gravity at the same hour: read between readings, told beside length."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from origin_compare.drivers import fixed_hours
from origin_compare.drivers.slopes.fixed_hours import at_hours
from origin_compare.errors import NotEnoughData
from tests.answers import owed
from tests.drivers.seasons import invent

EVERY_8 = np.arange(0, 104, 8.0)


def _logs(ids: list[str], at_72: np.ndarray) -> pd.DataFrame:
    """A log per batch whose pH falls straight to `at_72` at hour 72 and stays."""
    parts = []
    for name, ph in zip(ids, at_72, strict=True):
        fall = 5.0 - (5.0 - ph) * np.minimum(EVERY_8, 72) / 72
        parts.append(pd.DataFrame({"batch_id": name, "hours": EVERY_8, "ph": fall, "sg": np.nan}))
    return pd.concat(parts, ignore_index=True)


def test_values_lie_between_neighbouring_readings_and_gaps_stay_empty() -> None:
    log = pd.DataFrame(
        {
            "batch_id": "B1",
            "hours": [0.0, 20, 30, 60, 72],
            "ph": [5.0, 4.0, 3.8, 3.6, 3.5],
            "sg": [1.06, 1.03, np.nan, np.nan, 1.0],
        }
    )
    row = at_hours(log, (24, 48, 72, 96)).loc["B1"]
    assert row["ph_24h"] == pytest.approx(3.92)
    assert np.isnan(row["ph_48h"])
    assert row["ph_72h"] == 3.5
    assert np.isnan(row["ph_96h"])
    assert np.isnan(row["sg_24h"])


def test_a_value_at_an_hour_is_found_and_tested_together_with_the_others() -> None:
    season = invent(4)
    rng = np.random.default_rng(1)
    ph = 3.6 + 0.1 * rng.normal(size=len(season.batches))
    profile = season.profile
    profile.estimates["attribute 1"] += 0.5 * (ph - 3.6) / 0.1
    found = fixed_hours(season.batches, profile, _logs(season.batches["batch_id"].tolist(), ph))
    owed(found)
    row = found.of("attribute 1").set_index("column").loc["ph_72h"]
    assert row["verdict"] == "clear"
    assert row["low"] < 0.5 < row["high"]
    assert abs(row["with_length"]) < 0.5
    # Four hours of pH for six attributes; gravity is not known at any.
    assert found.tested == 24
    assert "gravity at 24 h" in found.rests_on()
    assert "pH at 72 h" in found.sentence()


def test_a_value_that_is_one_with_length_is_refused() -> None:
    season = invent(4)
    ph = 3.6 - 0.01 * (season.batches["length_h"].to_numpy() - 130)
    found = fixed_hours(
        season.batches, season.profile, _logs(season.batches["batch_id"].tolist(), ph)
    )
    assert set(found.slopes["verdict"]) == {"cannot be told apart"}
    assert found.tested == 0


def test_no_value_known_is_said() -> None:
    season = invent(4)
    log = pd.DataFrame({"batch_id": ["B000"], "hours": [3.0], "ph": [5.0], "sg": [1.05]})
    says = (
        "pH and gravity are not known at any fixed hour for nine batches in ten. Read each batch "
        "at least every 16 h."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(says)}$"):
        fixed_hours(season.batches, season.profile, log)
