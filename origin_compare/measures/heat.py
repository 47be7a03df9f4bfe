"""Heat: cooling the wort from kettle side to pitch, what fermenting gives off, what is won back."""

from __future__ import annotations

from typing import Any

import numpy as np

from origin_compare.measures.fermenting import (
    EXTRACT_PER_ETHANOL,
    WORT_KG_L,
    check_fell,
    ethanol_per_wort,
)
from origin_compare.measures.gravity import GRAVITY, plato_of
from origin_compare.measures.shapes import AMOUNT, Many, between, measure

LIQUOR_TEMP = between(0, 100)
WATER_KJ_KG_K = 4.187
LESS_PER_PLATO = 0.006
"""Fall of the specific heat per °Plato, as a share: Hugot, Handbook of Cane Sugar Engineering
(from memory); 3.79 kJ/(kg K) at 15.9 °P. Good to about 1 %."""

FERMENTING_KJ_KG = 586.0
"""Heat per kg of extract fermented: 140 kcal/kg, the figure in use in breweries (252 BTU/lb;
from memory). Glucose to ethanol and gas alone gives 400 to 550, and 1,217 kJ/kg found in one
textbook is an outlier: take it as good to 15 %."""


def _heat_capacity_kj_k(wort_l: Many, sg: Many) -> Many:
    specific = WATER_KJ_KG_K * (1 - LESS_PER_PLATO * plato_of(sg))
    return wort_l * sg * WORT_KG_L * specific


@measure(wort_l=AMOUNT, sg=GRAVITY, from_c=LIQUOR_TEMP, to_c=LIQUOR_TEMP)
def cooling_heat_mj(wort_l: Any, sg: Any, from_c: Any, to_c: Any) -> Any:
    """Heat to remove, MJ, to bring `wort_l` litres (at 20 °C) from `from_c` to `to_c`.

    Mass x specific heat x temperature fall; negative if it must be warmed. Specific heat
    4.187 (1 - 0.006 °P) kJ/(kg K), good to about 1 %. 85,000 L of 1.065 from 68 to 21 °C (common
    practice, no source) is 16,090 MJ. Raises `ValueError` for a negative volume, a gravity
    outside 0.980 to 1.140 or temperatures outside 0 to 100 °C.
    """
    return _heat_capacity_kj_k(wort_l, sg) * (from_c - to_c) / 1000


@measure(wort_l=AMOUNT, og_sg=GRAVITY, fg_sg=GRAVITY)
def fermentation_heat_mj(wort_l: Any, og_sg: Any, fg_sg: Any) -> Any:
    """Heat given off, MJ, by `wort_l` litres fermented from og to fg: 586 kJ per kg of extract.

    Extract by Balling (`extract_fermented_kg`). Good to about 15 %, which is the spread of the
    published heats. Ranges and errors as `co2_kg`.
    """
    return _fermentation_kj(wort_l, og_sg, fg_sg) / 1000


def _fermentation_kj(wort_l: Many, og_sg: Many, fg_sg: Many) -> Many:
    check_fell(og_sg, fg_sg)
    ethanol_kg = wort_l * og_sg * WORT_KG_L * ethanol_per_wort(og_sg, fg_sg)
    return FERMENTING_KJ_KG * EXTRACT_PER_ETHANOL * ethanol_kg


@measure(og_sg=GRAVITY, fg_sg=GRAVITY)
def warming_k(og_sg: Any, fg_sg: Any) -> Any:
    """Rise of temperature, K, from og to fg if no heat were lost.

    About 0.30 K per degree of gravity with the heat used here, good to about 15 %.
    Ranges and errors as `co2_kg`.
    """
    litre = np.asarray(1.0)
    return _fermentation_kj(litre, og_sg, fg_sg) / _heat_capacity_kj_k(litre, fg_sg)


@measure(
    wort_l=AMOUNT,
    og_sg=GRAVITY,
    fg_sg=GRAVITY,
    kettle_c=LIQUOR_TEMP,
    pitch_c=LIQUOR_TEMP,
    end_c=LIQUOR_TEMP,
)
def heat_to_remove(
    wort_l: Any, og_sg: Any, fg_sg: Any, kettle_c: Any, pitch_c: Any, end_c: Any
) -> Any:
    """All heat, MJ, to take from a batch: wort from `kettle_c` to `pitch_c`, then of fermenting.

    What warms the wash from pitch to `end_c` stays in it and is taken off. Losses to the room are
    counted as removed. Sources and precision as `cooling_heat_mj` and `fermentation_heat_mj`,
    whose ranges and errors hold.
    """
    check_fell(og_sg, fg_sg)
    cooling = _heat_capacity_kj_k(wort_l, og_sg) * (kettle_c - pitch_c)
    kept = _heat_capacity_kj_k(wort_l, fg_sg) * (end_c - pitch_c)
    return (cooling + _fermentation_kj(wort_l, og_sg, fg_sg) - kept) / 1000


@measure(water_l=AMOUNT, from_c=LIQUOR_TEMP, to_c=LIQUOR_TEMP)
def heat_recovered_mj(water_l: Any, from_c: Any, to_c: Any) -> Any:
    """Heat won back, MJ, in `water_l` litres of cooling water warmed from `from_c` to `to_c`.

    4.187 kJ/(kg K) at 0.99821 kg/L. Raises `ValueError` outside 0 to 100 °C or for negative
    volumes.
    """
    return water_l * WORT_KG_L * WATER_KJ_KG_K * (to_c - from_c) / 1000
