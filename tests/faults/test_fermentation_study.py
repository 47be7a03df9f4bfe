"""Four seasons of the study, held to the aims; run by `pytest tests/faults` (not by default)."""

from __future__ import annotations

from tests.faults.fermentation_study import study, summary


def test_planted_faults_are_found_placed_and_named():
    """Aims: nine in ten found, five false alarms per 100 good batches, hour inside nine times in
    ten, true cause first three times in four. 44 faults and 176 good batches leave room for
    chance, so the false alarms are held to eight."""
    found = summary(study(seasons=4, seed=900, minutes=False))
    assert found["planted"] == 44
    assert found["found_pct"] >= 85
    assert found["false_alarms_per_100"] <= 8
    assert found["hour_inside_pct"] >= 85
    assert found["cause_first_pct"] >= 75
    assert found["hour_width_h"] <= 48
