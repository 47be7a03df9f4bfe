"""What fermenting did: real extract, attenuation, strength of the wash and carbon dioxide.

Balling's balance: 2.0665 g of extract give 1 g ethanol, 0.9565 g carbon dioxide and 0.11 g yeast
(C. J. N. Balling, Die Gährungschemie, 1845-1865; as restated in De Clerck, A Textbook of
Brewing). All gravities are SG 20/20 °C; correct a warm reading first (`sg_at_20c`).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from origin_compare.measures.alcohol import ETHANOL_20C, WATER_20C
from origin_compare.measures.gravity import GRAVITY, plato_of
from origin_compare.measures.shapes import AMOUNT, Many, Span, measure, refuse

EXTRACT_PER_ETHANOL = 2.0665
CO2_PER_ETHANOL = 0.9565
YEAST_PER_ETHANOL = 0.11
_LOST = EXTRACT_PER_ETHANOL - 1  # leaves the wash as gas and yeast, g per g ethanol
_APPARENT_SHARE = 0.8192
WORT_KG_L = 0.9982067
"""kg per litre and unit of SG 20/20: CIPM water at 20 °C (Tanaka et al. 2001)."""

WORT = Span(1.0001, 1.140, "outside 1.0001 to 1.140")
"""Original gravities of which a share can be taken; below 1.010 it means little."""


def check_fell(og_sg: Many, fg_sg: Many) -> None:
    """Refuse a final gravity above the original one by more than 0.002, a reading's error.

    Raises `OutOfRange` naming the first such pair.
    """
    og_sg, fg_sg = np.broadcast_arrays(og_sg, fg_sg)
    above = fg_sg > og_sg + 0.002
    if above.any():
        og = og_sg.ravel()[int(np.flatnonzero(above)[0])]
        refuse("fg_sg", fg_sg, above, f"above og_sg {og:.10g} by more than a reading's error 0.002")


def _real_extract(og_sg: Many, fg_sg: Many) -> Many:
    return (1 - _APPARENT_SHARE) * plato_of(og_sg) + _APPARENT_SHARE * plato_of(fg_sg)


def _ethanol_pct_mass(og_sg: Many, fg_sg: Many) -> Many:
    """g ethanol per 100 g wash: from p = 100 (2.0665 A + n) / (100 + 1.0665 A), solved for A."""
    wort = plato_of(og_sg)
    left = _real_extract(og_sg, fg_sg)
    return (wort - left) / (EXTRACT_PER_ETHANOL - _LOST / 100 * wort)


def ethanol_per_wort(og_sg: Many, fg_sg: Many) -> Many:
    """kg ethanol per kg of wort pitched; 100 g wash come from 100 + 1.0665 A g wort."""
    strength = _ethanol_pct_mass(og_sg, fg_sg)
    return strength / (100 + _LOST * strength)


@measure(og_sg=GRAVITY, fg_sg=GRAVITY)
def real_extract(og_sg: Any, fg_sg: Any) -> Any:
    """Real extract of the wash, °Plato: 0.1808 of the original and 0.8192 of the apparent extract.

    The hydrometer reads low because of the alcohol. Balling's attenuation factor in its usual
    constant form (De Clerck; from memory). It lies 0.1 to 0.2 °P below the additive density rule
    (Tabarie) and below the means of 532 measured brews (Cutaia, Reid and Speers, J. Inst. Brew.
    115 (2009) 318), so a real attenuation is high by about 0.01. `fg_sg` may lie up to 0.002
    above `og_sg` (reading error).
    Raises `ValueError` outside 0.980 to 1.140, or where `fg_sg` is further above `og_sg`.
    """
    check_fell(og_sg, fg_sg)
    return _real_extract(og_sg, fg_sg)


@measure(og_sg=WORT, fg_sg=GRAVITY)
def apparent_attenuation(og_sg: Any, fg_sg: Any) -> Any:
    """Share of the extract (°Plato) gone by the hydrometer, a fraction; above 1 is legitimate.

    (original - apparent extract) / original extract. One tenth of a degree of gravity in `fg_sg`
    is 0.0016 at 1.065. Raises `ValueError` for `og_sg` outside 1.0001 to 1.140, `fg_sg` outside
    0.980 to 1.140 or more than 0.002 above `og_sg`.
    """
    check_fell(og_sg, fg_sg)
    wort = plato_of(og_sg)
    return (wort - plato_of(fg_sg)) / wort


@measure(og_sg=WORT, fg_sg=GRAVITY)
def real_attenuation(og_sg: Any, fg_sg: Any) -> Any:
    """Share of the extract gone once the alcohol is allowed for, a fraction.

    (original - real extract) / original extract, both °Plato: 0.8192 of the apparent one. The
    same ranges and errors as `apparent_attenuation`.
    """
    check_fell(og_sg, fg_sg)
    wort = plato_of(og_sg)
    return (wort - _real_extract(og_sg, fg_sg)) / wort


@measure(og_sg=GRAVITY, fg_sg=GRAVITY)
def wash_abv(og_sg: Any, fg_sg: Any) -> Any:
    """Strength of the wash, % vol at 20 °C, by Balling from original and final gravity.

    Mass per cent (original - real extract) / (2.0665 - 0.010665 original), made volume with the
    wash's own gravity and the ethanol density of OIML R 22. One tenth of a degree of gravity is
    0.013 % vol; against the means of 532 measured brews (Cutaia, Reid and Speers, J. Inst. Brew.
    115 (2009) 318) the method is off by up to 0.11 % mass, 0.14 % vol, and a wash with much growth
    of bacteria does not keep Balling's proportions at all. `fg_sg` up to 0.002 above `og_sg`
    gives the slightly negative strength the reading error implies. Raises `ValueError` outside
    0.980 to 1.140 or where `fg_sg` is further above `og_sg`.
    """
    check_fell(og_sg, fg_sg)
    return _ethanol_pct_mass(og_sg, fg_sg) * fg_sg * WATER_20C / ETHANOL_20C


@measure(wort_l=AMOUNT, og_sg=GRAVITY, fg_sg=GRAVITY)
def co2_kg(wort_l: Any, og_sg: Any, fg_sg: Any) -> Any:
    """Carbon dioxide given off, kg, by `wort_l` litres (20 °C) fermented from og to fg.

    0.9565 g per g of ethanol (Balling); at 20 °C and 1 atm a kilogram is about 0.55 m3 of gas.
    What stays dissolved (about 1.5 g/L) is counted in. Good to about 2 %. Raises `ValueError` for
    a negative volume, gravities outside 0.980 to 1.140, or `fg_sg` more than 0.002 above `og_sg`.
    """
    check_fell(og_sg, fg_sg)
    wort_kg = wort_l * og_sg * WORT_KG_L
    return wort_kg * ethanol_per_wort(og_sg, fg_sg) * CO2_PER_ETHANOL


@measure(wort_l=AMOUNT, og_sg=GRAVITY, fg_sg=GRAVITY)
def extract_fermented_kg(wort_l: Any, og_sg: Any, fg_sg: Any) -> Any:
    """Extract the yeast turned into ethanol, gas and yeast, kg (Balling: 2.0665 per g ethanol).

    Ranges and errors as `co2_kg`.
    """
    check_fell(og_sg, fg_sg)
    wort_kg = wort_l * og_sg * WORT_KG_L
    return wort_kg * ethanol_per_wort(og_sg, fg_sg) * EXTRACT_PER_ETHANOL


@measure(fg_sg=GRAVITY, limit_sg=GRAVITY)
def limit_gap(fg_sg: Any, limit_sg: Any) -> Any:
    """Degrees of gravity (0.001 SG) the batch stayed above its bench limit test.

    Above 3 to 5 the yeast did not get where the wort could go; near 0 with a high `fg_sg` the
    wort itself could go no lower (judgement, no source). Two hydrometer readings differ by up to
    0.7 degree by their own error. Negative where the batch went below the test. Raises
    `ValueError` outside 0.980 to 1.140.
    """
    return (fg_sg - limit_sg) * 1000
