"""Gravity in cells: SG 20/20 °C from one scale per column, told by header, cells or figures."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from origin_compare.intake.cells.numbers import (
    blame_below,
    check_range,
    read_figures,
    remarks_of,
)
from origin_compare.intake.cells.reading import Coded, Distinct, Hints, Parsed, parsed
from origin_compare.intake.cells.written import Written, taken_apart
from origin_compare.intake.header_units import unit_asked
from origin_compare.intake.open_points import SCALE, UNIT, OpenPoint
from origin_compare.measures import plato_to_sg, sg_to_plato
from origin_compare.sheets.catalogue import Column
from origin_compare.sheets.unit_choices import LEAVE_OUT
from origin_compare.sheets.units import gravity_scale, meanings_for, settled

SCALES = {"sg": (0.95, 1.2), "thousand": (950.0, 1200.0), "degrees": (-25.0, 200.0)}
_SCALE_SAYS = {"sg": "like 1.0652", "thousand": "like 1065.2", "degrees": "like 65.2"}
ASKED: Mapping[str, str] = {
    "°P": "plato",
    "degrees of gravity (65 is 1.065)": "degrees",
    "SG (1.065)": "sg",
    "gravity over 1000 (1065)": "thousand",
}
EACH = "each by its own size (1.046, 1046 and 46 are one)"
ALONE = "set aside what is on another scale"
BETWEEN, TEMPERATURE = "half way between the two", "gravity and temperature"
PAIR = "two figures in a cell"
_PAIR = (
    r"(?P<first>\d{3,4}(?:[.,]\d+)?|[01][.,]\d+)\s*(?P<by>[/@])\s*"
    r"(?P<second>\d{1,2}(?:[.,]\d+)?)\s*°?[cC]?"
)
_MANY = 0.2
"""Scales that each hold this share of a column are no slips: the column is asked about."""


def parse_gravity(coded: Coded, column: Column, hints: Hints) -> Parsed:
    """Gravity as SG 20/20 °C from one scale per column, or from the unit in header or cell.

    The scale most cells are on holds for the column; a cell on another scale is a fault. A column
    whose figures could be on two scales, and one that mixes scales throughout, are asked about.
    """
    seen = Distinct(coded)
    written_, temperatures, pairs = _pairs(seen, taken_apart(seen), hints)
    figures = read_figures(seen, written_, column, hints, None)[0]
    values = np.full(len(figures), np.nan)
    units, asked = _with_units(figures, values, written_, seen, column, hints)
    open_ = ~np.isnan(figures) & (units == "")
    scale, more = _scale(figures, seen, open_, units, hints)
    if scale == EACH:
        values[open_] = _each_by_size(figures[open_], seen.texts[open_])
    elif scale is not None:
        _rescale(values, figures, seen, open_, scale)
    blame_below(seen, written_)
    check_range(values, seen, column)
    values[seen.faulty] = np.nan
    remarks = remarks_of(seen, written_)
    read = parsed(column.name, seen, pd.Series(values), (*asked, *more, *pairs), remarks)
    if temperatures is None:
        return read
    beside = {"temp_c": coded.spread(pd.Series(temperatures))}
    return Parsed(read.values, read.findings, read.open_points, read.remarks, beside)


def _pairs(
    seen: Distinct, written_: Written, hints: Hints
) -> tuple[Written, np.ndarray | None, tuple[OpenPoint, ...]]:
    """`1046 @ 27.5` is a gravity at a temperature; `1015/14` may be that or two readings of one."""
    two = seen.texts.str.extract(rf"^{_PAIR}$")
    at = np.flatnonzero(two["first"].notna())
    if not len(at):
        return written_, None, ()
    by = two["by"].to_numpy(dtype=object)[at]
    answer = TEMPERATURE if (by == "@").all() else hints.answers.get(PAIR, "")
    if not answer:
        return written_, None, (_pair_asked(two.iloc[at]),)
    figures, marks = written_.figures.copy(), written_.marks.copy()
    first = two["first"].str.replace(",", ".").astype("float64").to_numpy()
    second = two["second"].str.replace(",", ".").astype("float64").to_numpy()
    written_ = Written(figures, written_.units, marks, written_.below)
    if answer == TEMPERATURE:
        figures.iloc[at] = [str(one) for one in two["first"].iloc[at]]
        return written_, second, ()
    for one in at:
        figures.iloc[int(one)] = f"{(first[one] + _ending(first[one], second[one])) / 2:.10g}"
        marks[one] = seen.texts.iloc[one]
    return written_, None, ()


def _ending(first: float, second: float) -> float:
    """`14` behind 1015 is 1014: the last two figures alone are written the second time."""
    near = first - first % 100 + second
    return min((near - 100, near, near + 100), key=lambda one: abs(one - first))


def _pair_asked(two: pd.DataFrame) -> OpenPoint:
    first, second = (
        two[name].str.replace(",", ".").astype("float64") for name in ("first", "second")
    )
    close = all(abs(_ending(a, b) - a) <= 2 for a, b in zip(first, second, strict=True))
    sample = f"{two['first'].iloc[0]}{two['by'].iloc[0]}{two['second'].iloc[0]}"
    evidence = "The second figures end as the first, or one off." if close else ""
    return OpenPoint(
        PAIR,
        f"What does {sample} mean?",
        evidence,
        (TEMPERATURE, BETWEEN),
        BETWEEN if close else TEMPERATURE,
    )


def _with_units(
    figures: np.ndarray,
    values: np.ndarray,
    written_: Written,
    seen: Distinct,
    column: Column,
    hints: Hints,
) -> tuple[np.ndarray, tuple[OpenPoint, ...]]:
    """SG of the cells that carry a unit; the units (all that were met), and what is asked."""
    units = written_.units
    asked: list[OpenPoint] = []
    for unit in dict.fromkeys(units[units != ""]):
        here = ~np.isnan(figures) & (units == unit)
        answer = hints.answers.get(f"{UNIT}: {unit}", "")
        told = settled(column, unit, answer) if answer else unit
        scale = gravity_scale(told) if told else None
        if scale is not None:
            values[here] = _to_sg(figures[here], scale)
        elif meanings_for(column, unit) and told != LEAVE_OUT:
            asked.append(unit_asked(column, hints.header or column.name, unit))
        else:
            seen.blame(
                here,
                f"has the unit {unit}, which is none of gravity",
                "Write it as SG, like 1.0652.",
            )
    return units, tuple(asked)


def _scale(
    figures: np.ndarray, seen: Distinct, open_: np.ndarray, units: np.ndarray, hints: Hints
) -> tuple[str | None, tuple[OpenPoint, ...]]:
    """The scale of the cells without a unit, and the question where nothing settles it."""
    key = f"{SCALE}: {hints.header}"
    answer = hints.answers.get(key, "")
    if answer and answer != ALONE:
        each = answer == EACH or "one" in answer.split()
        return EACH if each else ASKED.get(answer, gravity_scale(answer.casefold())), ()
    if hints.unit:
        return gravity_scale(hints.unit), ()
    others = {gravity_scale(str(unit)) for unit in units[units != ""]} - {None}
    fine = seen.texts.str.fullmatch(r"[01][.,]\d{3,}").to_numpy(dtype=bool)
    if others and (open_ & (figures <= 33) & ~fine).any():
        return None, (_bare_asked(key, figures, seen, open_, units),)
    shares = _shares(figures, seen, open_)
    cells = int(seen.counts[open_].sum())
    many = [share for share in shares.values() if share >= _MANY and share * cells > 1]
    if len(many) > 1 and answer != ALONE:
        return None, (_mixed_asked(key, seen, figures, open_),)
    scale = _column_scale(figures, open_, shares)
    if scale is None:
        return None, (_plato_or_degrees(key, seen, open_),)
    return scale, ()


def _shares(figures: np.ndarray, seen: Distinct, open_: np.ndarray) -> dict[str, float]:
    """The share of cells that lie on each scale; what fits none of the first two is degrees."""
    weights = np.where(open_, seen.counts, 0)
    total = max(weights.sum(), 1)
    on = {
        name: weights[(figures >= SCALES[name][0]) & (figures <= SCALES[name][1])].sum() / total
        for name in ("sg", "thousand")
    }
    low, high = SCALES["degrees"]
    inside = open_ & (figures >= low) & (figures <= high)
    on["degrees"] = weights[inside].sum() / total - on["sg"]
    return on


def _column_scale(
    figures: np.ndarray, open_: np.ndarray, shares: Mapping[str, float]
) -> str | None:
    """The scale of most cells; None if they may be degrees Plato as well as degrees of gravity."""
    sg, thousand = shares["sg"], shares["thousand"]
    degrees = 1 - sg - thousand
    if not open_.any() or sg >= max(thousand, degrees):
        return "sg"
    if thousand >= degrees:
        return "thousand"
    return "degrees" if bool((figures[open_] > 33).any()) else None


def _samples(seen: Distinct, open_: np.ndarray) -> str:
    texts = [str(text) for text in seen.texts[open_]]
    return ", ".join(texts[:3])


def _plato_or_degrees(key: str, seen: Distinct, open_: np.ndarray) -> OpenPoint:
    return OpenPoint(
        key,
        "Are these gravities °P or degrees of gravity?",
        f"Figures such as {_samples(seen, open_)} may be either, and the header does not tell.",
        tuple(ASKED)[:2],
    )


def _bare_asked(
    key: str, figures: np.ndarray, seen: Distinct, open_: np.ndarray, units: np.ndarray
) -> OpenPoint:
    unit = next(str(one) for one in units if one and gravity_scale(str(one)))
    default = next(says for says, scale in ASKED.items() if scale == gravity_scale(unit))
    return OpenPoint(
        key,
        f"On which scale are the gravities without a unit, such as {_samples(seen, open_)}?",
        f"Other cells of the column carry {unit}.",
        tuple(ASKED),
        default,
    )


def _mixed_asked(key: str, seen: Distinct, figures: np.ndarray, open_: np.ndarray) -> OpenPoint:
    kinds = []
    for low, high in (SCALES["sg"], SCALES["thousand"], (1.2, 200.0)):
        here = np.flatnonzero(open_ & (figures >= low) & (figures <= high))
        kinds += [str(seen.texts.iloc[here[0]])] if len(here) else []
    return OpenPoint(
        key,
        f"Are {' and '.join(kinds)} of one column each written on their own scale?",
        "More than one cell in five is on another scale than the rest.",
        (EACH, ALONE),
    )


def _each_by_size(figures: np.ndarray, texts: pd.Series) -> np.ndarray:
    """SG of figures each on the scale its size tells; 1.0 with few places is degrees."""
    fine = texts.str.fullmatch(r"[01][.,]\d{3,}").to_numpy(dtype=bool)
    thousand = (figures >= SCALES["thousand"][0]) & (figures <= SCALES["thousand"][1])
    return np.where(fine, figures, np.where(thousand, figures / 1000, 1 + figures / 1000))


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


def _rescale(
    values: np.ndarray,
    figures: np.ndarray,
    seen: Distinct,
    open_: np.ndarray,
    scale: str,
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
