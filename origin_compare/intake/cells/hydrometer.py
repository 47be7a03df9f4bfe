"""A hydrometer read warm: corrected to 20 °C when told so, and what it showed kept beside."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.intake.cells.numbers import parse_figures
from origin_compare.intake.cells.reading import Hints, code
from origin_compare.intake.findings import Finding, finding
from origin_compare.intake.open_points import OpenPoint
from origin_compare.intake.raw_table import RawTable
from origin_compare.measures import sg_at_20c
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.units import split_unit

HYDROMETER = "hydrometer"
CALIBRATED: Mapping[str, float] = {
    "correct it, the hydrometer is calibrated at 20 °C": 20.0,
    "correct it, the hydrometer is calibrated at 15.56 °C (60 °F)": 15.56,
    "correct it, the hydrometer is calibrated at 17.5 °C": 17.5,
}
AS_WRITTEN = "it is corrected already, leave it"
_WARMEST = 40.0
_SAYS_RAW = re.compile(r"uncorr|not corr|as read|hydrometer|\braw\b|observed", re.I)
_SAYS_DONE = re.compile(r"(?<!un)(?<!not )corr(?!ect by)|at 20|20/20", re.I)
_SAMPLE = re.compile(r"sample.*(?:temp|°|deg)|(?:temp|°).*sample", re.I)


@dataclass(frozen=True, slots=True)
class Corrected:
    """`sg`: corrected gravities; `remarks`: per row what the hydrometer showed, "" where the
    gravity was left; `findings`: cells that could not be corrected."""

    sg: pd.Series
    remarks: pd.Series
    findings: tuple[Finding, ...] = ()


def hydrometer_asked(raw: RawTable, header: str, hints: Hints) -> OpenPoint | None:
    """The question about a column of gravities that says it was read and not corrected."""
    raw_reading = _SAYS_RAW.search(header) and not _SAYS_DONE.search(header)
    if not raw_reading or _answer(hints) is not None:
        return None
    sample = _sample_column(raw)
    beside = raw.headers[sample] if sample is not None else "the temperature of the same row"
    return OpenPoint(
        HYDROMETER,
        f"Shall {header} be corrected to 20 °C?",
        f"Its header says that it was read and not corrected; {beside} stands beside it.",
        (*CALIBRATED, AS_WRITTEN),
        next(iter(CALIBRATED)),
        column=header,
    )


def corrected(
    raw: RawTable, header: str, columns: Mapping[str, pd.Series], hints: Hints
) -> Corrected | None:
    """Gravities as read brought to 20 °C by the sample's temperature; None where nobody said so."""
    answer = _answer(hints)
    if answer is None or answer == AS_WRITTEN or not _SAYS_RAW.search(header):
        return None
    temps = _sample_temps(raw, hints)
    temps = columns["temp_c"] if temps is None else temps
    sg = columns["sg"]
    known = (sg.notna() & temps.between(0, _WARMEST)).to_numpy(dtype=bool)
    result = pd.Series(np.nan, index=sg.index)
    result[known] = sg_at_20c(sg[known], temps[known], _calibrated(answer))
    lost = np.flatnonzero(sg.notna().to_numpy() & ~known)
    shown = [f"{value:.4f}" for value in sg.iloc[lost]]
    said = "cannot be corrected to 20 °C: its temperature is missing or above 40 °C"
    found = finding(lost, "sg", shown, said, "Write the sample's temperature beside it.")
    texts = [
        f"as read {value:.4f} at {temp:g} °C" if yes else ""
        for value, temp, yes in zip(sg, temps, known, strict=True)
    ]
    return Corrected(result, pd.Series(texts, dtype="str"), (found,) if len(lost) else ())


def _answer(hints: Hints) -> str | None:
    return hints.answers.get(HYDROMETER) or None


def _calibrated(answer: str) -> float:
    if answer in CALIBRATED:
        return CALIBRATED[answer]
    named = re.search(r"\d+(?:\.\d+)?", answer)
    return float(named[0]) if named else 20.0


def _sample_column(raw: RawTable) -> int | None:
    return next((at for at, name in enumerate(raw.headers) if _SAMPLE.search(name)), None)


def _sample_temps(raw: RawTable, hints: Hints) -> pd.Series | None:
    """The sample's temperatures, °C, of a column of their own."""
    at = _sample_column(raw)
    if at is None:
        return None
    column = SHEETS["readings"].column("temp_c")
    told = Hints(split_unit(raw.headers[at])[1], hints.decimal_comma, header=raw.headers[at])
    return parse_figures(code(raw.cells[at]), column, told).values
