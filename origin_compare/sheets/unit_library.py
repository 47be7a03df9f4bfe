"""What a unit means, by pint's vocabulary: factors between any two units of one dimension.

The library is loaded when the first unit outside the commonest is met, and its registry is kept:
it takes longer to load than most files take to read.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pint import UnitRegistry

_OFFICE_WORDS = {
    # as offices write them: what the library calls them
    "ac": "trade_acre",
    "acre": "trade_acre",
    "acres": "trade_acre",
    "kgs": "kg",
    "kilo": "kg",
    "kilos": "kg",
    "mt": "tonne",
    "te": "tonne",
    "tonnes": "tonne",
    "dt": "decitonne",
    "dz": "decitonne",
    "q": "decitonne",
    "quintal": "decitonne",
    "quintals": "decitonne",
    "ztr": "zentner",
    "lbs": "lb",
    "ltr": "litre",
    "ltrs": "litre",
    "lts": "litre",
    "lit": "litre",
    "hectolitres": "hectolitre",
    "hectoliters": "hectolitre",
    "hectos": "hectolitre",
    "cbm": "m**3",
    "m3": "m**3",
    "cm3": "cm**3",
    "m2": "m**2",
    "sqm": "m**2",
    "inches": "inch",
    "ins": "inch",
    "in": "inch",
    '"': "inch",
    "mins": "minute",
    "min": "minute",
    "hrs": "hour",
    "hr": "hour",
    "std": "hour",
    "d": "day",
    "wk": "week",
    "wks": "week",
    "°c": "degC",
    "°f": "degF",
    "fahrenheit": "degF",
    "degf": "degF",
    "f": "degF",
    "degc": "degC",
    "celsius": "degC",
    "centigrade": "degC",
    "c": "degC",
    "k": "kelvin",
    "impgal": "imperial_gallon",
    "imperialgal": "imperial_gallon",
    "imperialgallon": "imperial_gallon",
    "imperialgallons": "imperial_gallon",
    "ukgal": "imperial_gallon",
    "ukgallons": "imperial_gallon",
    "usgal": "US_liquid_gallon",
    "usgals": "US_liquid_gallon",
    "usgallon": "US_liquid_gallon",
    "usgallons": "US_liquid_gallon",
    "longcwt": "UK_hundredweight",
    "ukcwt": "UK_hundredweight",
    "shortcwt": "US_hundredweight",
    "uscwt": "US_hundredweight",
    "longton": "long_ton",
    "longtons": "long_ton",
    "shortton": "short_ton",
    "shorttons": "short_ton",
    "metricton": "tonne",
    "metrictons": "tonne",
    "barleyquarter": "barley_quarter",
    "maltquarter": "malt_quarter",
    "smallquarter": "small_quarter",
    "barleybushel": "barley_bushel",
    "usbarleybushel": "us_barley_bushel",
    "maltbushel": "malt_bushel",
    "imperialpint": "imperial_pint",
    "uspint": "US_pint",
    "imperialbarrel": "imperial_barrel",
    "beerbarrel": "beer_barrel",
    "fraction": "dimensionless",
    "permille": "permille",
    "‰": "permille",
    "%": "percent",
}
_OWN = (
    # The international acre; trade weights of quarters and bushels from memory.
    "trade_acre = 4046.8564224 * meter**2",
    "decitonne = 100 * kilogram",
    "zentner = 50 * kilogram",
    "barley_quarter = 448 * pound",
    "malt_quarter = 336 * pound",
    "small_quarter = 28 * pound",
    "barley_bushel = 56 * pound",
    "us_barley_bushel = 48 * pound",
    "malt_bushel = 34 * pound",
)
_NOT_MEANT_WORDS = """
hand hands point points pica rod rods link links chain chains cycle turn count dozen mole mol
drop slug barn max mil degree deg rad table tex bag bit byte knot perch pole cut
"""
_NOT_MEANT = frozenset(_NOT_MEANT_WORDS.split())
"""Words the library takes for units and a distillery does not."""

_LONGEST = 24


@cache
def factor(word: str, target: str) -> tuple[float, float] | None:
    """(factor, offset) from the unit `word` (see `units.unit_word`) to `target`; None if none.

    `target` is in the library's own words, such as `tonne/hectare`. Offset units (°F) come out
    right: the offset is what zero of `word` is in `target`.
    """
    told = _in_its_words(word)
    if not told:
        return None
    registry = _registry()
    try:
        zero, one = (_value(registry, at, told, target) for at in (0.0, 1.0))
    except Exception:  # the library's parser raises whatever Python's tokenizer does
        return None
    slope = one - zero
    return (round(slope, 12), round(zero, 9)) if slope > 0 else None


def _value(registry: UnitRegistry[Any], at: float, told: str, target: str) -> float:
    if " * " in told:  # an amount of a unit, such as 100 ml
        return float((at * registry.parse_expression(told)).to(target).magnitude)
    return float(registry.Quantity(at, registry.parse_units(told)).to(target).magnitude)


def _in_its_words(word: str) -> str:
    """`t/acre` in the library's words; "" for what no office means as a unit."""
    if not word or len(word) > _LONGEST or word in _NOT_MEANT:
        return ""
    parts = word.split("/")
    if len(parts) > 2 or not all(parts):
        return ""
    told = [_one_word(part) for part in parts]
    return "/".join(told) if all(told) else ""


def _one_word(part: str) -> str:
    if part in _OFFICE_WORDS:
        return f"({_OFFICE_WORDS[part]})"
    amount = re.fullmatch(r"(\d+(?:\.\d+)?)([a-zµμ]+3?)", part)
    if amount:
        return f"({amount[1]} * {_one_word(amount[2])})" if _one_word(amount[2]) else ""
    plain = re.fullmatch(r"[a-zµμ_]+", part) and part not in _NOT_MEANT
    return f"({part})" if plain else ""


@cache
def _registry() -> UnitRegistry[Any]:
    import pint

    registry: UnitRegistry[Any] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    for line in _OWN:
        registry.define(line)
    return registry
