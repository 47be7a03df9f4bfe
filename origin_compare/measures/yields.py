"""What was got out: extract, brewhouse yield, litres of pure alcohol, spirit yield, yeast dose."""

from __future__ import annotations

from typing import Any

import numpy as np

from origin_compare.measures.alcohol import STRENGTH, TEMP, at_temp, fraction_of
from origin_compare.measures.conversions import NEARLY_DRY
from origin_compare.measures.fermenting import WORT_KG_L
from origin_compare.measures.gravity import GRAVITY, plato_of
from origin_compare.measures.roots import in_blocks, poly
from origin_compare.measures.shapes import ABOVE_ZERO, AMOUNT, Many, between, measure

PERCENT = between(0, 100)
LPA_PER_FERMENTABLE_PCT = 6.06
"""L pure alcohol per tonne and per cent fermentable extract: Bringhurst et al., J. Inst. Brew.
102 (1996) 433, which also gives 6.11 for a 450 g mash."""


@measure(wort_l=AMOUNT, sg=GRAVITY)
def extract_kg(wort_l: Any, sg: Any) -> Any:
    """Extract in `wort_l` litres of wort (at 20 °C) of gravity `sg`, kg.

    Volume x gravity x water at 20 °C (0.99821 kg/L, CIPM) x °Plato / 100. One tenth of a degree
    of gravity is 0.15 % of the extract at 1.065; a volume read hot is about 2 % too large at
    64 °C. Raises `ValueError` for a negative volume or a gravity outside 0.980 to 1.140.
    """
    return wort_l * sg * WORT_KG_L * plato_of(sg) / 100


@measure(
    wort_l=AMOUNT, wort_sg=GRAVITY, malt_kg=ABOVE_ZERO, extract_pct_dm=PERCENT, moisture_pct=PERCENT
)
def brewhouse_yield(
    wort_l: Any, wort_sg: Any, malt_kg: Any, extract_pct_dm: Any, moisture_pct: Any
) -> Any:
    """Extract in the wort over the laboratory's extract of the malt mashed, a fraction.

    `extract_pct_dm` on dry matter, `moisture_pct` of the malt as mashed. 0.92 to 0.99 is usual
    (from memory); above 1 a volume, a weight or the laboratory's basis is wrong, or weak worts of
    an earlier mash came in. Raises `ValueError` outside the ranges (per cent 0 to 100, malt above
    0); an extract of 0 gives infinity as numpy does.
    """
    laboratory_kg = malt_kg * (1 - moisture_pct / 100) * extract_pct_dm / 100
    with np.errstate(divide="ignore", invalid="ignore"):
        return (wort_l * wort_sg * WORT_KG_L * plato_of(wort_sg) / 100) / laboratory_kg


@measure(volume_l=AMOUNT, abv_pct=STRENGTH)
def litres_of_alcohol(volume_l: Any, abv_pct: Any) -> Any:
    """Litres of pure alcohol: volume x strength / 100, both at 20 °C (see `litres_at_20c`).

    0.1 % vol is 0.15 % of the alcohol at 65 % vol. Raises `ValueError` for a negative volume or a
    strength outside 0 to 100.
    """
    return volume_l * abv_pct / 100


@measure(volume_l=AMOUNT, abv_pct=STRENGTH, temp_c=TEMP)
def litres_at_20c(volume_l: Any, abv_pct: Any, temp_c: Any) -> Any:
    """Volume at 20 °C of `volume_l` litres measured at `temp_c` (-20 to 40 °C), L.

    The ratio of the densities at `temp_c` and at 20 °C (OIML R 22), `abv_pct` at 20 °C. New make
    of 68 % vol shrinks by 0.09 % per kelvin. The vessel's own growth is left out. Raises
    `ValueError` outside the ranges.
    """

    def solve(volume_l: Many, abv_pct: Many, temp_c: Many) -> Many:
        share = fraction_of(abv_pct)
        now, then = poly(at_temp(temp_c), share), poly(_AT_20, share)
        return volume_l * now / then

    return in_blocks(solve, volume_l, abv_pct, temp_c)


_AT_20 = at_temp(np.array([20.0]))


@measure(lpa=AMOUNT, malt_kg=ABOVE_ZERO)
def spirit_yield(lpa: Any, malt_kg: Any) -> Any:
    """Litres of pure alcohol per tonne of malt. Raises `ValueError` unless malt is above 0.

    Usual 395 to 430 on dry malt (from memory). A batch's own yield is only as good as the share
    of its alcohol that stayed out of the feints.
    """
    return lpa / malt_kg * 1000


@measure(extract_pct_dm=PERCENT, fermentability_pct=PERCENT, moisture_pct=PERCENT)
def predicted_spirit_yield(
    extract_pct_dm: Any, fermentability_pct: Any, moisture_pct: Any = 0.0
) -> Any:
    """Predicted spirit yield, L pure alcohol per tonne: 6.06 per per cent fermentable extract.

    Bringhurst et al., J. Inst. Brew. 102 (1996) 433. On dry matter unless `moisture_pct` is given,
    then per tonne of malt as it is. 79 % extract of 86.5 % fermentability predicts 414. Raises
    `ValueError` outside 0 to 100 %.
    """
    fermentable = extract_pct_dm * fermentability_pct / 100
    return LPA_PER_FERMENTABLE_PCT * fermentable * (1 - moisture_pct / 100)


@measure(lpa=AMOUNT, malt_kg=ABOVE_ZERO, predicted_lpa_t=ABOVE_ZERO, moisture_pct=NEARLY_DRY)
def share_of_predicted(
    lpa: Any, malt_kg: Any, predicted_lpa_t: Any, moisture_pct: Any = 0.0
) -> Any:
    """Spirit yield got over the yield predicted, a fraction, both on one basis.

    `malt_kg` as mashed. A prediction per tonne of dry malt wants the malt's `moisture_pct`; one
    per tonne as it is wants none. Left out by mistake, 4.5 % of moisture is 0.045 of the share.
    0.94 to 1.00 is usual (from memory). Raises `ValueError` unless malt and prediction are above
    0, or for a moisture outside 0 to 99.99.
    """
    return lpa / (malt_kg * (1 - moisture_pct / 100)) * 1000 / predicted_lpa_t


@measure(yeast_kg=AMOUNT, wort_l=ABOVE_ZERO)
def yeast_g_per_l(yeast_kg: Any, wort_l: Any) -> Any:
    """Yeast dose, g per litre of wort. Pressed yeast near 2.8 g/L is common practice, no source.

    Kilograms are not cells: dry matter and viability differ. Raises `ValueError` unless the wort
    is above 0.
    """
    return yeast_kg / wort_l * 1000


@measure(yeast_kg=AMOUNT, malt_kg=ABOVE_ZERO)
def yeast_kg_per_t(yeast_kg: Any, malt_kg: Any) -> Any:
    """Yeast dose, kg per tonne of malt. Pressed 16 to 20 kg/t, dried a quarter (from memory).

    Raises `ValueError` unless the malt is above 0.
    """
    return yeast_kg / malt_kg * 1000
