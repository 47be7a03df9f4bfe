from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from origin_compare.fermentation import house_band
from origin_compare.fermentation.departures.causes import CHANNEL_OF, NEXT_CHECK, QUESTIONS
from origin_compare.fermentation.departures.exits import Exit, exits, order
from origin_compare.fermentation.departures.signatures import LIBRARY
from origin_compare.fermentation.house.band import outside
from origin_compare.fermentation.logs import logs
from tests.fermentation.simulated import Plant, season_of


@pytest.fixture(scope="module")
def season():
    return season_of(51, [Plant() for _ in range(130)] + [Plant("early lactic", 10.0, 2.5)])


@pytest.fixture(scope="module")
def band(season):
    return house_band(season, in_style=list(season.batches["batch_id"][:40]))


def test_new_batches_in_style_stay_wholly_inside_as_often_as_stated(season, band):
    """Simultaneous: all readings of a channel, 90 batches never seen; nominal 95 %."""
    fresh = [
        log
        for name, log in logs(season.sheets["readings"], season.batches).items()
        if name not in band.reference.names and name != "B131"
    ]
    assert len(fresh) == 90
    left = [set(outside(band, log)["channel"]) for log in fresh]
    for channel in ("sg", "ph", "temp_c"):
        inside = np.mean([channel not in one for one in left])
        # 90 batches and a multiplier from 40: +-6 points of chance
        assert inside >= 0.87, (channel, inside)
    # and it is a band, not the whole plane: reading by reading far fewer lie near the edge
    assert max(band.multiplier.values()) < 4.5


def test_ph_leads_gravity_when_bacteria_come_first(season, band):
    log = logs(season.sheets["readings"], season.batches)["B131"]
    found = exits(band, log)
    assert found[0].channel == "pH"
    assert found[0].last_in_h < found[0].first_out_h <= 40


def test_the_order_is_said_only_where_readings_resolve_it():
    ph, late, same = Exit("pH", 8, 16), Exit("gravity", 24, 32), Exit("temperature", 8, 17)
    assert order((ph, late)) == "pH left the band before gravity"
    assert order((ph, same)) == (
        "pH and temperature left within one reading: the order is not resolved"
    )
    assert order((ph,)) == "only pH left the band"
    assert order(()) == "no single reading left it"


def test_every_cause_has_a_question_a_channel_and_a_next_check():
    causes = {one.cause for one in LIBRARY}
    questioned = [cause for group in QUESTIONS.values() for cause in group]
    assert sorted(questioned) == sorted(causes)
    assert set(NEXT_CHECK) == causes == set(CHANNEL_OF)


def test_a_missing_channel_draws_the_others(season):
    readings = season.sheets["readings"].assign(ph=np.nan, cooling_pct=np.nan)
    held = house_band(
        replace(season, sheets={"readings": readings}),
        in_style=list(season.batches["batch_id"][:20]),
    )
    assert set(held.multiplier) == {"sg", "temp_c"}
    assert held.cooling.empty
    assert set(held.table()["channel"]) == {"gravity", "temperature"}
