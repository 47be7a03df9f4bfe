"""Mixing and reduction: mass and alcohol add up, volume contracts."""

import numpy as np
import pytest

from origin_compare.measures import ethanol_density
from origin_compare.vatting import mixed


def test_mass_and_alcohol_add_up() -> None:
    litres, strength = np.array([1000.0, 500.0]), np.array([68.0, 70.5])
    made = mixed(litres, strength, 63.5)
    assert made.litres * 0.635 == pytest.approx(float(litres @ strength) / 100)
    parts_kg = float(litres @ ethanol_density(strength)) / 1000
    assert made.litres * ethanol_density(63.5) / 1000 == pytest.approx(parts_kg + made.water_kg)
    assert made.contraction_l == pytest.approx(1500 + made.water_l - made.litres)
    assert made.contraction_l > 0


def test_nothing_is_added_where_no_strength_is_asked_for() -> None:
    made = mixed(np.array([300.0]), np.array([68.0]), None)
    assert (made.water_l, made.strength_pct) == (0.0, pytest.approx(68.0))
    assert made.litres == pytest.approx(300.0)


def test_water_makes_nothing_stronger() -> None:
    with pytest.raises(ValueError, match=r"68\.00 % vol: water cannot bring it to 70\."):
        mixed(np.array([300.0]), np.array([68.0]), 70.0)
