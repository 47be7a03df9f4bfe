"""Random figures written as offices write them: what goes in is what was meant, or it is asked."""

from __future__ import annotations

import os

import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from origin_compare.intake.cells.reading import Hints, code
from origin_compare.intake.clean import parse_column
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.units import conversion

EXAMPLES = int(os.environ.get("INTAKE_EXAMPLES", "60"))
WORT = SHEETS["fermentations"].column("wort_l")
UNITS = {"": 1.0, " L": 1.0, " hL": 100.0, " kL": 1000.0, " m3": 1000.0, " US gal": 3.785411784}


def _grouped(value: float, places: int, point: str, group: str) -> str:
    text = f"{value:,.{places}f}"
    return text.replace(",", "\0").replace(".", point).replace("\0", group)


@settings(max_examples=EXAMPLES, deadline=None)
@given(
    st.lists(st.integers(1_000, 99_000), min_size=1, max_size=8),
    st.sampled_from([0, 1, 2, 3]),
    st.sampled_from([(".", ","), (",", "."), (",", " "), (".", "'"), (".", ""), (",", "")]),
    st.sampled_from(sorted(UNITS)),
)
def test_volumes_go_in_as_meant_or_are_asked_about(
    thousandths: list[int], places: int, signs: tuple[str, str], unit: str
) -> None:
    meant = [round(one / 7, places) for one in thousandths]
    assume(all(1 <= one * UNITS[unit] <= 1e6 for one in meant))  # no wort beyond what is possible
    cells = [_grouped(one, places, *signs) + unit for one in meant]
    read = parse_column(code(pd.Series(cells, dtype="str")), WORT, Hints())
    if read.open_points:
        assert {one.key for one in read.open_points} == {"decimal sign"}
        said = "decimal comma" if signs[0] == "," else "decimal point"
        answered = Hints(decimal_comma=said == "decimal comma")
        read = parse_column(code(pd.Series(cells, dtype="str")), WORT, answered)
    wanted = [one * UNITS[unit] for one in meant]
    for value, right in zip(read.values, wanted, strict=True):
        assert pd.isna(value) or value == pytest.approx(right, rel=1e-9)
    blamed = {int(at) for one in read.findings for at in one.at}
    assert all(pd.notna(value) or at in blamed for at, value in enumerate(read.values))


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.dates(pd.Timestamp("1990-01-01").date(), pd.Timestamp("2049-12-31").date()), st.data())
def test_days_go_in_as_meant_or_are_asked_about(day: object, data: st.DataObject) -> None:
    forms = ["%d/%m/%Y", "%m/%d/%Y", "%Y-%m-%d", "%d.%m.%Y", "%d %b %Y", "%B %d, %Y", "%a %d/%m/%Y"]
    form = data.draw(st.sampled_from([*forms, "%a %m/%d/%Y", "%d-%b-%y", "%G-W%V-%u"]))
    column = SHEETS["lots"].column("sown_on")
    cells = code(pd.Series([f"{day:{form}}"], dtype="str"))
    read = parse_column(cells, column, Hints())
    if read.open_points:
        order = "month first" if "%m/%d" in form else "day first"
        read = parse_column(cells, column, Hints(answers={"date order": order}))
    assert read.values.tolist() == [pd.Timestamp(str(day))]
    assert not read.findings


@pytest.mark.parametrize(
    ("sheet", "column", "unit", "factor"),
    [
        ("lots", "area_ha", "acre", 0.40468564224),
        ("lots", "yield_t_ha", "t/acre", 2.471053814672),
        ("lots", "rain_mm", "inches", 25.4),
        ("readings", "hours", "days", 24.0),
        ("fermentations", "wort_l", "kl", 1000.0),
        ("fermentations", "yeast_kg", "lb", 0.45359237),
        ("congeners", "g_100l_aa", "mg/100mlaa", 1.0),
        ("yeasts", "viability_pct", "fraction", 100.0),
    ],
)
def test_factors_are_those_of_the_definitions(
    sheet: str, column: str, unit: str, factor: float
) -> None:
    told = conversion(SHEETS[sheet].column(column), unit)
    assert told == (pytest.approx(factor, rel=1e-9), 0.0)


def test_fahrenheit_has_its_offset() -> None:
    factor, offset = conversion(SHEETS["readings"].column("temp_c"), "°f") or (0.0, 0.0)
    assert 212 * factor + offset == pytest.approx(100.0, abs=1e-6)
    assert 32 * factor + offset == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("word", ["hand", "chain", "vat", "point", "est", "batch", "min/max"])
def test_words_that_are_units_elsewhere_are_none_here(word: str) -> None:
    assert conversion(SHEETS["lots"].column("rain_mm"), word) is None
