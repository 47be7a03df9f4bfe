"""Figures in cells: decimal points and commas, units, scales of gravity, and what is possible."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from origin_compare.intake.cells.reading import BELOW_LIMIT, Coded, Distinct, Hints, Parsed, parsed
from origin_compare.measures import l_deg_kg_to_pct, plato_to_sg, protein_to_n, sg_to_plato
from origin_compare.sheets.catalogue import Column
from origin_compare.sheets.units import conversion, gravity_scale, unit_word

_POINT = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,2})?"
_COMMA = r"[+-]?\d*,\d+"
_COMMA_THREE = r"[+-]?[1-9]\d{0,2},\d{3}"
_POINT_THREE = r"[+-]?[1-9]\d{0,2}\.\d{3}"
_SAYS_COMMA = r"[+-]?(?:\d*,(?:\d{1,2}|\d{4,})|0,\d+|\d{1,3}(?:\.\d{3})+,\d+)"
_SAYS_POINT = r"[+-]?(?:\d*\.(?:\d{1,2}|\d{4,})|0\.\d+|\d{1,3}(?:,\d{3})+\.\d+)"
_WITH_UNIT = re.compile(r"(?P<figure>[+-]?[\d.,'’\s]*\d)\s*(?P<unit>[^\d\s.,][^\d]*\d?)")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:(?P<by>[ .,'’])\d{3})(?:(?P=by)\d{3})*(?:[.,]\d+)?")
_LIMIT = re.compile(r"[<>≤≥~]\s*[\d.,]+.*|(?:less|more) than .*|(?:ca|c|about)\.? ?[\d.,]+")
_CLOCK = re.compile(r"\d{1,3}:\d{2}(?::\d{2})?")
_ODD_SIGNS = str.maketrans({"−": "-", "–": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " "})

SCALES = {"sg": (0.95, 1.2), "thousand": (950.0, 1200.0), "degrees": (-25.0, 200.0)}
_SCALE_SAYS = {"sg": "like 1.0652", "thousand": "like 1065.2", "degrees": "like 65.2"}


def parse_figures(coded: Coded, column: Column, hints: Hints) -> Parsed:
    """Numbers, counts and temperatures in the column's own unit; the impossible is a fault."""
    seen = Distinct(coded)
    values, units = read_figures(seen, column, hints)
    values = _converted(values, units, seen, column, hints)
    _check_range(values, seen, column)
    if column.kind == "count":
        _check_whole(values, seen)
    values[seen.faulty] = np.nan
    typed = pd.Series(values, dtype="float64")
    whole = typed.astype("Int64") if column.kind == "count" else typed
    return parsed(column.name, seen, whole)


def parse_gravity(coded: Coded, column: Column, hints: Hints) -> Parsed:
    """Gravity as SG 20/20 °C from one scale per column, or from the unit in header or cell.

    The scale most cells are on holds for the column; a cell on another scale is a fault, and so
    is a column whose figures could be degrees Plato as well as degrees of gravity.
    """
    seen = Distinct(coded)
    figures, units = read_figures(seen, column, Hints(hints.unit, True))
    values = np.full(len(figures), np.nan)
    open_ = ~np.isnan(figures)
    for unit in {*units[units != ""]}:
        scale = gravity_scale(unit)
        here = open_ & (units == unit)
        if scale is None:
            seen.blame(
                here,
                f"has the unit {unit}, which is none of gravity",
                "Write it as SG, like 1.0652.",
            )
        else:
            values[here] = _to_sg(figures[here], scale)
        open_ &= units != unit
    given = gravity_scale(hints.unit) if hints.unit else None
    scale = given or _column_scale(figures, seen, open_)
    if scale is None:
        seen.blame(
            open_,
            "may be degrees Plato or degrees of gravity, and the column does not tell",
            "Put °P or SG into the header, such as OG (°P).",
        )
    else:
        _rescale(values, figures, seen, open_, scale, given is not None)
    _check_range(values, seen, column)
    values[seen.faulty] = np.nan
    return parsed(column.name, seen, pd.Series(values))


