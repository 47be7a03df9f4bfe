"""Units of the trade, each into the one the package computes in, and back."""

from __future__ import annotations

from typing import Any

import numpy as np

from origin_compare.measures.alcohol import STRENGTH, TEMP, at_temp, fraction_of
from origin_compare.measures.gravity import GRAVITY, plato_to_sg, sg_to_plato
from origin_compare.measures.roots import in_blocks, poly
from origin_compare.measures.shapes import AMOUNT, Many, OutOfRange, Span, between, measure

PERCENT = between(0, 100)
NEARLY_DRY = Span(0, 99.99, "outside 0 to 99.99")
FAHRENHEIT = Span(-459.67, 1e6, "below -459.67 °F")
CELSIUS = Span(-273.15, 1e6, "below -273.15 °C")
GRAVITY_UNITS = ("sg", "sg1000", "degrees", "plato")
"""1.0652, 1065.2, 65.2 and 15.95 are the same wort in these units."""


def gravity_to_sg(value: Any, unit: str) -> Any:
    """Specific gravity 20/20 °C of a number in `unit`, one of `GRAVITY_UNITS`.

    `sg` 1.0652, `sg1000` 1065.2, `degrees` 65.2 (excess over 1000, -2 for 0.998), `plato` 15.95.
    The unit is never guessed. Raises `ValueError` for another unit, or a value outside what
    0.980 to 1.140 is in that unit.
    """
    if unit not in _INTO_SG:
        raise OutOfRange(f"unit: {unit!r} is not one of {', '.join(GRAVITY_UNITS)}")
    return _INTO_SG[unit](value)


def sg_to_gravity(sg: Any, unit: str) -> Any:
    """A specific gravity in `unit`, the inverse of `gravity_to_sg`, with the same errors."""
    if unit not in _OUT_OF_SG:
        raise OutOfRange(f"unit: {unit!r} is not one of {', '.join(GRAVITY_UNITS)}")
    return _OUT_OF_SG[unit](sg)


@measure(value=GRAVITY)
def _plain(value: Any) -> Any:
    return value


@measure(value=between(980, 1140))
def _from_thousand(value: Any) -> Any:
    return value / 1000


@measure(value=between(-20, 140))
def _from_degrees(value: Any) -> Any:
    return 1 + value / 1000


@measure(value=GRAVITY)
def _to_thousand(value: Any) -> Any:
    return value * 1000


@measure(value=GRAVITY)
def _to_degrees(value: Any) -> Any:
    return (value - 1) * 1000


_INTO_SG = {
    "sg": _plain,
    "sg1000": _from_thousand,
    "degrees": _from_degrees,
    "plato": plato_to_sg,
}
_OUT_OF_SG = {
    "sg": _plain,
    "sg1000": _to_thousand,
    "degrees": _to_degrees,
    "plato": sg_to_plato,
}


@measure(temp_f=FAHRENHEIT)
def f_to_c(temp_f: Any) -> Any:
    """°C of °F: (F - 32) / 1.8. A temperature, not a difference. `ValueError` below -459.67."""
    return (temp_f - 32) / 1.8


@measure(temp_c=CELSIUS)
def c_to_f(temp_c: Any) -> Any:
    """°F of °C: 1.8 C + 32. Raises `ValueError` below -273.15."""
    return temp_c * 1.8 + 32


N_TO_PROTEIN = 6.25
"""Barley and malt by convention; wheat is reckoned with 5.7."""


@measure(protein_pct=PERCENT)
def protein_to_n(protein_pct: Any) -> Any:
    """Nitrogen, %, of a protein content: / 6.25, on the same moisture basis.

    Raises `ValueError` outside 0 to 100.
    """
    return protein_pct / N_TO_PROTEIN


@measure(n_pct=between(0, 16))
def n_to_protein(n_pct: Any) -> Any:
    """Protein, %, of a nitrogen content: x 6.25, on the same moisture basis.

    Raises `ValueError` outside 0 to 16.
    """
    return n_pct * N_TO_PROTEIN


@measure(as_is_pct=PERCENT, moisture_pct=NEARLY_DRY)
def as_is_to_dm(as_is_pct: Any, moisture_pct: Any) -> Any:
    """A share of the grain as it is, made one of its dry matter: x 100 / (100 - moisture).

    0.1 point of moisture is 0.08 point of an 80 % extract. Raises `ValueError` outside 0 to 100.
    """
    return as_is_pct * 100 / (100 - moisture_pct)


