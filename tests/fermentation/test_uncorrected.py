from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from origin_compare import measures
from origin_compare.fermentation import departures, judge_season, uncorrected
from origin_compare.fermentation.departures.signatures import reads_low
from origin_compare.house import default_rules
from tests.answers import owed
from tests.fermentation.simulated import Plant, season_of

RULES = default_rules()


@pytest.fixture(scope="module")
def season():
    """Twenty-four good batches in three vessels, everybody correcting."""
    return season_of(77, [Plant()] * 24)


def read_warm(season, mine):
    """The season with the gravity of the readings `mine` not corrected: the simulator's own
    parabola through the expansion of water, not the package's formula."""
    readings = season.sheets["readings"].copy()
    warm = readings["temp_c"] - 20
    low = (0.0032 * warm**2 + 0.22 * warm) / 1000
    readings["sg"] = readings["sg"].where(~mine, (readings["sg"] - low).round(4))
    return replace(season, sheets={**season.sheets, "readings": readings})


def asked(season):
    return uncorrected(season, judge_season(season))


def test_where_everybody_corrects_nobody_is_named(season):
    found = asked(season)
    owed(found)
    assert set(found.table()["kind"]) == {"vessel", "shift"}
    assert found.sentence() == (
        "No vessel or shift reads gravity as if not corrected for temperature."
    )
    # one batch cannot tell: a share of 1 is hardly three of its standard errors
    assert 0.25 < found.batch_se < 0.5


def test_a_vessel_read_warm_is_named(season):
    vessel = season.batches.set_index("batch_id")["vessel"]
    mine = season.sheets["readings"]["batch_id"].map(vessel) == "V2"
    changed = read_warm(season, mine)
    judged = judge_season(changed)
    table = uncorrected(changed, judged).table().set_index("group")
    assert set(table.index[table["named"]]) <= {"V1", "V2", "V3"}
    assert table.loc["V2", "share"] == pytest.approx(1.0, abs=3 * table.loc["V2", "se"])
    assert table.loc["V2", "p"] == table["p"].min()
    shared = departures(changed, judged=judged).shared
    assert any("gravity read in V2 looks not corrected for temperature" in one for one in shared)


def test_a_shift_that_does_not_correct_is_named(season):
    clock = season.sheets["readings"]["read_at"].dt.tz_convert(RULES.time_zone).dt.hour
    changed = read_warm(season, (clock >= 22) | (clock < 6))
    row = asked(changed).table().set_index("group").loc["22 to 06 h"]
    assert row["named"]
    assert row["share"] == pytest.approx(1.0, abs=3 * row["se"])


def test_what_a_warm_hydrometer_reads_is_what_the_correction_takes_back():
    for sg in (1.001, 1.050):
        for temp_c in (12.0, 24.0, 33.0):
            read = sg + reads_low(np.array([temp_c]))[0] / 1000
            assert measures.sg_at_20c(read, temp_c) == pytest.approx(sg, abs=0.00015)