def comma_evidence(texts: pd.Series) -> tuple[int, int]:
    """How many of the texts can only be read with a decimal comma, and how many with a point."""
    return (
        int(texts.str.fullmatch(_SAYS_COMMA).sum()),
        int(texts.str.fullmatch(_SAYS_POINT).sum()),
    )


def read_figures(seen: Distinct, column: Column, hints: Hints) -> tuple[np.ndarray, np.ndarray]:
    """Figures of the distinct texts (NaN where none) and the unit written in each cell."""
    texts = seen.texts.str.translate(_ODD_SIGNS) if _has_odd(seen.texts) else seen.texts
    values = np.full(len(texts), np.nan)
    units = np.full(len(texts), "", dtype=object)
    point = texts.str.fullmatch(_POINT).to_numpy(dtype=bool)
    values[point] = texts[point].astype("float64")
    comma = texts.str.fullmatch(_COMMA).to_numpy(dtype=bool) & ~point
    if comma.any():
        values[comma] = texts[comma].str.replace(",", ".", regex=False).astype("float64")
    says_comma = _says_comma(texts, hints)
    _settle_thousands(values, texts, seen, column, says_comma)
    for at in np.flatnonzero(~point & ~comma & ~seen.missing):
        values[at], units[at] = _read_one(texts.iloc[at], int(at), seen, says_comma)
    return values, units


def written(value: float) -> str:
    """A figure as one would write it in a cell."""
    return f"{round(value, 6):.10g}"


def limits(possible: tuple[float, float]) -> str:
    """`2.5 to 7.0`, `1 to 1,000,000`."""
    low, high = (f"{end:,.0f}" if abs(end) >= 1000 else str(end) for end in possible)
    return f"{low} to {high}"


def _has_odd(texts: pd.Series) -> bool:
    return bool(texts.str.contains("[−–\u00a0\u202f\u2009]", regex=True).any())


def _says_comma(texts: pd.Series, hints: Hints) -> bool | None:
    comma, point = comma_evidence(texts)
    if comma != point and min(comma, point) == 0:
        return comma > 0
    return None if comma else hints.decimal_comma


def _settle_thousands(
    values: np.ndarray, texts: pd.Series, seen: Distinct, column: Column, says_comma: bool | None
) -> None:
    """`25,000` or `25.000`: by how the column writes, else by what is possible, else a fault."""
    if column.kind == "gravity":
        return
    comma = texts.str.fullmatch(_COMMA_THREE).to_numpy(dtype=bool)
    point = texts.str.fullmatch(_POINT_THREE).to_numpy(dtype=bool)
    if says_comma is False:
        values[comma] *= 1000
        return
    doubtful = comma if says_comma is None else point
    for at in np.flatnonzero(doubtful):
        small, large = values[at], values[at] * 1000
        can_small, can_large = _possible(small, column), _possible(large, column)
        if can_small and can_large:
            seen.blame(
                int(at),
                f"may be {written(small)} or {written(large)}",
                f"Write {written(large)} or {small:.1f}, without a sign for thousands.",
            )
        elif can_large:
            values[at] = large


def _possible(value: float, column: Column) -> bool:
    low, high = column.possible or (-np.inf, np.inf)
    return bool(low <= value <= high)


def _read_one(text: str, at: int, seen: Distinct, says_comma: bool | None) -> tuple[float, str]:
    """A cell that is no plain figure: grouped thousands, a unit, a limit, a clock, or words."""
    grouped = _ungrouped(text)
    if grouped is not None:
        return grouped, ""
    match = _WITH_UNIT.fullmatch(text)
    if match:
        figure = match["figure"].strip()
        value = _ungrouped(figure)
        if value is None and re.fullmatch(rf"{_POINT}|{_COMMA}", figure):
            value = float(figure.replace(",", "."))
        if value is not None:
            return value, unit_word(match["unit"])
    seen.blame(at, *_unreadable(text))
    return np.nan, ""


