"""Strength after mixing and after reduction with water: mass adds up, volume contracts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from origin_compare.measures import abv_from_mass_fraction, ethanol_density, mass_fraction

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Mixed:
    """A mix at 20 °C. `litres` and `strength_pct` after water; `as_mixed_pct` before it.

    `water_l`, `water_kg`: to add. `contraction_l`: by how much the parts and the water together
    are more than what they make.
    """

    litres: float
    strength_pct: float
    as_mixed_pct: float
    water_l: float
    water_kg: float
    contraction_l: float


def kg_per_lpa(strength_pct: Floats | float) -> Floats:
    """Mass of spirit that holds one litre of pure alcohol at 20 °C. Densities: OIML R 22."""
    strength = np.asarray(strength_pct, dtype=float)
    return np.asarray(ethanol_density(strength)) * 100 / strength / 1.0e3


def mixed(litres: Floats, strength_pct: Floats, wanted_pct: float | None) -> Mixed:
    """What parts of those litres and strengths make, brought to `wanted_pct` with water.

    Litres at 20 °C, strengths in % vol. Raises `ValueError` if the mix is weaker than wanted.
    """
    lpa = float(litres @ strength_pct) / 100
    parts_kg = litres * np.asarray(ethanol_density(strength_pct)) / 1.0e3
    mass = float(parts_kg.sum())
    as_mixed = float(abv_from_mass_fraction(parts_kg @ mass_fraction(strength_pct) / mass))
    if wanted_pct is None:
        final, water_kg = as_mixed, 0.0
    else:
        if wanted_pct > as_mixed + 1e-6:
            raise ValueError(
                f"The mix has {as_mixed:.2f} % vol: water cannot bring it to {wanted_pct:g}."
            )
        final = wanted_pct
        water_kg = max(lpa * float(kg_per_lpa(wanted_pct)) - mass, 0.0)
    made = lpa / final * 100
    water_l = water_kg / float(ethanol_density(0.0)) * 1.0e3
    return Mixed(made, final, as_mixed, water_l, water_kg, float(litres.sum()) + water_l - made)
