"""Units as headers and cells carry them, and what turns them into the column's own."""

from __future__ import annotations

import re
from collections.abc import Mapping

from origin_compare.sheets.catalogue import Column

_SAME = (1.0, 0.0)
_PERCENT = {"%": _SAME, "pct": _SAME, "percent": _SAME, "g/100g": _SAME, "g/kg": (0.1, 0.0)}
_STRENGTH = {"%": _SAME, "%vol": _SAME, "%abv": _SAME, "abv": _SAME, "%v/v": _SAME, "vol%": _SAME}
_DRY = {**_PERCENT, "%dm": _SAME, "%dry": _SAME, "%db": _SAME, "dm": _SAME, "%d.m.": _SAME}
_CELSIUS = {"°c": _SAME, "c": _SAME, "degc": _SAME, "celsius": _SAME}
_FAHRENHEIT = (5 / 9, -160 / 9)

# Column endings, longest first: what unit words mean there as (factor, offset).
_BY_ENDING: tuple[tuple[str, Mapping[str, tuple[float, float]]], ...] = (
    ("_t_ha", {"t/ha": _SAME, "kg/ha": (0.001, 0.0), "t/ac": (2.4710538, 0.0)}),
    ("_lpa_t", {"l/t": _SAME, "lpa/t": _SAME, "la/t": _SAME, "l": _SAME}),
    ("_mg_l", {"mg/l": _SAME, "ppm": _SAME, "g/l": (1000.0, 0.0)}),
    ("_100l_aa", {"g/100laa": _SAME, "g/hlaa": _SAME, "mg/laa": (0.1, 0.0)}),
    ("_abv_pct", _STRENGTH),
    ("_pct_dm", _DRY),
    ("_pct", _PERCENT),
    ("_kg", {"kg": _SAME, "t": (1000.0, 0.0), "g": (0.001, 0.0)}),
    ("_ha", {"ha": _SAME, "ac": (0.40468564, 0.0), "acres": (0.40468564, 0.0)}),
    ("_mm", {"mm": _SAME, "cm": (10.0, 0.0), "in": (25.4, 0.0)}),
    ("_l", {"l": _SAME, "litres": _SAME, "liters": _SAME, "hl": (100.0, 0.0), "m3": (1000.0, 0.0)}),
    ("_t", {"t": _SAME, "tonnes": _SAME, "kg": (0.001, 0.0)}),
    ("_h", {"h": _SAME, "hours": _SAME, "hrs": _SAME, "min": (1 / 60, 0.0), "d": (24.0, 0.0)}),
    ("_g", {"g": _SAME, "mg": (0.001, 0.0)}),
    ("_c", {**_CELSIUS, "°f": _FAHRENHEIT, "f": _FAHRENHEIT, "degf": _FAHRENHEIT}),
)
_BY_NAME: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "tonnes": {"t": _SAME, "tonnes": _SAME, "kg": (0.001, 0.0)},
    "hours": {"h": _SAME, "hours": _SAME, "min": (1 / 60, 0.0), "d": (24.0, 0.0)},
    "grain_protein_pct": _DRY,
    "extract_l_deg_kg": dict.fromkeys(("l°/kg", "ldeg/kg", "l.deg/kg", "l°kg-1"), _SAME),
    "cooling_pct": {**_PERCENT, "%open": _SAME},
    "diastatic_power": {"iob": _SAME, "°l": _SAME, "°wk": _SAME, "wk": _SAME, "°lintner": _SAME},
}
_GRAVITY = {
    "sg": "sg",
    "20/20": "sg",
    "°p": "plato",
    "p": "plato",
    "plato": "plato",
    "°plato": "plato",
    "degp": "plato",
    "°": "degrees",
    "deg": "degrees",
    "degrees": "degrees",
    "kg/m3": "thousand",
    "g/l": "thousand",
}
_OF_ANY = frozenset(word for _, units in _BY_ENDING for word in units) | frozenset(_GRAVITY)
_REFUSED = frozenset(
    {"lb", "lbs", "gal", "gallons", "bu", "psi", "k", "°bx", "brix", "°brix", "ppg", "oz", "°oe"}
)
_IN_BRACKETS = re.compile(r"^(?P<base>.+?)\s*[\(\[](?P<unit>[^()\[\]]+)[\)\]]\s*$")
_AFTER_COMMA = re.compile(r"^(?P<base>.+?)\s*,\s*(?P<unit>[^,]+)$")
_LAST_WORD = re.compile(r"^(?P<base>.+?)[\s_]+(?P<unit>\S+)$")
_LAST_TWO = re.compile(r"^(?P<base>.+?)[\s_]+(?P<unit>%\s\S+)$")


def unit_word(text: str) -> str:
    """A unit for comparing: lower case, no spaces, one sign for degree."""
    word = re.sub(r"\s+", "", text.casefold()).replace("º", "°").replace("˚", "°")
    return word.replace("³", "3").replace("℃", "°c").replace("℉", "°f").strip("[]()")


def unit_words(text: str) -> bool:
    """Whether the text is a unit and nothing else."""
    return unit_word(text) in _OF_ANY | _REFUSED


def split_unit(header: str) -> tuple[str, str]:
    """`Temp (°F)` -> (`Temp`, `°f`); the unit is empty where the header carries none."""
    for form in (_IN_BRACKETS, _AFTER_COMMA, _LAST_TWO, _LAST_WORD):
        match = form.match(header.strip())
        if match and (form is _IN_BRACKETS or unit_words(match["unit"])):
            return match["base"], unit_word(match["unit"])
    return header.strip(), ""


def gravity_scale(unit: str) -> str | None:
    """`sg`, `thousand`, `degrees` or `plato` for a gravity's unit; None if it is no such unit."""
    return _GRAVITY.get(unit)


def conversion(column: Column, unit: str) -> tuple[float, float] | None:
    """(factor, offset) from `unit` to the column's own; None if the unit does not fit it.

    Fahrenheit by definition, C = (F - 32) / 1.8; the acre as 0.40468564 ha (international acre).
    """
    if not unit:
        return _SAME
    units = _BY_NAME.get(column.name)
    if units is None:
        units = next((of for end, of in _BY_ENDING if column.name.endswith(end)), {})
    return units.get(unit)
