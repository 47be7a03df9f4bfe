"""Gravity against NBS Circular C440, the ASBC cubic and the CIPM water formula."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from origin_compare import measures
from tests.measures.published import published


def test_plato_holds_to_the_published_columns() -> None:
    table = published("gravity", "extract_gravity.csv")
    plato = measures.sg_to_plato(table["sg_20_20"])
    assert np.abs(plato - table["brix_nbs_c440"]).max() < 0.001
    assert np.abs(plato - table["plato_asbc"]).max() < 0.006


def test_plato_of_four_worts_as_brewers_tables_have_it() -> None:
    # 9.99 / 13.57 / 15.90 / 19.33 °P: own arithmetic on the ASBC cubic, to two places
    got = measures.sg_to_plato(np.array([1.040, 1.055, 1.065, 1.080]))
    assert got == pytest.approx([9.99, 13.57, 15.90, 19.33], abs=0.005)


@given(st.floats(0.980, 1.140))
def test_gravity_goes_to_plato_and_back(sg: float) -> None:
    assert measures.plato_to_sg(measures.sg_to_plato(sg)) == pytest.approx(sg, abs=1e-9)


@given(st.floats(-5.27, 32.25))
def test_plato_goes_to_gravity_and_back(plato: float) -> None:
    assert measures.sg_to_plato(measures.plato_to_sg(plato)) == pytest.approx(plato, abs=1e-6)


def test_plato_rises_throughout() -> None:
    assert (np.diff(measures.sg_to_plato(np.linspace(0.980, 1.140, 10_001))) > 0).all()


def test_a_tenth_of_a_degree_is_what_the_docstring_says() -> None:
    step = measures.sg_to_plato(1.0651) - measures.sg_to_plato(1.0650)
    assert step == pytest.approx(0.023, abs=0.0005)
    stronger = measures.wash_abv(1.0651, 1.000) - measures.wash_abv(1.0650, 1.000)
    assert stronger == pytest.approx(0.013, abs=0.001)


def test_water_density_is_tanakas() -> None:
    table = published("density", "water_density.csv")
    assert np.abs(measures.water_density(table["temp_c"]) - table["density_kg_m3"]).max() < 1e-4


@given(st.floats(0, 40))
def test_a_hydrometer_in_pure_water_is_corrected_to_one(temp_c: float) -> None:
    # floats at mass = density x volume; the glass has grown by 25e-6 per kelvin
    grown = 1 + 25e-6 * (temp_c - 20)
    reading = measures.water_density(temp_c) * grown / measures.water_density(20.0)
    assert measures.sg_at_20c(reading, temp_c) == pytest.approx(1.0, abs=1e-9)


def test_hydrometer_correction_has_the_known_size() -> None:
    # water alone: +1.5, -1.2, -2.6, -3.5 degrees at 10, 25, 30, 33 °C; glass takes back 0.025 a K
    temps = np.array([10.0, 25.0, 30.0, 33.0])
    water = np.array([-1.5, 1.2, 2.6, 3.5])
    degrees = (measures.sg_at_20c(np.ones(4), temps) - 1) * 1000
    assert degrees == pytest.approx(water - 0.025 * (temps - 20), abs=0.06)
    assert measures.sg_at_20c(1.065, 20) == 1.065


def test_what_the_correction_neglects_is_what_the_docstring_says() -> None:
    # wash of 8.7 % vol at 30 °C: ethanol and water expand more than water alone
    true_ratio = measures.ethanol_density(8.7, 20.0) / measures.ethanol_density(8.7, 30.0)
    water_ratio = measures.water_density(20.0) / measures.water_density(30.0)
    assert 0.2 < (true_ratio - water_ratio) * 1000 < 0.5


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: measures.sg_to_plato(1.5), "sg: 1.5 is outside 0.980 to 1.140"),
        (lambda: measures.sg_to_plato(65.2), "sg: 65.2 is outside 0.980 to 1.140"),
        (lambda: measures.plato_to_sg(40), "plato: 40 is outside -5.273 to 32.253 °Plato"),
        (lambda: measures.water_density(40.5), "temp_c: 40.5 is outside 0 to 40"),
        (lambda: measures.sg_at_20c(1.06, 91), "temp_c: 91 is outside 0 to 40"),
        (lambda: measures.sg_at_20c(1.06, float("inf")), "temp_c: inf is outside 0 to 40"),
    ],
)
def test_what_is_out_of_range_is_named(call, message) -> None:
    with pytest.raises(ValueError) as caught:
        call()
    assert str(caught.value) == message


@given(st.floats(0, 40), st.floats(10, 25))
def test_an_older_hydrometer_is_true_in_water_at_its_own_temperature(temp_c, calibrated_c) -> None:
    # in pure water at any temperature it reads water's density there over that it was made for
    grown = 1 + 25e-6 * (temp_c - calibrated_c)
    reads = measures.water_density(temp_c) * grown / measures.water_density(calibrated_c)
    assert measures.sg_at_20c(reads, temp_c, calibrated_c) == pytest.approx(1.0, abs=1e-12)
    # made for 15.56 °C it reads 0.8 degree low at 20 °C (own arithmetic)
    at_20 = measures.sg_at_20c(1.0640, 20.0, 15.56)
    assert 1000 * (at_20 - 1.0640) == pytest.approx(0.8, abs=0.1)
