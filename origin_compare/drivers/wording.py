"""The words of the drivers: what a column is called, and the step worth speaking of."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

TITLES = {
    "grower_id": "grower",
    "lot_id": "lot",
    "malt_id": "malting batch",
    "delivery_id": "yeast delivery",
    "length_h": "length",
    "peak_temp_c": "peak temperature",
    "final_ph": "final pH",
    "final_sg": "final gravity",
    "og_sg": "original gravity",
    "new_make_abv_pct": "new-make strength",
    "cut_on_abv_pct": "cut-on strength",
    "cut_off_abv_pct": "cut-off strength",
    "grain_n_pct_dm": "grain nitrogen",
    "grain_moisture_pct": "grain moisture",
    "screenings_pct": "screenings",
    "thousand_grain_g": "thousand-grain weight",
    "rain_mm": "rain",
    "mean_temp_c": "mean temperature of the field",
    "yield_t_ha": "field yield",
    "malt_moisture_pct": "malt moisture",
    "extract_pct_dm": "malt extract",
    "soluble_n_ratio_pct": "soluble nitrogen ratio",
    "friability_pct": "friability",
    "fan_mg_l": "free amino nitrogen",
    "pitch_temp_c": "pitch temperature",
    "yeast_g_l": "yeast per litre",
    "wort_ph": "wort pH",
    "lag_h": "lag",
}

# A step a distiller would speak of; any other column is spoken of per one of its own unit.
STEPS: dict[str, tuple[float, str]] = {
    "length_h": (10.0, "10 h"),
    "peak_temp_c": (1.0, "1 °C"),
    "pitch_temp_c": (1.0, "1 °C"),
    "final_ph": (0.1, "0.1 pH"),
    "wort_ph": (0.1, "0.1 pH"),
    "og_sg": (0.001, "1 degree of gravity"),
    "final_sg": (0.001, "1 degree of gravity"),
    "new_make_abv_pct": (1.0, "1 % vol"),
    "cut_on_abv_pct": (1.0, "1 % vol"),
    "cut_off_abv_pct": (1.0, "1 % vol"),
    "grain_n_pct_dm": (0.1, "0.1 % nitrogen"),
    "fan_mg_l": (10.0, "10 mg/L"),
    "rain_mm": (10.0, "10 mm"),
    "lag_h": (1.0, "1 h"),
    "yeast_g_l": (0.1, "0.1 g/L"),
    "screenings_pct": (1.0, "1 % of screenings"),
    "thousand_grain_g": (1.0, "1 g"),
    "yield_t_ha": (1.0, "1 t/ha"),
    "mean_temp_c": (1.0, "1 °C"),
    "extract_pct_dm": (1.0, "1 % of extract"),
    "soluble_n_ratio_pct": (1.0, "1 %"),
    "friability_pct": (1.0, "1 % of friability"),
    "grain_moisture_pct": (1.0, "1 % of moisture"),
}

PROCESS = ("length_h", "peak_temp_c", "final_ph")
"""The process variables asked about unless others are named."""

STILL = ("new_make_abv_pct", "cut_on_abv_pct", "cut_off_abv_pct")
"""What the still decides: often the largest lever on a profile, so it enters wherever recorded."""

FACTORS = (
    "grower_id",
    "lot_id",
    "variety",
    "malt_id",
    "vessel",
    "delivery_id",
    "still",
    "week",
    "weekend",
    "season",
)
NUMBERS = (*PROCESS, "og_sg", "new_make_abv_pct")


# Nested by nature: a lot has one grower, so saying it is no finding.
BY_NATURE = frozenset(
    {
        ("lot_id", "grower_id"),
        ("lot_id", "season"),
        ("lot_id", "variety"),
        ("malt_id", "lot_id"),
        ("malt_id", "grower_id"),
        ("malt_id", "season"),
        ("malt_id", "variety"),
        ("delivery_id", "season"),
        ("week", "season"),
        ("week", "weekend"),
        ("malt_id", "weekend"),
        ("delivery_id", "weekend"),
        ("malt_id", "week"),
    }
)


@dataclass(frozen=True, slots=True)
class Limits:
    """Where a verdict turns; each is a convention that a site may set otherwise.

    `most_vif`: a variance inflation factor above it means "cannot be told apart": what is left of
        a variable beyond the others, a seventh of its spread, is then the size of its
        instrument's own error. Below it the interval itself says how little is known.
    `wide_vif`: above it two variables are said to move together, each known less surely for it
        (5 is the stricter of the two usual rules of thumb; two reach it at r = 0.89).
    `wide`: a slope not shown is called wide while its interval reaches a standardised slope of
        this size (at 0.3 it would carry about a tenth of the variation; a choice, no source).
    `least_within`: the least share of a variable's variation found within growers; below it
        the variable and the grower are one thing.
    `disagree_p`: below it a slope within growers and one between them are said to disagree.
    `clear_q`, `hint_q`: false-discovery rates (Benjamini and Hochberg) for "clear" and "a hint".
    """

    most_vif: float = 50.0
    wide_vif: float = 5.0
    wide: float = 0.3
    least_within: float = 0.10
    clear_q: float = 0.05
    hint_q: float = 0.20
    disagree_p: float = 0.05


USUAL = Limits()


AT_HOUR = re.compile(r"(ph|sg)_(\d+)h")
"""A value at a fixed hour: `ph_72h`."""
AT_NAMES = {"ph": "pH", "sg": "gravity"}


def title(column: str) -> str:
    """What people call a column; the column's own name where no title is kept."""
    at = AT_HOUR.fullmatch(column)
    if at:
        return f"{AT_NAMES[at[1]]} at {at[2]} h"
    return TITLES.get(column, column.replace("_", " "))


