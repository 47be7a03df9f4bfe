"""Strength and density of ethanol and water: the international alcoholometric formula.

OIML R 22 (1975), the same as the annex of Council Directive 76/766/EEC. Density in kg/m3 of a
mixture of mass fraction p at t °C is a polynomial in p and (t - 20) with 54 coefficients, valid
from -20 to 40 °C (where the mixture is liquid). Strength by volume is at 20 °C.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

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
        0.1693433461530087,
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
_ETHANOL_20C = float(sum(_AT_20C))
_VOLUME = np.concatenate([[0.0], 100 * np.array(_AT_20C) / _ETHANOL_20C])[:, None]
"""Strength in % vol at 20 °C as a polynomial of the mass fraction p: 100 p rho(p) / rho(1)."""

_KNOTS = np.linspace(0.0, 1.0, 513)
STRENGTH = between(0, 100)
TEMP = between(-20, 40)
_BLOCK = 8192  # the working arrays of one block stay in the processor's cache


def _poly(coefficients: Many, at: Many) -> Many:
    value = np.broadcast_to(coefficients[-1], np.broadcast_shapes(coefficients[-1].shape, at.shape))
    value = value.copy()
    for coefficient in coefficients[-2::-1]:
        value *= at
        value += coefficient
    return value


def _slopes(coefficients: Many) -> Many:
    return coefficients[1:] * np.arange(1, len(coefficients))[:, None]


def _root(coefficients: Many, wanted: Many, start: Many) -> Many:
    """Mass fraction in 0..1 where the polynomial, monotone there, takes the value `wanted`.

    Newton's method kept inside a shrinking bracket: a step that leaves it is replaced by halving.
    """
    slopes = _slopes(coefficients)
    low, high = np.zeros_like(wanted), np.ones_like(wanted)
    rises = bool(_poly(slopes, np.asarray(0.5)).ravel()[0] > 0)
    at = start
    for _ in range(60):
        gap = _poly(coefficients, at) - wanted
        too_far = (gap > 0) if rises else (gap < 0)
        low, high = np.where(too_far, low, at), np.where(too_far, at, high)
        step = at - gap / _poly(slopes, at)
        # equality stays: the root may sit on the bracket's end
        step = np.where((step < low) | (step > high), (low + high) / 2, step)
        moved = np.abs(step - at)
        at = step
        if not (moved > 1e-13).any():
            break
    return at


def _blocks(solve: Callable[..., Many], *given: Many) -> Many:
    """`solve` over equally shaped arrays, a block at a time; single numbers pass straight."""
    full = np.broadcast_arrays(*given)
    shape = full[0].shape
    flat = [part.ravel() for part in full]
    out = np.empty(flat[0].size)
    for begin in range(0, out.size, _BLOCK):
        end = begin + _BLOCK
        out[begin:end] = solve(*(part[begin:end] for part in flat))
    return out.reshape(shape)


def _at_temp(temp_c: Many) -> Many:
    """Coefficients of the density as a polynomial of the mass fraction: shape (12, n or 1)."""
    if temp_c.size and np.all(temp_c == temp_c.flat[0]):
        temp_c = temp_c[:1]
    return _poly(_COEFFICIENTS[:, :, None], temp_c - 20.0)


_KNOT_STRENGTH = _poly(_VOLUME, _KNOTS)


def _mass_fraction(abv_pct: Many) -> Many:
    return _root(_VOLUME, abv_pct, np.interp(abv_pct, _KNOT_STRENGTH, _KNOTS))


@measure(abv_pct=STRENGTH)
def mass_fraction(abv_pct: Any) -> Any:
    """Ethanol as a mass fraction (0 to 1) of a strength in % vol at 20 °C, 0 to 100.

    Source: OIML R 22 (1975), Table IVb. 40 % vol is 0.3330. Raises `ValueError` out of range.
    """
    return _blocks(_mass_fraction, abv_pct)


@measure(abv_pct=STRENGTH, temp_c=TEMP)
def ethanol_density(abv_pct: Any, temp_c: Any = 20.0) -> Any:
    """Density, kg/m3, at `temp_c` of ethanol and water whose strength at 20 °C is `abv_pct`.

    Range: 0 to 100 % vol, -20 to 40 °C. Source: general formula of OIML R 22 (1975). At 20 °C:
    water 998.20, 40 % vol 948.05, ethanol 789.24; the tables are given to 0.01 kg/m3. Below 0 °C
    weak mixtures freeze: there the formula only continues the liquid. Raises `ValueError` outside
    the ranges.
    """

    def solve(abv_pct: Many, temp_c: Many) -> Many:
        return _poly(_at_temp(temp_c), _mass_fraction(abv_pct))

    return _blocks(solve, abv_pct, temp_c)


_TABLE_STEP = 0.01  # the tables' own last digit, kg/m3


@measure(density=AMOUNT, temp_c=TEMP)
def abv_from_density(density: Any, temp_c: Any = 20.0) -> Any:
    """Strength in % vol at 20 °C of ethanol and water of `density` kg/m3 at `temp_c`.

    The inverse of `ethanol_density`, to 1e-8 % vol. Range: -20 to 40 °C, and the densities from
    ethanol to water at that temperature; up to 0.01 kg/m3 beyond (the tables' last digit) counts
    as the end itself. Raises `ValueError` outside the ranges.
    """
    density, temp_c = np.broadcast_arrays(density, temp_c)
    _check_density(density, temp_c)

    def solve(density: Many, temp_c: Many) -> Many:
        coefficients = _at_temp(temp_c)
        heavy, light = coefficients[0], coefficients.sum(axis=0)
        wanted = np.clip(density, light, heavy)
        if coefficients.shape[1] == 1:
            start = np.interp(-wanted, -_poly(coefficients, _KNOTS), _KNOTS)
        else:
            start = (heavy - wanted) / (heavy - light)
        return _poly(_VOLUME, _root(coefficients, wanted, start))

    return _blocks(solve, density, temp_c)


def _check_density(density: Many, temp_c: Many) -> None:
    heavy = _poly(_COEFFICIENTS[:, :1], temp_c - 20.0)
    light = _poly(_COEFFICIENTS.sum(axis=1, keepdims=True), temp_c - 20.0)
    outside = (density > heavy + _TABLE_STEP) | (density < light - _TABLE_STEP)
    if outside.any():
        at = int(np.flatnonzero(outside)[0])
        ends = f"{light.ravel()[at]:.2f} to {heavy.ravel()[at]:.2f}"
        why = f"outside {ends} kg/m3, ethanol to water at {np.ravel(temp_c)[at]:g} °C"
        refuse("density", density, outside, why)
