"""Balling's balance: against measured brews, against mass balance, and its own bounds."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from origin_compare import measures
from tests.measures.published import published

OG, FG = st.floats(1.020, 1.100), st.floats(0.990, 1.060)


def _ethanol_pct_mass(og: float, fg: float) -> float:
    return measures.wash_abv(og, fg) * 789.2391 / (fg * 998.2012)


def test_alcohol_and_real_extract_of_measured_brews() -> None:
    for brews in published("attenuation", "measured_brews.csv").itertuples():
        og = measures.plato_to_sg(brews.original_extract_p)
        fg = measures.plato_to_sg(brews.apparent_extract_p)
        assert measures.real_extract(og, fg) == pytest.approx(brews.real_extract_p, abs=0.2)
        assert _ethanol_pct_mass(og, fg) == pytest.approx(brews.alcohol_pct_mass, abs=0.12)


@given(OG, FG)
def test_ballings_own_equation_is_met(og: float, fg: float) -> None:
    assume(fg <= og)
    alcohol, real = _ethanol_pct_mass(og, fg), measures.real_extract(og, fg)
    wort = 100 * (2.0665 * alcohol + real) / (100 + 1.0665 * alcohol)
    assert wort == pytest.approx(measures.sg_to_plato(og), abs=1e-4)


@given(OG, FG, st.floats(1, 1e6))
def test_extract_in_is_extract_left_plus_extract_fermented(og, fg, litres) -> None:
    assume(fg <= og)
    fermented = measures.extract_fermented_kg(litres, og, fg)
    gas = measures.co2_kg(litres, og, fg)
    ethanol = fermented / 2.0665
    wash_kg = litres * og * 0.9982067 - gas - 0.11 * ethanol
    left = wash_kg * measures.real_extract(og, fg) / 100
    whole = measures.extract_kg(litres, og)
    assert fermented + left == pytest.approx(whole, rel=1e-9, abs=1e-6)
    assert fermented == pytest.approx(ethanol + gas + 0.11 * ethanol, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("og", [1.030, 1.045, 1.065, 1.090])
def test_real_extract_keeps_near_the_additive_density_rule(og: float) -> None:
    # Tabarie: the wash's gravity is that of its extract plus that of its alcohol, less 1
    fg = 1.000
    alcohol = measures.ethanol_density(measures.wash_abv(og, fg)) / 998.2012
    additive = measures.sg_to_plato(fg - alcohol + 1)
    below = additive - measures.real_extract(og, fg)
    assert 0.1 < below < 0.21  # as the docstring says


def test_a_usual_wash() -> None:
    # rule of thumb from memory: 0.13 % vol per degree; 8.7 by Balling's balance
    assert measures.wash_abv(1.065, 1.000) == pytest.approx(65 * 0.13, abs=0.4)
    assert measures.apparent_attenuation(1.055, 0.998) > 1
    share = measures.real_attenuation(1.065, 1.0) / measures.apparent_attenuation(1.065, 1.0)
    assert share == pytest.approx(0.81, abs=0.01)


def test_gas_of_a_usual_wash() -> None:
    # about 60 g carbon dioxide per litre at 8 % vol (own arithmetic: 63 g ethanol x 0.9565)
    fg = 1.000
    og = float(
        np.interp(
            8.0, measures.wash_abv(np.linspace(1.0, 1.1, 1001), fg), np.linspace(1.0, 1.1, 1001)
        )
    )
    assert measures.co2_kg(1.0, og, fg) == pytest.approx(0.060, abs=0.002)


def test_nothing_fermented_is_nothing_made() -> None:
    assert measures.wash_abv(1.065, 1.065) == 0
    assert measures.co2_kg(85_000, 1.065, 1.065) == 0
    assert measures.real_attenuation(1.065, 1.065) == 0
    assert measures.wash_abv(1.065, 1.066) < 0


@given(OG, st.floats(0.990, 1.019), st.floats(0.0001, 0.001))
def test_a_lower_end_means_more_alcohol(og: float, fg: float, drop: float) -> None:
    for measure in (measures.wash_abv, measures.real_attenuation, measures.apparent_attenuation):
        assert measure(og, fg - drop) > measure(og, fg)


def test_limit_gap_in_degrees() -> None:
    assert measures.limit_gap(1.0052, 1.0) == pytest.approx(5.2)
    assert measures.limit_gap(0.998, 0.999) == pytest.approx(-1.0)


@pytest.mark.parametrize(
    "name", ["wash_abv", "real_attenuation", "apparent_attenuation", "real_extract"]
)
def test_an_end_above_the_start_is_named(name: str) -> None:
    measure = getattr(measures, name)
    with pytest.raises(ValueError) as caught:
        measure(1.05, 1.06)
    assert str(caught.value) == (
        "fg_sg: 1.06 is above og_sg 1.05 by more than a reading's error 0.002"
    )
    with pytest.raises(ValueError) as caught:
        measure(pd.Series([1.06, 1.05]), pd.Series([1.0, 1.06]))
    assert str(caught.value) == (
        "fg_sg: 1.06 is above og_sg 1.05 by more than a reading's error 0.002 "
        "(place 2 of 2; 1 such in all)"
    )


def test_water_has_nothing_to_attenuate() -> None:
    with pytest.raises(ValueError) as caught:
        measures.real_attenuation(1.0, 1.0)
    assert str(caught.value) == "og_sg: 1 is outside 1.0001 to 1.140"
