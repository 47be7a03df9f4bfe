"""What stands in a header's brackets: a unit, a remark, or something to be asked about."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from origin_compare.intake.open_points import UNIT, OpenPoint
from origin_compare.sheets.catalogue import Column
from origin_compare.sheets.unit_choices import LEAVE_OUT, REMARK, Meaning
from origin_compare.sheets.units import (
    conversion,
    gravity_scale,
    meanings_for,
    own_unit,
    settled,
    unit_words,
)

_REMARKS_WORDS = """
min max mean avg average median total est estimated approx about calc calculated measured target
planned actual final initial start end am pm optional required hand probe manual meter lab
laboratory nir kjeldahl dumas ebc iob asbc epc hplc gc new old code name no nr number id text
yes yes/no y/n net gross as-is asis ascertained corrected corr by20°c at20°c 20°c at20 @20°c @20
dmb odb
"""
_REMARKS = frozenset(_REMARKS_WORDS.split())
"""Words in brackets that say how, where or when, and change no figure."""

_SCALE = re.compile(r"/?\d+(?:[.,]\d+)?(?:(?:-|–|to|\.\.)\d+(?:[.,]\d+)?)?")


@dataclass(frozen=True, slots=True)
class HeaderUnit:
    """`unit`: the unit word the column is read in, "" for its own; `left_out`: by an answer."""

    unit: str = ""
    left_out: bool = False
    open_point: OpenPoint | None = None


def header_unit(
    column: Column, header: str, unit: str, answers: Mapping[str, str], spellings: frozenset[str]
) -> HeaderUnit:
    """The unit `header` carries for `column`; `spellings`: what the column itself is called.

    A unit of several meanings, one that does not fit and a word that is neither unit nor remark
    are settled by what was answered under `unit: …`, else asked about.
    """
    if not unit or column.kind in ("key", "text", "date", "moment"):
        return HeaderUnit(unit)
    fits = gravity_scale(unit) if column.kind == "gravity" else conversion(column, unit)
    if fits is not None:
        return HeaderUnit(unit)
    answer = answers.get(f"{UNIT}: {unit}", "")
    if answer:
        said = settled(column, unit, answer)
        if said is not None:
            return HeaderUnit("" if said == LEAVE_OUT else said, said == LEAVE_OUT)
    if not meanings_for(column, unit) and _is_remark(unit, spellings):
        return HeaderUnit("")
    return HeaderUnit(unit, open_point=unit_asked(column, header, unit))


def unit_asked(column: Column, header: str, unit: str) -> OpenPoint:
    """The question about a unit in a header or behind figures."""
    several = meanings_for(column, unit)
    own = own_unit(column).replace("_", " ") or column.says
    if several:
        return OpenPoint(
            f"{UNIT}: {unit}",
            f"What does {unit} mean in {header}?",
            f"It is not the same everywhere; the figures are kept in {own}.",
            (*(one.says for one in several), LEAVE_OUT),
            _usual(unit, several),
            column=header,
        )
    if unit_words(unit):
        return OpenPoint(
            f"{UNIT}: {unit}",
            f"{header} is taken for {column.says}, but {unit} is no unit of it. What is it?",
            f"The figures are kept in {own}.",
            (LEAVE_OUT, REMARK),
            column=header,
        )
    return OpenPoint(
        f"{UNIT}: {unit}",
        f"What is {unit} in {header}: a unit, or a remark?",
        f"No such unit is known; the figures are kept in {own}. A known unit may be written.",
        (REMARK, LEAVE_OUT),
        column=header,
    )


def _usual(unit: str, several: Sequence[Meaning]) -> str:
    """Bulk gallons were the British excise's, wine gallons are the American one's (from memory)."""
    home = "UK" if unit.startswith("bulk") else "US" if unit.startswith("wine") else ""
    return next((one.says for one in several if home and one.home == home), "")


def _is_remark(unit: str, spellings: frozenset[str]) -> bool:
    letters = "".join(sign for sign in unit if sign.isalnum())
    return unit in _REMARKS or letters in spellings or bool(_SCALE.fullmatch(unit))
