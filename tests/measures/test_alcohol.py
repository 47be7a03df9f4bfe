"""Strength and density against OIML R 22 (1975) and the US Gauging Manual."""

from fractions import Fraction
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from origin_compare import measures
from origin_compare.measures import alcohol
from origin_compare.measures.alcohol import at_temp
from origin_compare.measures.roots import bracketed, poly, root
from tests.measures.published import published


def test_density_holds_to_the_general_formula() -> None:
    table = published("density", "ethanol_density.csv")
    got = measures.ethanol_density(table["abv_pct_at_20c"], table["temp_c"].astype(float))
    assert np.abs(got - table["density_kg_m3"]).max() < 0.001


def test_density_rounds_to_the_printed_tables() -> None:
    table = published("density", "tables.csv")
    got = measures.ethanol_density(table["abv_pct_at_20c"], table["temp_c"])
    assert np.abs(got - table["density_kg_m3"]).max() <= 0.005


@cache
def _terms() -> list[tuple[Fraction, int, int]]:
    table = published("density", "coefficients.csv")
    powers = zip(table["power_of_mass_fraction"], table["power_of_t_less_20"], strict=True)
    return [(Fraction(value), *power) for value, power in zip(table["value"], powers, strict=True)]


def _exact(fraction: Fraction, temp_c: Fraction) -> float:
    return float(
        sum(c * fraction**power * (temp_c - 20) ** warmer for c, power, warmer in _terms())
    )


@pytest.mark.parametrize("temp_c", [-20, -7, 0, 20, 40])
def test_density_is_the_published_polynomial_summed_exactly(temp_c: int) -> None:
    assert len(_terms()) == 54
    for eighths in range(9):
        fraction = Fraction(eighths, 8)
        pure = _exact(Fraction(1), Fraction(20))
        abv = 100 * float(fraction) * _exact(fraction, Fraction(20)) / pure
        got = measures.ethanol_density(min(abv, 100.0), temp_c)
        assert got == pytest.approx(_exact(fraction, Fraction(temp_c)), abs=1e-8)


def test_water_of_both_formulas_nearly_agrees() -> None:
    # OIML R 22 rests on an older water table than Tanaka et al.: up to 0.0073 kg/m3 apart
    temps = np.linspace(0, 40, 41)
    apart = measures.ethanol_density(0, temps) - measures.water_density(temps)
    assert np.abs(apart).max() < 0.0075


def test_strength_of_the_published_densities() -> None:
    table = published("density", "ethanol_density.csv")
    got = measures.abv_from_density(table["density_kg_m3"], table["temp_c"])
    # 0.0005 kg/m3 of rounding is below 0.0005 % vol everywhere but near water
    assert np.abs(got - table["abv_pct_at_20c"]).max() < 0.0005


@given(st.floats(0, 100), st.floats(-20, 40))
def test_strength_goes_to_density_and_back(abv_pct: float, temp_c: float) -> None:
    density = measures.ethanol_density(abv_pct, temp_c)
    assert measures.abv_from_density(density, temp_c) == pytest.approx(abv_pct, abs=1e-8)


@pytest.mark.parametrize("temp_c", [-20.0, -5.0, 0.0, 15.56, 20.0, 40.0])
def test_density_falls_with_strength_at_every_temperature(temp_c: float) -> None:
    density = measures.ethanol_density(np.linspace(0, 100, 5001), temp_c)
    assert (np.diff(density) < 0).all()


def test_many_temperatures_and_one_give_the_same() -> None:
    abv = np.linspace(0, 100, 20_001)
    for temp_c in (-20.0, 7.5, 40.0):
        one = measures.ethanol_density(abv, temp_c)
        temps = np.full_like(abv, temp_c)
        temps[-1] = 20.0  # no longer one temperature: the other path
        many = measures.ethanol_density(abv, temps)
        assert many[:-1] == pytest.approx(one[:-1], abs=1e-9)
        back = measures.abv_from_density(many, temps)
        assert np.abs(back - abv).max() < 1e-8


def test_the_bracketed_way_agrees_with_newtons() -> None:
    # rows that Newton's method leaves unsettled are solved in a bracket; here all of them are
    for temp_c in (-20.0, 40.0):
        coefficients = at_temp(np.array([temp_c]))
        wanted = poly(coefficients, np.linspace(0, 1, 1001))
        far = root(coefficients, wanted, np.full(1001, 0.999))
        assert np.abs(bracketed(coefficients, wanted) - far).max() < 1e-10
        assert np.abs(far - np.linspace(0, 1, 1001)).max() < 1e-10


def test_a_flat_place_in_the_middle_is_got_over_by_halving() -> None:
    flat = np.polynomial.polynomial.polypow([-1.0, 2.0], 9)[:, None]  # (2p - 1)**9
    wanted = np.array([-1.0, -1e-5, 1e-5, 0.9])
    expected = (np.sign(wanted) * np.abs(wanted) ** (1 / 9) + 1) / 2
    assert bracketed(flat, wanted) == pytest.approx(expected, abs=1e-6)