def _ungrouped(text: str) -> float | None:
    """`1 234,5`, `1.234,5`, `1,234,567`: the sign between threes is no decimal sign."""
    match = _GROUPED.fullmatch(text)
    if not match:
        return None
    sign = match["by"]
    whole = text.replace(sign, "")
    if sign in ".," and whole == text.replace(sign, "", 1) and not re.search(r"[.,]", whole):
        return None
    return float(whole.replace(",", "."))


def _unreadable(text: str) -> tuple[str, str]:
    low = text.casefold()
    if low in BELOW_LIMIT:
        return (
            "is no figure but a remark that too little was found",
            "Write the laboratory's limit in the note and leave the cell empty; do not write 0.",
        )
    if _LIMIT.fullmatch(low):
        return (
            "is a limit, not a figure",
            "Leave the cell empty and write the limit in the note; do not write the limit or 0.",
        )
    if _CLOCK.fullmatch(low):
        hours, minutes = low.split(":")[:2]
        return "is a time, not a figure", f"Write {int(hours) + int(minutes) / 60:.4g} for hours."
    if low.startswith("="):
        return "is a formula, not a figure", "Paste the column as values, then load the file again."
    return "is not a figure", "Write a figure, or leave the cell empty."


def _converted(
    values: np.ndarray, units: np.ndarray, seen: Distinct, column: Column, hints: Hints
) -> np.ndarray:
    """Figures in the column's own unit; the cell's unit goes before the header's."""
    result = values.copy()
    filled = ~np.isnan(values)
    for unit in {hints.unit, *units[units != ""]}:
        here = filled & (units == unit if unit != hints.unit else (units == "") | (units == unit))
        change = conversion(column, unit)
        if change is None and unit == hints.unit:
            change = (1.0, 0.0)
        if change is None:
            seen.blame(
                here,
                f"has a unit, {unit}, that does not fit this column",
                "Write the figure alone.",
            )
        else:
            result[here] = values[here] * change[0] + change[1]
    return result


def _check_whole(values: np.ndarray, seen: Distinct) -> None:
    broken = ~np.isnan(values) & (values != np.round(values))
    seen.blame(broken, "is not a whole number", "Write a whole number.")


def _check_range(values: np.ndarray, seen: Distinct, column: Column) -> None:
    if column.possible is None:
        return
    low, high = column.possible
    outside = ~np.isnan(values) & ~((values >= low - 1e-9) & (values <= high + 1e-9))
    for at in np.flatnonzero(outside & ~seen.faulty):
        seen.blame(int(at), f"is outside {limits(column.possible)}", advice(values[at], column))


def advice(value: float, column: Column) -> str:
    """What may have happened to a figure that cannot be."""
    other = _swapped(value, column) or _other_unit(value, column)
    if other:
        return other
    if column.kind == "temperature" and column.possible and value > column.possible[1]:
        celsius = (value - 32) / 1.8
        if _possible(celsius, column):
            return f"In °F? {written(value)} °F is {celsius:.1f} °C. Write {celsius:.1f}."
    for power in (10, 100, 1000):
        if _possible(value / power, column) and value > 0:
            return f"A decimal point lost? Write {written(value / power)}."
    if "_pct" in column.name and 0 < value <= 1 and _possible(value * 100, column):
        return f"A share instead of a percentage? Write {written(value * 100)}."
    if column.kind == "gravity":
        return "Write it as SG, like 1.0652."
    return "Check the figure against the record it came from."


def _swapped(value: float, column: Column) -> str:
    """A gravity in the pH column, or a pH in the gravity column."""
    if column.name.endswith("ph") and (0.98 <= value <= 1.14 or 980 <= value <= 1140):
        return "This looks like a gravity. Were the columns swapped? Write the pH here."
    if column.kind == "gravity" and 2.5 <= value <= 7:
        return "This looks like a pH. Were the columns swapped? Write the gravity here."
    return ""


def _other_unit(value: float, column: Column) -> str:
    """Protein among nitrogen, or litre-degrees among per cent of extract."""
    if column.name == "grain_n_pct_dm" and 6 <= value <= 25:
        return (
            f"Protein? {written(value)} % protein is {float(protein_to_n(value)):.2f} % nitrogen. "
            "Write that, or put protein into a column of its own."
        )
    if column.name == "extract_pct_dm" and 193 <= value <= 366:
        return (
            f"In L°/kg? {written(value)} L°/kg is about {float(l_deg_kg_to_pct(value)):.1f} %. "
            "Write that, or put L°/kg into a column of its own."
        )
    return ""


