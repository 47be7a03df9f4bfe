"""Units that mean different amounts to different offices: asked about, never guessed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

LEAVE_OUT = "leave the column out"
REMARK = "a remark, no unit"


@dataclass(frozen=True, slots=True)
class Meaning:
    """One thing a unit may mean: in words, and as a unit word `units.conversion` knows.

    `home`: where it is usual, `UK` or `US`; "" where that tells nothing.
    """

    says: str
    unit: str
    home: str = ""


def _two(of: str, uk: str, us: str, uk_unit: str, us_unit: str) -> tuple[Meaning, ...]:
    return (
        Meaning(f"imperial {of} ({uk})", uk_unit, "UK"),
        Meaning(f"US {of} ({us})", us_unit, "US"),
    )


_GALLONS = _two("gallons", "4.546 L", "3.785 L", "imperialgallon", "usgallon")
_PINTS = _two("pints", "0.568 L", "0.473 L", "imperialpint", "uspint")
_TONS = (
    Meaning("tonnes (1,000 kg)", "tonne"),
    Meaning("long tons (2,240 lb)", "longton", "UK"),
    Meaning("short tons (2,000 lb)", "shortton", "US"),
)
_HUNDREDWEIGHT = (
    Meaning("long hundredweight (112 lb)", "longcwt", "UK"),
    Meaning("short hundredweight (100 lb)", "shortcwt", "US"),
)
_QUARTERS = (
    Meaning("quarters of barley (448 lb)", "barleyquarter", "UK"),
    Meaning("quarters of malt (336 lb)", "maltquarter", "UK"),
    Meaning("quarters of a hundredweight (28 lb)", "smallquarter", "UK"),
)
_BUSHELS = (
    Meaning("bushels of barley (56 lb)", "barleybushel", "UK"),
    Meaning("bushels of barley (48 lb)", "usbarleybushel", "US"),
    Meaning("bushels of malt (34 lb)", "maltbushel", "US"),
)
_BARRELS = (
    Meaning("imperial barrels (36 gallons, 163.7 L)", "imperialbarrel", "UK"),
    Meaning("US beer barrels (31 gallons, 117.3 L)", "beerbarrel", "US"),
)
_PROOF = (
    Meaning("UK proof (100 is 57.1 % vol)", "ukproof", "UK"),
    Meaning("US proof (twice the % vol)", "usproof", "US"),
)
_BRIX = (
    Meaning("extract by density or hydrometer, read as °P", "°p"),
    Meaning("by refractometer: no gravity once alcohol is there", LEAVE_OUT),
)
_PER_LITRE = (
    Meaning("mg per litre of pure alcohol", "mg/laa"),
    Meaning("mg per litre of sample: cannot be converted without its strength", LEAVE_OUT),
)
_PER_HECTOLITRE = (
    Meaning("g per 100 L of pure alcohol", "g/100laa"),
    Meaning("g per 100 L of sample: cannot be converted without its strength", LEAVE_OUT),
)
_DEGREES = (
    Meaning("degrees Celsius", "°c", "UK"),
    Meaning("degrees Fahrenheit", "°f", "US"),
)

_BY_WORD: Mapping[str, tuple[Meaning, ...]] = {
    **dict.fromkeys(
        ("gal", "gals", "gall", "galls", "gallon", "gallons", "bulkgal", "bulkgals"), _GALLONS
    ),
    **dict.fromkeys(("bulkgallon", "bulkgallons", "bg"), _GALLONS),
    **dict.fromkeys(("winegal", "winegals", "winegallon", "winegallons", "wg"), _GALLONS[::-1]),
    **dict.fromkeys(("pt", "pts", "pint", "pints"), _PINTS),
    **dict.fromkeys(("ton", "tons"), _TONS),
    **dict.fromkeys(("cwt", "cwts", "hundredweight", "hundredweights"), _HUNDREDWEIGHT),
    **dict.fromkeys(("qtr", "qtrs", "qr", "qrs", "quarter", "quarters"), _QUARTERS),
    **dict.fromkeys(("bu", "bus", "bsh", "bushel", "bushels"), _BUSHELS),
    **dict.fromkeys(("bbl", "bbls", "brl", "barrel", "barrels"), _BARRELS),
    **dict.fromkeys(("proof", "°proof", "proof°", "degproof", "degreesproof"), _PROOF),
    **dict.fromkeys(("bx", "°bx", "brix", "°brix", "degbrix", "%brix"), _BRIX),
    **dict.fromkeys(("mg/l", "ppm", "mgl-1"), _PER_LITRE),
    **dict.fromkeys(("g/hl", "g/100l", "mg/100ml"), _PER_HECTOLITRE),
    **dict.fromkeys(("°", "deg", "degrees"), _DEGREES),
}
WORDS = frozenset(_BY_WORD)
"""The units that may mean several amounts."""


def meanings(unit: str) -> tuple[Meaning, ...]:
    """What a unit word, or either side of `cwt/ac`, may mean; () for one with one meaning."""
    if unit in _BY_WORD:
        return _BY_WORD[unit]
    head, _, below = unit.partition("/")
    if below and head in _BY_WORD:
        return tuple(
            Meaning(f"{one.says} per {below}", f"{one.unit}/{below}", one.home)
            for one in _BY_WORD[head]
        )
    if below in _BY_WORD:
        return tuple(
            Meaning(f"{head} per {one.says}", f"{head}/{one.unit}", one.home)
            for one in _BY_WORD[below]
        )
    return ()


def chosen(unit: str, answer: str) -> str:
    """The unit word an answer settles on: one of the meanings, or any unit the answer names.

    `answer` may be a meaning's words or their beginning (`imperial`, `US gallons`), a unit, or
    `REMARK` ("" then: the column's own unit) or `LEAVE_OUT`.
    """
    said = _plain(answer)
    if said.startswith(_plain(REMARK)[:8]):
        return ""
    if said.startswith("leave"):
        return LEAVE_OUT
    for one in meanings(unit):
        if _plain(one.says).startswith(said) or _plain(one.unit) == said or _has(one.says, answer):
            return one.unit
    return re.sub(r"\s+", "", answer.casefold())


def _has(says: str, answer: str) -> bool:
    """Whether every word of the answer stands in the meaning: `448 lb`, `US`."""
    words = re.findall(r"[\w.,]+", answer.casefold())
    told = set(re.findall(r"[\w.,]+", says.casefold()))
    return bool(words) and all(word in told or f"{word}s" in told for word in words)


def _plain(text: str) -> str:
    return re.sub(r"[^\w%]+", " ", text.casefold()).strip()
