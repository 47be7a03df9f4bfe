"""Units: each goes there and back, and the known pairs meet."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from origin_compare import measures
from origin_compare.measures.conversions import GRAVITY_UNITS


@pytest.mark.parametrize(
    ("value", "unit"), [(1.0652, "sg"), (1065.2, "sg1000"), (65.2, "degrees"), (15.949, "plato")]
)
def test_one_wort_in_four_units(value: float, unit: str) -> None:
    assert measures.gravity_to_sg(value, unit) == pytest.approx(1.0652, abs=1e-5)


@given(st.floats(0.980, 1.140), st.sampled_from(GRAVITY_UNITS))
def test_gravity_goes_there_and_back(sg: float, unit: str) -> None:
    there = measures.sg_to_gravity(sg, unit)
    assert measures.gravity_to_sg(_inside(there, unit), unit) == pytest.approx(sg, abs=1e-9)


def _inside(value: float, unit: str) -> float:
    """Rounding at the very end of the range may step out by the last bit."""
    ends = {"sg1000": (980, 1140), "degrees": (-20, 140)}
    low, high = ends.get(unit, (value, value))
    return min(max(value, low), high)


def test_below_water_degrees_are_negative() -> None:
    assert measures.gravity_to_sg(-2, "degrees") == pytest.approx(0.998)


def test_an_unknown_unit_is_named() -> None:
    for call in (measures.gravity_to_sg, measures.sg_to_gravity):
        with pytest.raises(ValueError) as caught:
            call(1.06, "brix")
        assert str(caught.value) == "unit: 'brix' is not one of sg, sg1000, degrees, plato"


def test_a_value_in_the_wrong_unit_is_named() -> None:
    with pytest.raises(ValueError) as caught:
        measures.gravity_to_sg(1065.2, "sg")
    assert str(caught.value) == "value: 1065.2 is outside 0.980 to 1.140"
    with pytest.raises(ValueError) as caught:
        measures.gravity_to_sg(1.0652, "sg1000")
    assert str(caught.value) == "value: 1.0652 is outside 980 to 1140"


def test_temperatures() -> None:
    assert measures.f_to_c(212) == pytest.approx(100)
    assert measures.f_to_c(-40) == pytest.approx(-40)
    assert measures.f_to_c(91) == pytest.approx(32.78, abs=0.005)
    with pytest.raises(ValueError) as caught:
        measures.f_to_c(-500)
    assert str(caught.value) == "temp_f: -500 is below -459.67 °F"


@given(st.floats(-200, 500))
def test_temperatures_go_there_and_back(temp_c: float) -> None:
    assert measures.f_to_c(measures.c_to_f(temp_c)) == pytest.approx(temp_c, abs=1e-9)


@given(st.floats(0, 100), st.floats(0, 50))
def test_grain_goes_there_and_back(share: float, moisture: float) -> None:
    as_is = measures.dm_to_as_is(share, moisture)
    assert measures.as_is_to_dm(as_is, moisture) == pytest.approx(share, abs=1e-9)
    assert measures.n_to_protein(measures.protein_to_n(share)) == pytest.approx(share, abs=1e-9)
    assert measures.per_t_dry(as_is, moisture) == pytest.approx(share, abs=1e-9)
    brought = measures.at_moisture(as_is, moisture, 15.0)
    assert measures.at_moisture(brought, 15.0, moisture) == pytest.approx(as_is, abs=1e-9)
    assert brought * 0.85 == pytest.approx(as_is * (1 - moisture / 100), abs=1e-9)
    there = measures.pct_to_l_deg_kg(share)
    assert measures.l_deg_kg_to_pct(min(there, 386)) == pytest.approx(share, abs=1e-9)


def test_known_pairs_of_the_trade() -> None:
    assert measures.protein_to_n(7.7) == pytest.approx(1.23, abs=0.005)
    assert measures.protein_to_n(13.2) == pytest.approx(2.11, abs=0.005)
    assert measures.l_deg_kg_to_pct(305) == pytest.approx(79, abs=0.1)
    assert measures.as_is_to_dm(76.4, 4.5) == pytest.approx(80)
    assert measures.at_moisture(7.0, 20.0, 15.0) == pytest.approx(6.588, abs=0.001)
    assert measures.at_moisture(7.0, 15.0, 16.0) / 7.0 == pytest.approx(1.012, abs=0.0005)
    assert measures.per_t_dry(400, 4.5) == pytest.approx(418.85, abs=0.005)
    assert measures.per_t_dry(400, 4.6) - measures.per_t_dry(400, 4.5) == pytest.approx(
        0.44, abs=0.01
    )
    assert measures.uk_proof_to_abv(70) == pytest.approx(40, abs=0.1)
    assert measures.us_proof_gallons_to_lpa(1) == pytest.approx(1.893, abs=0.0005)