def _to_sg(figures: np.ndarray, scale: str) -> np.ndarray:
    if scale == "sg":
        return figures
    if scale == "thousand":
        return figures / 1000
    if scale == "degrees":
        return 1 + figures / 1000
    low, high = (float(sg_to_plato(end)) for end in (0.980, 1.140))
    inside = (figures >= low) & (figures <= high)
    converted = np.asarray(plato_to_sg(np.where(inside, figures, 0.0)), dtype=float)
    # outside what the source covers: keep it out of range, so that the cell is listed
    return np.where(inside, converted, np.where(figures < low, 0.9, 9.0))


def _column_scale(figures: np.ndarray, seen: Distinct, open_: np.ndarray) -> str | None:
    """The scale of most cells; None if they may be degrees Plato as well as degrees of gravity."""
    weights = np.where(open_, seen.counts, 0)
    sg, thousand = (
        weights[(figures >= SCALES[name][0]) & (figures <= SCALES[name][1])].sum()
        for name in ("sg", "thousand")
    )
    total = weights.sum()
    degrees = total - sg - thousand
    if not total or sg >= max(thousand, degrees):
        return "sg"
    if thousand >= degrees:
        return "thousand"
    return "degrees" if bool((figures[open_] > 33).any()) else None


def _rescale(
    values: np.ndarray,
    figures: np.ndarray,
    seen: Distinct,
    open_: np.ndarray,
    scale: str,
    given: bool,
) -> None:
    """Figures on the column's scale to SG; on another scale they are blamed with what to write."""
    grouped = seen.texts.str.fullmatch(r"1,\d{3}|\d{3},\d{3}").to_numpy(dtype=bool)
    if scale == "thousand":
        figures = np.where(grouped & open_ & (figures < 2), figures * 1000, figures)
    own = _on_scale(figures, scale, seen)
    values[open_] = _to_sg(figures[open_], scale)
    for other in ("sg", "thousand", "degrees"):
        if other == scale or (scale == "plato" and other == "degrees"):
            continue
        low, high = SCALES[other]
        strayed = open_ & ~own & (figures >= low) & (figures <= high)
        if scale == "sg" and other == "degrees":
            strayed &= figures > 7
        for at in np.flatnonzero(strayed):
            right = _from_sg(float(_to_sg(figures[[at]], other)[0]), scale)
            seen.blame(
                int(at),
                f"is on another scale than the rest of the column ({_SCALE_SAYS.get(scale, '°P')})",
                f"If it is the same reading, write {right}.",
            )


def _on_scale(figures: np.ndarray, scale: str, seen: Distinct) -> np.ndarray:
    low, high = SCALES[scale] if scale != "plato" else (-6.0, 33.0)
    inside = (figures >= low) & (figures <= high)
    if scale in ("degrees", "plato"):  # 1.065 among degrees is a gravity, 1.1 is one and a bit
        long = seen.texts.str.fullmatch(r"[01][.,]\d{3,}").to_numpy(dtype=bool)
        inside &= ~(long & (figures >= SCALES["sg"][0]) & (figures <= SCALES["sg"][1]))
    if scale == "plato":  # unless the whole column is written as finely
        fine = seen.texts.str.fullmatch(r"-?\d+[.,]\d{3,}").to_numpy(dtype=bool)
        above = (figures > 2) & (figures <= high)
        inside |= (figures >= low) & (figures <= high) & bool(fine[above].any())
    return inside


def _from_sg(sg: float, scale: str) -> str:
    if scale == "sg":
        return f"{sg:.4f}"
    if scale == "plato":
        return f"{float(sg_to_plato(sg)):.2f}"
    return f"{sg * 1000:.1f}" if scale == "thousand" else f"{(sg - 1) * 1000:.1f}"
