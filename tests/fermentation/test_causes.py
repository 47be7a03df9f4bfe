"""What stands beside the log tips between causes the log cannot part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from origin_compare.fermentation import departures, judge_season
from origin_compare.fermentation.departures.signatures import (
    DRIFTS,
    EARLY_LACTIC,
    FROZEN_GRAVITY,
    HOT,
    LESS_FERMENTABLE,
    POOR_YEAST,
    STUCK,
)
from tests.fermentation.simulated import Plant, season_of

GOOD = [Plant() for _ in range(24)]
PLANTED = [
    Plant("poor fermentability", 0.0, 9.0),
    Plant("poor yeast", 0.0, 0.45),
    Plant("temperature drift", 52.0, 0.16),
    Plant("gravity frozen", 24.0, 0.0),
    Plant("stuck", 24.0, 1.0),
    Plant("early lactic", 12.0, 2.0),
]
HIGH_END, POOR, DRIFT, FROZEN, STUCK_ONE, SOUR = (f"B{25 + at:03d}" for at in range(6))


@pytest.fixture(scope="module")
def season():
    return season_of(41, [*GOOD, *PLANTED])


@pytest.fixture(scope="module")
def judged(season):
    return judge_season(season)


@pytest.fixture(scope="module")
def verdicts(season, judged):
    return departures(season, judged=judged)


@pytest.fixture
def with_cells(season, judged):
    """The verdict on a batch once cells of its sheet row are changed."""

    def again(name: str, **cells: object):
        batches = season.batches.copy()
        for column, value in cells.items():
            batches.loc[batches["batch_id"] == name, column] = value
        return departures(replace(season, batches=batches), judged=judged).of(name)

    return again


def cause(found, wanted: str):
    (one,) = [one for one in found.causes if one.name == wanted]
    return one


def test_every_fault_here_is_named(verdicts):
    named = [verdicts.of(name).named for name in (HIGH_END, POOR, DRIFT, FROZEN, STUCK_ONE, SOUR)]
    assert named == [
        LESS_FERMENTABLE,
        POOR_YEAST,
        DRIFTS[2],
        FROZEN_GRAVITY,
        STUCK,
        EARLY_LACTIC,
    ]


def test_a_high_bench_limit_speaks_for_the_wort(season, verdicts):
    limit = season.batches.set_index("batch_id")["limit_sg"][HIGH_END]
    (said,) = [
        text
        for text in verdicts.of(HIGH_END).causes[0].speaks_for
        if text.startswith("the bench limit test")
    ]
    assert said.startswith(f"the bench limit test reached {limit:.4f}, the vessel 1.0")
    assert said.endswith(": the wort could go no lower")


def test_a_low_bench_limit_clears_the_wort(with_cells):
    found = with_cells(HIGH_END, limit_sg=0.9995)
    assert found.status == "left"
    assert found.causes[0].name != LESS_FERMENTABLE


def test_without_a_bench_test_it_is_missed_by_name(with_cells):
    found = with_cells(HIGH_END, limit_sg=np.nan)
    assert "a bench limit test of this wort" in cause(found, LESS_FERMENTABLE).missing


def test_old_yeast_speaks_for_itself_and_fresh_yeast_against(with_cells):
    kept = {"yeast_storage_c": 4.0}
    old = with_cells(POOR, yeast_viability_pct=70.0, yeast_age_d=20.0, **kept)
    new = with_cells(POOR, yeast_viability_pct=96.0, yeast_age_d=3.0, **kept)
    said, unsaid = cause(old, POOR_YEAST), cause(new, POOR_YEAST)
    assert "the yeast was 70 % viable and 20 days old" in said.speaks_for
    assert "the yeast was 96 % viable, 3 days old and kept at 4.0 °C" in unsaid.speaks_against
    assert said.share >= unsaid.share


def test_a_rise_that_gravity_does_not_pay_for_is_the_probes(verdicts):
    found = verdicts.of(DRIFT)
    assert found.channel == "temperature"
    (paid,) = [text for text in found.causes[0].speaks_for if "temperature rose" in text]
    assert "which can warm it" in paid
    assert found.causes[0].name != HOT


def test_causes_are_ranked_and_each_has_one_next_check(verdicts):
    found = verdicts.of(SOUR)
    shares = [one.share for one in found.causes]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) <= 1 + 1e-9
    assert all(one.next_check for one in found.causes)
    row = verdicts.table().set_index("batch_id").loc[SOUR]
    assert row["next_check"] == found.causes[0].next_check


def test_alarms_in_several_vessels_at_once_point_to_what_they_share():
    season = season_of(
        46,
        [
            *GOOD,
            Plant("cooling stuck", 28.0, 0.95, {"for_h": 20.0}),
            Plant("cooling stuck", 28.0, 0.95, {"for_h": 20.0}),
        ],
    )
    batches = season.batches.copy()
    batches.loc[25, "pitched_at"] = batches.loc[24, "pitched_at"] + pd.Timedelta(hours=2)
    verdicts = departures(replace(season, batches=batches))
    assert (
        "B025 and B026 departed within 12 h of one another in different vessels: look for a "
        "shared utility or clock" in verdicts.rests_on()
    )
    said = [text for one in verdicts.of("B025").causes for text in one.speaks_for]
    assert (
        "B026 in another vessel departed within the same hours: look for a shared utility or clock"
        in said
    )
