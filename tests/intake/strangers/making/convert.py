"""Units offices use, into the program's; from their definitions, apart from the program's own.

Pound, gallon, inch: the international pound (0.45359237 kg), imperial gallon (4.54609 L), US
gallon (3.785411784 L) and inch (25.4 mm) by definition. A quarter of barley is 448 lb (common
practice, no source). Plato: the cubic fit of the ASBC tables, from memory.
"""

from __future__ import annotations

LB_KG = 0.45359237
CWT_T = 112 * LB_KG / 1000
QUARTER_T = 448 * LB_KG / 1000
ACRE_HA = 0.40468564224
GALLON_L = 4.54609
US_GALLON_L = 3.785411784
INCH_MM = 25.4


def fahrenheit(temp_c: float) -> float:
    return round(temp_c * 1.8 + 32, 1)


def celsius(temp_f: float) -> float:
    return round((temp_f - 32) / 1.8, 2)


def plato(sg: float) -> float:
    return round(-616.868 + sg * (1111.14 + sg * (-630.272 + sg * 135.997)), 1)


def gravity(degrees_plato: float) -> float:
    """The inverse of the cubic, by halving."""
    low, high = 0.98, 1.14
    for _ in range(40):
        middle = (low + high) / 2
        value = -616.868 + middle * (1111.14 + middle * (-630.272 + middle * 135.997))
        low, high = (middle, high) if value < degrees_plato else (low, middle)
    return round((low + high) / 2, 4)


def comma(value: float, places: int | None = None) -> str:
    """The figure with a decimal comma."""
    return (str(value) if places is None else f"{value:.{places}f}").replace(".", ",")
