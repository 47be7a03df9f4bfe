"""Gravity: specific gravity 20/20 °C, degrees Plato, density of water, hydrometer readings."""

from __future__ import annotations

from typing import Any

import numpy as np

from origin_compare.measures.roots import in_blocks
from origin_compare.measures.shapes import Many, Span, between, measure

GRAVITY = between(0.980, 1.140, 3)
WATER_TEMP = between(0, 40)

# Degrees Brix from SG 20/20: cubic fitted to NBS Circular C440 (1942), Table 114, rms 0.0009 °Bx.
_PLATO = (182.4601, -775.6821, 1262.7794, -669.5622)
_SLOPE = (3 * _PLATO[0], 2 * _PLATO[1], _PLATO[2])


def plato_of(sg: Many) -> Many:
    """Degrees Plato of SG 20/20 by the cubic above; unchecked, NaN stays NaN."""
    a, b, c, d = _PLATO
    return ((a * sg + b) * sg + c) * sg + d


def plato_slope(sg: Many) -> Many:
    """Degrees Plato per unit of SG: the slope of `plato_of`."""
    a, b, c = _SLOPE
    return (a * sg + b) * sg + c


_LIGHTEST, _HEAVIEST = (float(plato_of(np.asarray(end))) for end in (0.980, 1.140))
# Ends widened by what rounding in the cubic can cost, so that every result can be turned back.
PLATO = Span(
    _LIGHTEST - 1e-9, _HEAVIEST + 1e-9, f"outside {_LIGHTEST:.3f} to {_HEAVIEST:.3f} °Plato"
)


@measure(sg=GRAVITY)
def sg_to_plato(sg: Any) -> Any:
    """Degrees Plato (g extract per 100 g) of a specific gravity 20/20 °C, 0.980 to 1.140.

    The cubic through NBS Circular C440, Table 114 (°Brix; rms of fit 0.0009). It was chosen over
    the ASBC cubic in °Plato because that drifts low past 24 °P; up to 1.100 the two differ by
    0.005 °P at most. SG 1.000 gives -0.005, not exactly 0. Below 1.000 the value is an apparent
    extract, as fermented wash shows. One tenth of a degree of gravity (0.0001 SG) is 0.023 °P at
    1.065, or about 0.013 % vol once fermented. Raises `ValueError` outside the range.
    """
    return plato_of(sg)


@measure(plato=PLATO)
def plato_to_sg(plato: Any) -> Any:
    """Specific gravity 20/20 °C of degrees Plato, the inverse of `sg_to_plato` to 1e-9.

    Range: the Plato values of 0.980 to 1.140, that is -5.273 to 32.253 °P. Solved by Newton's
    method on the same cubic, which rises throughout. Raises `ValueError` outside the range.
    """
    return in_blocks(_sg_of, plato)


def _sg_of(plato: Many) -> Many:
    sg = 1.0 + plato / 250.0
    for _ in range(3):  # the error is 0.011 at most, then 9e-5, 6e-9 and the last digit
        sg = sg - (plato_of(sg) - plato) / plato_slope(sg)
    return np.clip(sg, 0.980, 1.140)


@measure(temp_c=WATER_TEMP)
def water_density(temp_c: Any) -> Any:
    """Density of air-free water, kg/m3, 0 to 40 °C at 101.325 kPa.

    CIPM formula: Tanaka et al., Metrologia 38 (2001) 301, uncertainty below 0.001 kg/m3.
    Gives 998.2067 at 20 °C, where the alcohol tables (`ethanol_density`) hold 998.2012: never
    use the two in one ratio. Raises `ValueError` outside the range.
    """
    warmer = temp_c + 301.797
    return 999.974950 * (1 - (temp_c - 3.983035) ** 2 * warmer / (522528.9 * (temp_c + 69.34881)))


GLASS_PER_K = 25e-6
"""Cubic expansion of a hydrometer's glass: the conventional value of ISO 1768:1975."""


@measure(sg=GRAVITY, temp_c=WATER_TEMP, calibrated_c=WATER_TEMP)
def sg_at_20c(sg: Any, temp_c: Any, calibrated_c: Any = 20.0) -> Any:
    """Gravity 20/20 °C of a hydrometer reading `sg` taken at `temp_c` (0 to 40 °C).

    The hydrometer is of soda glass and reads 1.000 in water at `calibrated_c`: 20 °C, or 15.56
    or 17.5 as older ones do. Its glass grows by 25e-6 per
    kelvin (ISO 1768:1975), the liquid is taken to expand as water does (`water_density`): at
    30 °C a reading gains 2.3 degrees of gravity, at 10 °C it loses 1.2. Wort and wash expand
    a little more than water, so the correction is short by about 0.4 degree at 30 °C, which is
    within a hydrometer's own +/-0.5. A reading already corrected must not be corrected again.
    Raises `ValueError` outside the ranges.
    """
    liquid = _water(calibrated_c) / _water(temp_c)
    return sg * liquid / (1 + GLASS_PER_K * (temp_c - calibrated_c))


_water = water_density.__wrapped__  # type: ignore[attr-defined]
