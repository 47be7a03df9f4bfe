"""Strength and density of ethanol and water: the international alcoholometric formula.

OIML R 22 (1975), the same as the annex of Council Directive 76/766/EEC. Density in kg/m3 of a
mixture of mass fraction p at t °C is a polynomial in p and (t - 20) with 54 coefficients, valid
from -20 to 40 °C (where the mixture is liquid). Strength by volume is at 20 °C.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from origin_compare.measures.roots import bracketed, in_blocks, poly, root
from origin_compare.measures.shapes import AMOUNT, Many, between, measure, refuse

_AT_20C = (
    998.20123,
    -192.9769495,
    389.1238958,
    -1668.103923,
    13522.15441,
    -88292.78388,
    306287.4042,
    -613838.1234,
    747017.2998,
    -547846.1354,
    223446.0334,
    -39032.85426,
)
"""A1 to A12: powers 0 to 11 of the mass fraction."""

_WATER = (
    -0.20618513,
    -0.0052682542,
    3.6130013e-5,
    -3.8957702e-7,
    7.1693540e-9,
    -9.9739231e-11,
)
"""B1 to B6: powers 1 to 6 of (t - 20)."""

_MIXED = (
    (
        0.1693443461530087,
        -10.46914743455169,
        71.96353469546523,
        -704.7478054272792,
        3924.090430035045,
        -12101.64659068747,
        22486.46550400788,
        -26055.62982188164,
        18523.73922069467,
        -7420.201433430137,
        1285.617841998974,
    ),
    (
        -0.01193013005057010,
        0.2517399633803461,
        -2.170575700536993,
        13.53034988843029,
        -50.29988758547014,
        109.6355666577570,
        -142.2753946421155,
        108.0435942856230,
        -44.14153236817392,
        7.442971530188783,
    ),
    (
        -6.802995733503803e-4,
        0.01876837790289664,
        -0.2002561813734156,
        1.022992966719220,
        -2.895696483903638,
        4.810060584300675,
        -4.672147440794683,
        2.458043105903461,
        -0.5411227621436812,
    ),
    (
        4.075376675622027e-6,
        -8.763058573471110e-6,
        6.515031360099368e-6,
        -1.515784836987210e-6,
    ),
    (-2.788074354782409e-8, 1.345612883493354e-8),
)
"""C(i, k): row i is the power of (t - 20), place k that of the mass fraction."""


def _table() -> Many:
    table = np.zeros((7, 12))
    table[0] = _AT_20C
    table[1:, 0] = _WATER
    for power, row in enumerate(_MIXED, start=1):
        table[power, 1 : 1 + len(row)] = row
    return table


_COEFFICIENTS = _table()
WATER_20C = _AT_20C[0]
"""kg/m3 of water at 20 °C in these tables."""
ETHANOL_20C = float(sum(_AT_20C))
"""kg/m3 of ethanol at 20 °C in these tables: 789.24."""

_VOLUME = np.concatenate([[0.0], 100 * np.array(_AT_20C) / ETHANOL_20C])[:, None]
"""Strength in % vol at 20 °C as a polynomial of the mass fraction p: 100 p rho(p) / rho(1)."""

STRENGTH = between(0, 100)
TEMP = between(-20, 40)
_TABLE_STEP = 0.01  # the tables' own last digit, kg/m3


def at_temp(temp_c: Many) -> Many:
    """Coefficients of the density as a polynomial of the mass fraction: shape (12, n or 1).

    `temp_c` is flat; one column serves all rows where all have one temperature.
    """
    if temp_c.size and (temp_c == temp_c[0]).all():
        temp_c = temp_c[:1]
    powers = np.empty((7, temp_c.size))
    powers[0] = 1.0
    np.subtract(temp_c, 20.0, out=powers[1])
    for power in range(2, 7):
        np.multiply(powers[power - 1], powers[1], out=powers[power])
    return _COEFFICIENTS.T @ powers


# Starting points for Newton's method: the mass fraction at evenly spaced strengths, and at evenly
# spaced places between water (0) and ethanol (1) in density, for every second degree.
_STRENGTHS = 4096
_PLACES, _TEMPS, _TEMP_STEP = 512, 30, 2.0


@cache
def _strength_table() -> Many:
    return bracketed(_VOLUME, np.linspace(0, 100, _STRENGTHS + 1))


@cache
def _density_table() -> Many:
    """Mass fraction by temperature (31) and place between water and ethanol (513), flat."""
    rows = []
    for temp_c in np.linspace(-20, 40, _TEMPS + 1):
        coefficients = at_temp(np.array([temp_c]))
        heavy, light = coefficients[0], coefficients.sum(axis=0)
        places = np.linspace(0, 1, _PLACES + 1)
        rows.append(bracketed(coefficients, heavy + places * (light - heavy)))
    return np.concatenate(rows)


def _cell(place: Many, cells: int) -> tuple[np.ndarray[Any, np.dtype[np.intp]], Many]:
    """Which cell of an even grid a place (in cells) lies in, and how far into it."""
    cell = np.nan_to_num(place).astype(np.intp)
    np.clip(cell, 0, cells - 1, out=cell)
    return cell, place - cell


def fraction_of(abv_pct: Many) -> Many:
    """Mass fraction of flat strengths in % vol at 20 °C, already checked."""
    table = _strength_table()
    cell, into = _cell(abv_pct * (_STRENGTHS / 100), _STRENGTHS)
    below = table[cell]
    return root(_VOLUME, abv_pct, below + into * (table[cell + 1] - below))


def _start(place: Many, temp_c: Many) -> Many:
    table = _density_table()
    cell, into = _cell(place * _PLACES, _PLACES)
    row, down = _cell((temp_c + 20.0) / _TEMP_STEP, _TEMPS)
    at = row * (_PLACES + 1) + cell
    upper = table[at] + into * (table[at + 1] - table[at])
    at += _PLACES + 1
    lower = table[at] + into * (table[at + 1] - table[at])
    return np.clip(upper + down * (lower - upper), 0.0, 1.0)


@measure(abv_pct=STRENGTH)
def mass_fraction(abv_pct: Any) -> Any:
    """Ethanol as a mass fraction (0 to 1) of a strength in % vol at 20 °C, 0 to 100.

    Source: OIML R 22 (1975), Table IVb. 40 % vol is 0.3330. Raises `ValueError` out of range.
    """
    return in_blocks(fraction_of, abv_pct)


@measure(fraction=between(0, 1))
def abv_from_mass_fraction(fraction: Any) -> Any:
    """Strength in % vol at 20 °C of a mass fraction of ethanol, 0 to 1.

    The inverse of `mass_fraction`; source as there. Raises `ValueError` out of range.
    """
    return in_blocks(lambda fraction: poly(_VOLUME, fraction), fraction)


@measure(abv_pct=STRENGTH, temp_c=TEMP)
def ethanol_density(abv_pct: Any, temp_c: Any = 20.0) -> Any:
    """Density, kg/m3, at `temp_c` of ethanol and water whose strength at 20 °C is `abv_pct`.

    Range: 0 to 100 % vol, -20 to 40 °C. Source: general formula of OIML R 22 (1975). At 20 °C:
    water 998.20, 40 % vol 948.05, ethanol 789.24; the tables are given to 0.01 kg/m3. Below 0 °C
    weak mixtures freeze: there the formula only continues the liquid. Raises `ValueError` outside
    the ranges.
    """

    def solve(abv_pct: Many, temp_c: Many) -> Many:
        return poly(at_temp(temp_c), fraction_of(abv_pct))

    return in_blocks(solve, abv_pct, temp_c)


@measure(density=AMOUNT, temp_c=TEMP)
def abv_from_density(density: Any, temp_c: Any = 20.0) -> Any:
    """Strength in % vol at 20 °C of ethanol and water of `density` kg/m3 at `temp_c`.

    The inverse of `ethanol_density`, to 1e-8 % vol. Range: -20 to 40 °C, and the densities from
    ethanol to water at that temperature; up to 0.01 kg/m3 beyond (the tables' last digit) counts
    as the end itself. Raises `ValueError` outside the ranges.
    """
    whole, temps = np.broadcast_arrays(density, temp_c)

    def solve(density: Many, temp_c: Many) -> Many:
        coefficients = at_temp(temp_c)
        heavy, light = coefficients[0], coefficients.sum(axis=0)
        if ((density > heavy + _TABLE_STEP) | (density < light - _TABLE_STEP)).any():
            _refuse_density(whole, temps)
        wanted = np.clip(density, light, heavy)
        start = _start((heavy - wanted) / (heavy - light), temp_c)
        return poly(_VOLUME, root(coefficients, wanted, start))

    return in_blocks(solve, density, temp_c)


def _refuse_density(density: Many, temp_c: Many) -> None:
    """Name the first density outside, seen among all rows and not only its block's."""
    warmer = np.ravel(temp_c) - 20.0
    heavy = poly(_COEFFICIENTS[:, :1], warmer).reshape(density.shape)
    light = poly(_COEFFICIENTS.sum(axis=1, keepdims=True), warmer).reshape(density.shape)
    outside = (density > heavy + _TABLE_STEP) | (density < light - _TABLE_STEP)
    at = int(np.flatnonzero(outside)[0])
    ends = f"{light.ravel()[at]:.2f} to {heavy.ravel()[at]:.2f}"
    why = f"outside {ends} kg/m3, ethanol to water at {np.ravel(temp_c)[at]:g} °C"
    refuse("density", density, outside, why)