@measure(dm_pct=PERCENT, moisture_pct=NEARLY_DRY)
def dm_to_as_is(dm_pct: Any, moisture_pct: Any) -> Any:
    """A share of the dry matter, made one of the grain as it is: x (100 - moisture) / 100.

    Raises `ValueError` outside 0 to 100.
    """
    return dm_pct * (100 - moisture_pct) / 100


@measure(per_t=AMOUNT, moisture_pct=NEARLY_DRY)
def per_t_dry(per_t: Any, moisture_pct: Any) -> Any:
    """Litres (or anything) per tonne as it is, made per tonne of its dry matter.

    x 100 / (100 - moisture). 0.1 point of moisture is 0.4 L of a yield of 400 L per tonne. Raises
    `ValueError` for a negative amount or a moisture outside 0 to 99.99.
    """
    return per_t * 100 / (100 - moisture_pct)


@measure(mass=AMOUNT, moisture_pct=NEARLY_DRY, wanted_pct=NEARLY_DRY)
def at_moisture(mass: Any, moisture_pct: Any, wanted_pct: Any) -> Any:
    """Grain (kg, t or t/ha) of `moisture_pct`, as it would weigh at `wanted_pct`, same dry matter.

    x (100 - moisture) / (100 - wanted). A point of moisture is 1.2 % of the weight. Raises
    `ValueError` for a negative mass or a moisture outside 0 to 99.99.
    """
    return mass * (100 - moisture_pct) / (100 - wanted_pct)


L_DEG_KG_PER_PCT = 3.86
"""Litre-degrees per kg in one per cent of extract; from memory, 305 L deg/kg is about 79 %."""


@measure(l_deg_kg=between(0, 386))
def l_deg_kg_to_pct(l_deg_kg: Any) -> Any:
    """Extract in litre-degrees per kg as %, / 3.86 (from memory); the basis stays.

    Good to about 0.3 point: the laboratories' methods behind the two units differ. Raises
    `ValueError` outside 0 to 386.
    """
    return l_deg_kg / L_DEG_KG_PER_PCT


@measure(extract_pct=PERCENT)
def pct_to_l_deg_kg(extract_pct: Any) -> Any:
    """Extract in % as litre-degrees per kg, x 3.86 (from memory). `ValueError` outside 0 to 100."""
    return extract_pct * L_DEG_KG_PER_PCT


_AT_60F = np.array([(60 - 32) / 1.8])


def _strength_at(abv_pct: Many, temp_c: Many) -> Many:
    share = fraction_of(abv_pct)
    coefficients = at_temp(temp_c)
    return 100 * share * poly(coefficients, share) / coefficients.sum(axis=0)


@measure(abv_pct=STRENGTH, temp_c=TEMP)
def strength_at(abv_pct: Any, temp_c: Any) -> Any:
    """Strength by volume at another reference temperature of spirit of `abv_pct` at 20 °C.

    OIML R 22 (1975). At 60 °F spirit of 40 % vol is 39.93. `ValueError` outside 0 to 100 %,
    -20 to 40 °C.
    """
    return in_blocks(_strength_at, abv_pct, temp_c)


@measure(abv_pct=STRENGTH)
def abv_to_us_proof(abv_pct: Any) -> Any:
    """US proof (twice the strength by volume at 60 °F) of % vol at 20 °C.

    OIML R 22 (1975). Raises `ValueError` outside 0 to 100.
    """
    return in_blocks(lambda part: 2 * _strength_at(part, _AT_60F), abv_pct)


UK_PROOF_ABV = 57.06
"""% vol of British proof spirit (27 CFR 19.1 and own arithmetic); 70 proof is 40 %."""


@measure(uk_proof=between(0, 175))
def uk_proof_to_abv(uk_proof: Any) -> Any:
    """% vol of British degrees proof: x 0.5706, good to 0.1 % vol.

    Raises `ValueError` outside 0 to 175.
    """
    return uk_proof * UK_PROOF_ABV / 100


@measure(proof_gallons=AMOUNT)
def us_proof_gallons_to_lpa(proof_gallons: Any) -> Any:
    """Litres of pure alcohol in US proof gallons (3.785412 L at 50 % vol, 60 °F): x 1.892706.

    Litres at 60 °F, 0.5 % less than at 20 °C. Raises `ValueError` below 0.
    """
    return proof_gallons * 3.785412 / 2
