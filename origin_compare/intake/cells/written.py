"""What stands in a cell of figures: the figure, the unit behind it, and marks around it."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.intake.cells.reading import Distinct
from origin_compare.sheets.units import unit_word

POINT = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,2})?"
COMMA = r"[+-]?\d*,\d+"
_ODD_SIGNS = str.maketrans({"−": "-", "–": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " "})
_FIGURE = r"[+-]?(?:\d[\d.,'’\s]*\d|\d|[.,]\d+)"
_ABOUT = re.compile(rf"(?:[~≈]|(?:ca|circa|c|about|approx|abt)\.? ?)(?P<rest>\s*{_FIGURE}.*)", re.I)
_AFTER = re.compile(r"(?P<rest>.*?\d.*?)\s*(?P<mark>[*†‡§?!#^]+|\((?:e|est|est\.|calc|\*|\?)\))")
_WITH_UNIT = re.compile(rf"(?P<figure>{_FIGURE})\s*(?P<unit>[^\d\s.,/:][^\d]*\d?(?:/\S+)?)")
_BELOW = re.compile(
    rf"(?:[<≤]|(?:less|lower) than |below |under )\s*(?P<limit>{_FIGURE})(?P<unit>\s*\D*)", re.I
)
_FRACTIONS = {"½": 0.5, "¼": 0.25, "¾": 0.75, "⅓": 1 / 3, "⅔": 2 / 3, "⅛": 0.125}
_WITH_PART = re.compile(
    r"(?P<whole>[+-]?\d*)\s*(?:(?P<sign>[½¼¾⅓⅔⅛])|\s(?P<over>\d)/(?P<under>\d))"
)


@dataclass(frozen=True, slots=True)
class Written:
    """The distinct texts of a column taken apart; arrays go by distinct text.

    `figures`: the figure alone, "" where there is none; `units`: the unit word behind it;
    `marks`: what stood around it, as a remark; `below`: whether the figure is a limit that was
    not reached.
    """

    figures: pd.Series
    units: np.ndarray
    marks: np.ndarray
    below: np.ndarray


def taken_apart(seen: Distinct) -> Written:
    """Figure, unit and marks of every distinct text; a plain figure costs nothing more."""
    texts = seen.texts.str.translate(_ODD_SIGNS) if _has_odd(seen.texts) else seen.texts
    units = np.full(len(texts), "", dtype=object)
    marks = np.full(len(texts), "", dtype=object)
    below = np.zeros(len(texts), dtype=bool)
    plain = texts.str.fullmatch(rf"{POINT}|{COMMA}").to_numpy(dtype=bool)
    others = np.flatnonzero(~plain & ~seen.missing)
    if not len(others):
        return Written(texts, units, marks, below)
    figures = texts.to_numpy(dtype=object).copy()
    for at in others:
        figures[at], units[at], marks[at], below[at] = _one(str(figures[at]))
    return Written(pd.Series(figures, dtype="str"), units, marks, below)


def _one(text: str) -> tuple[str, str, str, bool]:
    """(figure, unit word, mark, below a limit); the whole text as figure where it is none."""
    low = _BELOW.fullmatch(text)
    if low:
        return low["limit"].strip(), unit_word(low["unit"]), text, True
    rest, mark = _marks(text)
    part = _WITH_PART.fullmatch(rest)
    if part and (part["sign"] or part["under"] != "0"):
        return _with_part(part), "", mark, False
    match = _WITH_UNIT.fullmatch(rest)
    if match:
        return match["figure"].strip(), unit_word(match["unit"]), mark, False
    return (rest if mark else text), "", mark, False


def _marks(text: str) -> tuple[str, str]:
    """The text without `~`, `ca.` before and `*`, `?` behind it, and the text if it had some."""
    rest = text
    about = _ABOUT.fullmatch(rest)
    if about:
        rest = about["rest"].strip()
    after = _AFTER.fullmatch(rest)
    if after:
        rest = after["rest"].strip()
    return rest, text if rest != text else ""


def _with_part(match: re.Match[str]) -> str:
    """`6½` and `16 1/2` as decimal figures."""
    whole = match["whole"]
    part = _FRACTIONS[match["sign"]] if match["sign"] else int(match["over"]) / int(match["under"])
    value = abs(int(whole or 0)) + part if whole not in ("+", "-") else part
    return f"{'-' if whole.startswith('-') else ''}{value:.10g}"


def _has_odd(texts: pd.Series) -> bool:
    return bool(texts.str.contains("[−–\u00a0\u202f\u2009]", regex=True).any())