def test_rows_newtons_method_cannot_settle_are_still_solved() -> None:
    # p**9 is flat at 0: from 1 Newton's step shrinks by a ninth only, too slow for the fast way
    coefficients = np.zeros((10, 1))
    coefficients[9] = 1.0
    wanted = np.array([1e-9, 1e-5, 0.5, np.nan, 1.0])
    got = root(coefficients, wanted, np.ones(5))
    assert got == pytest.approx(wanted ** (1 / 9), abs=1e-9, nan_ok=True)


def test_water_as_the_cipm_weighs_it_is_no_fault() -> None:
    assert measures.abv_from_density(998.2067) == pytest.approx(0, abs=1e-9)
    assert measures.abv_from_density(789.2305) == pytest.approx(100.0, abs=1e-9)


def test_mass_fraction_of_forty_per_cent() -> None:
    # 40 x 789.24 / 948.05 / 100, by the definition of strength by volume
    assert measures.mass_fraction(40) == pytest.approx(40 * 789.24 / 948.05 / 100, abs=1e-5)
    assert measures.mass_fraction(0) == 0.0
    assert measures.mass_fraction(100) == pytest.approx(1.0, abs=1e-12)


def test_us_proof_weighs_what_the_gauging_manual_says() -> None:
    strengths = np.linspace(0, 100, 200_001)
    proofs = measures.abv_to_us_proof(strengths)
    pound, gallon_l, air, brass = 0.45359237, 3.785411784, 1.2, 8000.0
    for row in published("proof", "gauging.csv").itertuples():
        abv = float(np.interp(row.us_proof, proofs, strengths))
        in_vacuum = measures.ethanol_density(abv, (60 - 32) / 1.8)
        in_air = (in_vacuum - air) / (1 - air / brass)
        gallons_per_lb = pound / (in_air / 1000 * gallon_l)
        assert gallons_per_lb == pytest.approx(row.wine_gallons_per_lb, rel=3e-4)


def test_strength_at_its_own_reference_is_unchanged() -> None:
    abv = np.linspace(0, 100, 101)
    assert measures.strength_at(abv, 20.0) == pytest.approx(abv, abs=1e-9)
    sixty_f = (60 - 32) / 1.8
    assert measures.strength_at(40, sixty_f) == pytest.approx(39.93, abs=0.005)
    assert measures.abv_to_us_proof(40) == pytest.approx(2 * measures.strength_at(40, sixty_f))


def test_new_make_shrinks_as_the_docstring_says() -> None:
    assert measures.litres_at_20c(1000, 68, 21) == pytest.approx(999.07, abs=0.01)
    assert measures.litres_at_20c(1000, 68, 20) == pytest.approx(1000, abs=1e-9)
    cool, at_20 = measures.ethanol_density(63.5, 10.0), measures.ethanol_density(63.5)
    assert measures.litres_at_20c(500, 63.5, 10) == pytest.approx(500 * cool / at_20)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: measures.ethanol_density(101), "abv_pct: 101 is outside 0 to 100"),
        (lambda: measures.ethanol_density(40, 41), "temp_c: 41 is outside -20 to 40"),
        (
            lambda: measures.abv_from_density(1050),
            "density: 1050 is outside 789.24 to 998.20 kg/m3, ethanol to water at 20 °C",
        ),
        (
            lambda: measures.abv_from_density(np.array([950.0, 0.95]), 10.0),
            "density: 0.95 is outside 797.76 to 999.70 kg/m3, ethanol to water at 10 °C "
            "(place 2 of 2; 1 such in all)",
        ),
        (
            lambda: measures.litres_at_20c(-1, 40, 20),
            "volume_l: -1 is below 0, or not finite",
        ),
    ],
)
def test_what_is_out_of_range_is_named(call, message) -> None:
    with pytest.raises(ValueError) as caught:
        call()
    assert str(caught.value) == message


def test_newtons_search_starts_near_what_it_seeks(monkeypatch: pytest.MonkeyPatch) -> None:
    """From tables of starting points: four steps then suffice, which is what makes it fast."""
    abv = np.linspace(0, 100, 20_001)
    temps = np.resize(np.linspace(-20, 40, 613), abv.shape)
    fraction, density = alcohol.fraction_of(abv), measures.ethanol_density(abv, temps)
    monkeypatch.setattr(alcohol, "root", lambda coefficients, wanted, start: start)
    assert np.abs(alcohol.fraction_of(abv) - fraction).max() < 1e-7
    off = np.abs(measures.abv_from_density(density, temps) - abv)
    # density hardly moves with strength in a narrow corner, cold and weak
    assert np.quantile(off, 0.9) < 0.006 and off.max() < 2
