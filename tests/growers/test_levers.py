"""What is said of a grower's levers: only what the growers' means bear."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import linregress

from origin_compare.growers.levers import levers
from tests.growers.small import batch_frame, season_of


def _season(n: int, seed: int = 3, slope: float = -5.0) -> tuple[pd.DataFrame, pd.DataFrame]:
    rng = np.random.default_rng(seed)
    batches = batch_frame([f"G{place:02d}" for place in range(n)])
    nitrogen = rng.normal(1.5, 0.08, n)
    batches = batches.assign(
        grain_n_pct_dm=nitrogen,
        extract_pct_dm=87 + slope * nitrogen + rng.normal(0, 0.15, n),
        spirit_yield_lpa_t=rng.normal(372, 4, n),
    )
    lots = season_of(batches).sheets["lots"]
    lots["sown_on"] = pd.Timestamp("2025-03-01") + pd.to_timedelta(rng.integers(0, 40, n), "D")
    return lots.assign(
        yield_t_ha=rng.normal(6.5, 0.4, n), screenings_pct=rng.normal(3, 0.5, n)
    ), batches


def test_a_slope_the_season_bears_is_said_whole() -> None:
    lots, batches = _season(16)
    found = levers(lots, batches, 5)
    line = linregress(batches["grain_n_pct_dm"], batches["extract_pct_dm"])
    row = found[found["outcome"] == "extract_pct_dm"].iloc[0]
    assert row["slope"] == pytest.approx(0.1 * line.slope, rel=1e-9)
    assert row["says"] == (
        "Grain nitrogen 0.1 percentage points higher went with "
        f"{-row['slope']:.2g} percentage points less malt extract "
        f"({-row['high']:.2g} to {-row['low']:.2g}; 16 growers; clear). "
        "It need not be the cause: talk to your agronomist before changing anything."
    )


def test_nothing_is_said_of_fewer_than_ten_growers_or_without_a_slope() -> None:
    assert levers(*_season(9), 5).empty
    found = [levers(*_season(16, seed, slope=0.0), 5)["evidence"] for seed in range(60)]
    assert np.mean([len(words) > 0 for words in found]) < 0.5
    clear = np.mean([(words == "clear").any() for words in found])
    assert clear < 0.05 + 3 * np.sqrt(0.05 * 0.95 / 60)


def test_the_unit_is_the_grower_not_the_field() -> None:
    lots, batches = _season(9)
    twice = pd.concat([lots, lots.assign(lot_id=lots["lot_id"] + "b")], ignore_index=True)
    again = pd.concat([batches, batches], ignore_index=True)
    assert levers(twice, again, 5).empty
