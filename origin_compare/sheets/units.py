"""Units as headers and cells carry them, and what turns them into the column's own."""

from __future__ import annotations

import re
from collections.abc import Mapping

from origin_compare.sheets import unit_library
from origin_compare.sheets.catalogue import Column
from origin_compare.sheets.unit_choices import LEAVE_OUT, WORDS, Meaning, chosen, meanings

_SAME = (1.0, 0.0)
_PERCENT = {"%": _SAME, "pct": _SAME, "percent": _SAME, "g/100g": _SAME, "g/kg": (0.1, 0.0)}
_UK_PROOF, _US_PROOF = (4 / 7, 0.0), (0.5, 0.0)
_STRENGTH = {
    **dict.fromkeys(("%", "%vol", "%abv", "abv", "%v/v", "vol%", "vol.%", "%vol.", "°gl"), _SAME),
    **dict.fromkeys(("pct", "percent", "%alc", "%alc/vol", "%a.b.v.", "%byvol"), _SAME),
    "ukproof": _UK_PROOF,
    "usproof": _US_PROOF,
}
_DRY = {
    **_PERCENT,
    **dict.fromkeys(("%dm", "%dry", "%db", "dm", "%d.m.", "dry", "dry%", "%drybasis"), _SAME),
    **dict.fromkeys(("%ms", "%ts", "%trs", "%drymatter"), _SAME),
}
_PURE = ("aa", "lpa", "la", "pa", "a.a.", "r.a.", "p.a.", "ra")
_PER_PURE = {
    **{f"{head}{end}": _SAME for head in ("g/100l", "g/hl", "mg/100ml") for end in _PURE},
    **{f"{head}{end}": (0.1, 0.0) for head in ("mg/l", "ppm", "g/m3") for end in _PURE},
}

# Column endings, longest first: the unit in the library's words, and the words of the trade that
# are no units elsewhere, or are met so often that the library need not be loaded for them.
_BY_ENDING: tuple[tuple[str, str, Mapping[str, tuple[float, float]]], ...] = (
    ("_t_ha", "tonne/hectare", {"t/ha": _SAME, "kg/ha": (0.001, 0.0)}),
    ("_lpa_t", "litre/tonne", dict.fromkeys(("l/t", "lpa/t", "la/t", "l", "laa/t"), _SAME)),
    ("_mg_l", "milligram/litre", {"mg/l": _SAME, "ppm": _SAME, "g/l": (1000.0, 0.0)}),
    ("_100l_aa", "", _PER_PURE),
    ("_abv_pct", "", _STRENGTH),
    ("_pct_dm", "percent", _DRY),
    ("_pct", "percent", _PERCENT),
    ("_kg", "kilogram", {"kg": _SAME, "t": (1000.0, 0.0), "g": (0.001, 0.0)}),
    ("_ha", "hectare", {"ha": _SAME}),
    ("_mm", "millimetre", {"mm": _SAME, "cm": (10.0, 0.0)}),
    ("_l", "litre", {"l": _SAME, "hl": (100.0, 0.0), "m3": (1000.0, 0.0)}),
    ("_t", "tonne", {"t": _SAME, "kg": (0.001, 0.0)}),
    ("_h", "hour", dict.fromkeys(("h", "hours", "hrs", "h:mm", "hh:mm", "[h]:mm"), _SAME)),
    ("_g", "gram", {"g": _SAME, "mg": (0.001, 0.0)}),
    ("_c", "degC", {"°c": _SAME, "c": _SAME, "degc": _SAME}),
)
_BY_NAME: Mapping[str, tuple[str, Mapping[str, tuple[float, float]]]] = {
    "tonnes": ("tonne", {"t": _SAME, "kg": (0.001, 0.0)}),
    "hours": ("hour", dict.fromkeys(("h", "hours", "hrs", "h:mm", "hh:mm", "[h]:mm"), _SAME)),
    "grain_protein_pct": ("percent", _DRY),
    "extract_l_deg_kg": ("", dict.fromkeys(("l°/kg", "ldeg/kg", "l.deg/kg", "l°kg-1"), _SAME)),
    "cooling_pct": ("percent", {**_PERCENT, "%open": _SAME}),
    "diastatic_power": (
        "",
        dict.fromkeys(("iob", "°l", "°wk", "wk", "°lintner", "u", "°lin", "dp", "iod"), _SAME),
    ),
}
_TEMPERATURES = frozenset({"°c", "°f", "c", "f", "degc", "degf", "celsius", "fahrenheit"})
_GRAVITY = {
    **dict.fromkeys(("sg", "20/20", "sg20/20", "s.g.", "20/20°c"), "sg"),
    **dict.fromkeys(("°p", "p", "plato", "°plato", "degp", "degplato", "%plato", "%p"), "plato"),
    **dict.fromkeys(("°", "deg", "degrees", "°oe", "oechsle", "°oechsle"), "degrees"),
    **dict.fromkeys(("excessdegrees", "degreesexcess", "points", "°sacch"), "degrees"),
    **dict.fromkeys(("kg/m3", "g/l"), "thousand"),
}
_SPELT_OUT_WORDS = """
inches acre acres ac lb lbs kgs kilos oz stone tonne tonnes litre litres liter liters ltr ltrs
kl ml cl hectolitres hectares days d min mins minutes hr hrs hours fahrenheit celsius f degf °f
in usgal usgals usgallon usgallons impgal impgallon impgallons imperialgallons ukgal ukgallons
longtons shorttons dt dt/ha q/ha t/ac t/acre kg/ac lb/ac lb/acre cwt/ac cwt/acre bu/ac bu/acre
psi k ppg fraction kwh ft ft3 sqft
"""
_SPELT_OUT = frozenset(_SPELT_OUT_WORDS.split())
_OF_ANY = (
    frozenset(word for _, _, units in _BY_ENDING for word in units)
    | frozenset(word for _, units in _BY_NAME.values() for word in units)
    | frozenset(_GRAVITY)
    | _SPELT_OUT
    | WORDS
) - {"dry", "points", "u", "dp", "min", "quarter", "quarters", "ton", "pint", "barrel", "bus"}
_SHORT_OF_ANY = frozenset({"min", "ton", "dry"})
"""Units in brackets and below headers, but no units as a header's last word: `Temp min`."""

