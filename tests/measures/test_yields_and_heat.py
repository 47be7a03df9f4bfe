"""Yields, doses and heat: worked by hand, and consistent with one another."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from origin_compare import measures


def test_litres_of_alcohol_and_spirit_yield() -> None:
    assert measures.litres_of_alcohol(1000, 68.5) == pytest.approx(685)
    assert measures.spirit_yield(4100, 10_000) == pytest.approx(410)
    assert measures.share_of_predicted(4100, 10_000, 410) == pytest.approx(1)
    # 10 t of malt of 4 % moisture are 9.6 t dry
    assert measures.share_of_predicted(4100, 10_000, 410, 4.0) == pytest.approx(10 / 9.6)


def test_predicted_spirit_yield_by_the_published_factor() -> None:
    # Bringhurst et al., J. Inst. Brew. 102 (1996) 433: 6.06 L per tonne and % fermentable extract;
    # 79 % x 86.5 % = 68.335 % fermentable extract
    assert measures.predicted_spirit_yield(79, 86.5) == pytest.approx(68.335 * 6.06, abs=0.01)
    as_is = measures.predicted_spirit_yield(79, 86.5, 4.5)
    assert as_is == pytest.approx(414.11 * 0.955, abs=0.01)


def test_extract_of_a_tonne_of_wort() -> None:
    # 1000 L of 1.065: 1000 x 1.065 x 0.99821 kg at 15.902 % (NBS C440)
    assert measures.extract_kg(1000, 1.065) == pytest.approx(1063.09 * 0.15902, abs=0.02)


def test_brewhouse_yield_by_hand() -> None:
    extract = measures.extract_kg(50_000, 1.060)
    laboratory = 10_000 * 0.955 * 0.80
    got = measures.brewhouse_yield(50_000, 1.060, 10_000, 80, 4.5)
    assert got == pytest.approx(extract / laboratory)


def test_yeast_doses() -> None:
    # 240 kg to 85,000 L is the common 2.8 g/L (common practice, no source)
    assert measures.yeast_g_per_l(240, 85_000) == pytest.approx(2.82, abs=0.005)
    assert measures.yeast_kg_per_t(180, 10_000) == pytest.approx(18)


def test_cooling_heat_by_hand() -> None:
    mass = 85_000 * 1.065 * 0.9982067
    specific = 4.187 * (1 - 0.006 * 15.902)
    got = measures.cooling_heat_mj(85_000, 1.065, 68, 21)
    assert got == pytest.approx(mass * specific * 47 / 1000, rel=1e-4)
    assert got == pytest.approx(16_090, abs=10)
    assert measures.cooling_heat_mj(85_000, 1.065, 21, 68) == pytest.approx(-got)


def test_fermentation_heat_is_extract_times_its_heat() -> None:
    fermented = measures.extract_fermented_kg(85_000, 1.065, 1.0)
    heat = measures.fermentation_heat_mj(85_000, 1.065, 1.0)
    assert heat == pytest.approx(fermented * 0.586)


def test_warming_agrees_with_the_trades_figure() -> None:
    # 0.25-0.28 K per degree of gravity before losses (own arithmetic of the trade), both +/-15 %
    assert 0.25 < measures.warming_k(1.065, 1.0) / 65 < 0.28 * 1.15


@given(st.floats(21, 45))
def test_heat_to_remove_adds_up(end_c: float) -> None:
    parts = (
        measures.cooling_heat_mj(1000, 1.065, 68, 21)
        + measures.fermentation_heat_mj(1000, 1.065, 1.0)
        - measures.cooling_heat_mj(1000, 1.0, end_c, 21)
    )
    assert measures.heat_to_remove(1000, 1.065, 1.0, 68, 21, end_c) == pytest.approx(parts)


def test_no_heat_to_remove_if_all_of_it_warms_the_wash() -> None:
    warm = 20 + measures.warming_k(1.03, 1.0)
    assert measures.heat_to_remove(1000, 1.03, 1.0, 20, 20, warm) == pytest.approx(0, abs=1e-6)


def test_heat_recovered_by_hand() -> None:
    got = measures.heat_recovered_mj(100_000, 12, 52)
    assert got == pytest.approx(100_000 * 0.9982067 * 4.187 * 40 / 1000)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: measures.spirit_yield(100, 0), "malt_kg: 0 is not above 0, or not finite"),
        (lambda: measures.spirit_yield(-1, 10), "lpa: -1 is below 0, or not finite"),
        (lambda: measures.litres_of_alcohol(1, 100.5), "abv_pct: 100.5 is outside 0 to 100"),
        (lambda: measures.yeast_g_per_l(1, np.inf), "wort_l: inf is not above 0, or not finite"),
        (lambda: measures.cooling_heat_mj(1, 1.06, 154, 70), "from_c: 154 is outside 0 to 100"),
        (
            lambda: measures.predicted_spirit_yield(305, 86),
            "extract_pct_dm: 305 is outside 0 to 100",
        ),
    ],
)
def test_what_is_out_of_range_is_named(call, message) -> None:
    with pytest.raises(ValueError) as caught:
        call()
    assert str(caught.value) == message