def step(column: str) -> tuple[float, str]:
    """The step a slope is told per, and the step in words."""
    at = AT_HOUR.fullmatch(column)
    if at:
        return STEPS[f"final_{at[1]}"]
    return STEPS.get(column, (1.0, f"1 of {title(column)}"))


def joined(words: Iterable[str]) -> str:
    """`a`, `a and b`, `a, b and c`: all of them, none counted away."""
    kept = list(words)
    if len(kept) < 2:
        return "".join(kept)
    return f"{', '.join(kept[:-1])} and {kept[-1]}"


def upper(text: str) -> str:
    """A first capital, the rest as it stands (`final pH` becomes `Final pH`)."""
    return text[:1].upper() + text[1:]


def signed(number: float, digits: int = 2) -> str:
    """A number with its sign, a true minus sign and no negative zero."""
    rounded = round(float(number), digits) + 0.0
    return f"{rounded:+.{digits}f}".replace("-", "−")


def plain(number: float, digits: int = 2) -> str:
    """A number with a true minus sign where it is negative."""
    rounded = round(float(number), digits) + 0.0
    return f"{rounded:.{digits}f}".replace("-", "−")


def chance(p: float) -> str:
    """A p-value as people read it: never `0.000`."""
    return "p < 0.001" if p < 0.001 else f"p = {p:.3f}"


# How a batch was made, in words: with its verb, and the bare figure.
_MADE = {
    "length_h": ("stood {:.0f} h", "{:.0f} h"),
    "peak_temp_c": ("was made at {:.1f} °C", "{:.1f} °C"),
    "final_ph": ("ended at pH {:.2f}", "pH {:.2f}"),
    "new_make_abv_pct": ("came off at {:.1f} % vol", "{:.1f} % vol"),
    "cut_on_abv_pct": ("was cut on at {:.1f} % vol", "{:.1f} % vol"),
    "cut_off_abv_pct": ("was cut off at {:.1f} % vol", "{:.1f} % vol"),
}


def made(column: str, value: float, bare: bool = False) -> str:
    """`was made at 34.0 °C`, or `34.0 °C`: a process figure of one batch as people say it."""
    verb, figure = _MADE.get(column, (f"had a {title(column)} of {{:.3g}}", "{:.3g}"))
    return (figure if bare else verb).format(value)


# A move along a variable, in words: before and after a figure, upwards and downwards.
_MOVED = {
    "length_h": ("{} h longer", "{} h shorter", 0),
    "peak_temp_c": ("{} °C hotter", "{} °C cooler", 1),
    "final_ph": ("{} higher pH", "{} lower pH", 2),
    "new_make_abv_pct": ("{} % vol stronger", "{} % vol weaker", 1),
}


def moved(column: str, steps: float) -> str:
    """`10 h longer`, `0.08 lower pH`: a move of so many steps (see `step`) along a variable."""
    per = step(column)[0] * steps
    name = title(column)
    up, down, digits = _MOVED.get(column, (f"{{}} more {name}", f"{{}} less {name}", 2))
    return (up if per >= 0 else down).format(f"{abs(per):.{digits}f}")