_AT_TEMPERATURE = re.compile(
    r"^(?P<base>.+?)[\s,]+(?P<unit>(?:at|@|bei|à)\s*\d+\s*°\s*[CF])$", re.IGNORECASE
)
"""What a figure was corrected to, as in `Gravity at 20 °C`, is no unit of it."""
_IN_BRACKETS = re.compile(r"^(?P<base>.+?)\s*[\(\[](?P<unit>[^()\[\]]+)[\)\]]\s*$")
_AFTER_COMMA = re.compile(r"^(?P<base>.+?)\s*,\s*(?P<unit>[^,]+)$")
_LAST_WORD = re.compile(r"^(?P<base>.+?)[\s_]+(?P<unit>\S+)$")
_LAST_TWO = re.compile(r"^(?P<base>.+?)[\s_]+(?P<unit>\S+\s\S+)$")


def unit_word(text: str) -> str:
    """A unit for comparing: lower case, no spaces, one sign for degree, `/` for per."""
    told = re.sub(r"\s+per\s+", "/", text.strip().casefold())
    word = re.sub(r"\s+", "", told).replace("º", "°").replace("˚", "°")
    return word.replace("³", "3").replace("℃", "°c").replace("℉", "°f").strip("[]()")


def unit_words(text: str) -> bool:
    """Whether the text is a unit and nothing else; words that are other things too are not."""
    word = unit_word(text)
    return word in _OF_ANY or word in _SHORT_OF_ANY


def split_unit(header: str) -> tuple[str, str]:
    """`Temp (°F)` -> (`Temp`, `°f`); the unit is empty where the header carries none."""
    header = " ".join(header.split())
    corrected = _AT_TEMPERATURE.match(header)
    if corrected:
        return corrected["base"], unit_word(corrected["unit"])
    for form in (_IN_BRACKETS, _AFTER_COMMA, _LAST_TWO, _LAST_WORD):
        match = form.match(header)
        if match and (form is _IN_BRACKETS or unit_word(match["unit"]) in _OF_ANY):
            return match["base"], unit_word(match["unit"])
    return header, ""


def quantity_words(unit: str) -> tuple[str, ...]:
    """What a unit of strength, gravity or temperature measures, in words; () for other units."""
    if "proof" in unit or unit in _STRENGTH.keys() - _PERCENT.keys():
        return ("strength", "abv")
    if gravity_scale(unit):
        return ("gravity",)
    return ("temp", "temperature") if unit in _TEMPERATURES else ()


def gravity_scale(unit: str) -> str | None:
    """`sg`, `thousand`, `degrees` or `plato` for a gravity's unit; None if it is no such unit."""
    return _GRAVITY.get(unit)


def conversion(column: Column, unit: str) -> tuple[float, float] | None:
    """(factor, offset) from `unit` to the column's own; None if the unit does not fit it.

    A unit with several meanings fits none of them (`meanings_for`). Proof: the UK's 100 is 4/7 of
    100 % vol, the US's twice the % vol (27 CFR 30.11; the UK's from memory).
    """
    if not unit:
        return _SAME
    target, of_trade = _of_column(column)
    if unit in of_trade:
        return of_trade[unit]
    if meanings(unit) or not target:
        return None
    return unit_library.factor(unit, target)


def meanings_for(column: Column, unit: str) -> tuple[Meaning, ...]:
    """What a unit may mean in this column, to be asked; () where it is clear or does not fit."""
    if fits(column, unit):
        return ()
    told = [one for one in meanings(unit) if fits(column, one.unit)]
    return (*told, *(one for one in meanings(unit) if one.unit == LEAVE_OUT)) if told else ()


def settled(column: Column, unit: str, answer: str) -> str | None:
    """The unit an answer settles on, `LEAVE_OUT`, or None where the answer does not fit either."""
    said = chosen(unit, answer)
    return said if said == LEAVE_OUT or fits(column, said) else None


def own_unit(column: Column) -> str:
    """The column's own unit in the library's words, "" where it has none."""
    return _of_column(column)[0]


def fits(column: Column, unit: str) -> bool:
    """Whether a unit, taken as it stands, is one of the column."""
    if column.kind == "gravity":
        return not unit or gravity_scale(unit) is not None
    return conversion(column, unit) is not None


def _of_column(column: Column) -> tuple[str, Mapping[str, tuple[float, float]]]:
    found = _BY_NAME.get(column.name)
    if found is not None:
        return found
    ends = ((target, of) for end, target, of in _BY_ENDING if column.name.endswith(end))
    return next(ends, ("", {}))
