"""Cells as people write them: what each becomes, and what is said where it becomes nothing."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from origin_compare.intake.cells.reading import Hints, code
from origin_compare.intake.clean import parse_column
from origin_compare.intake.headers import column_spellings
from origin_compare.intake.open_points import OpenPoint
from origin_compare.measures import plato_to_sg
from origin_compare.sheets.catalogue import SHEETS

UTC = "UTC"


def read(
    sheet: str, column: str, cells: list[str], **hints: object
) -> tuple[list[object], list[str]]:
    """Values (None where missing) and messages of one column."""
    spec = SHEETS[sheet].column(column)
    told = Hints(**{"spellings": column_spellings(spec), **hints})  # type: ignore[arg-type]
    parsed = parse_column(code(pd.Series(cells, dtype="str")), spec, told)
    values = [None if pd.isna(value) else value for value in parsed.values]
    said = [
        f"{value} {wrong}. {mend}"
        for one in parsed.findings
        for value, wrong, mend in zip(one.values, one.wrong, one.mend, strict=True)
    ]
    return values, said


def asked(sheet: str, column: str, cells: list[str], **hints: object) -> tuple[OpenPoint, ...]:
    """What one column leaves open."""
    spec = SHEETS[sheet].column(column)
    told = Hints(**{"spellings": column_spellings(spec), **hints})  # type: ignore[arg-type]
    return parse_column(code(pd.Series(cells, dtype="str")), spec, told).open_points


@pytest.mark.parametrize(
    ("cells", "values"),
    [
        (["5.1", "4", " 4.25", "+4.5"], [5.1, 4.0, 4.25, 4.5]),
        (["5,1", "4", "4,25"], [5.1, 4.0, 4.25]),
        (["", "-", "n/a", "NA", "–", "None", "5.0"], [None] * 6 + [5.0]),
        (["4,213", "4"], [4.213, 4.0]),  # 4213 is no pH, whatever the comma means
        (["5.1e0"], [5.1]),
    ],
)
def test_numbers(cells: list[str], values: list[object]) -> None:
    assert read("readings", "ph", cells) == (values, [])


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("44", "44 is outside 2.5 to 7.0. A decimal point lost? Write 4.4."),
        ("652", "652 is outside 2.5 to 7.0. A decimal point lost? Write 6.52."),
        (
            "1.065",
            "1.065 is outside 2.5 to 7.0. This looks like a gravity. Were the columns swapped? "
            "Write the pH here.",
        ),
        (
            "-4.4",
            "-4.4 is outside 2.5 to 7.0. Check the figure against the record it came from.",
        ),
        (
            "<3.5",
            "<3.5 is below a limit of 3.5, so there is no figure. Nothing to mend: it is no 0, and "
            "the limit is kept as a remark where there is a note.",
        ),
        (
            "tr",
            "tr is no figure but a remark that too little was found. Write the laboratory's limit "
            "in the note and leave the cell empty; do not write 0.",
        ),
        ("low", "low is not a figure. Write a figure, or leave the cell empty."),
        ("inf", "inf is not a figure. Write a figure, or leave the cell empty."),
        ("4.4.4", "4.4.4 is not a figure. Write a figure, or leave the cell empty."),
        ("12:30", "12:30 is a time, not a figure. Write 12.5 for hours."),
        (
            "=1+1",
            "=1+1 is a formula, not a figure. Paste the column as values, then load the file "
            "again.",
        ),
        (
            "5 °C",
            "5 °C has a unit, °c, that does not fit this column. Write the figure alone.",
        ),
    ],
)
def test_a_cell_that_is_no_ph_says_what_to_do(cell: str, said: str) -> None:
    assert read("readings", "ph", ["5.0", cell]) == ([5.0, None], [said])


@pytest.mark.parametrize(
    ("cells", "values"),
    [
        (["12000", "12,000", "1,250.5"], [12000, 12000, 1250.5]),  # a point elsewhere: thousands
        (["12.000", "250,5"], [12000, 250.5]),  # a comma elsewhere: points group thousands
        (["85,000 L", "250.5 L"], [85000, 250.5]),
        (["1.250 L", "250,5"], [1250, 250.5]),
        (["8’270 L", "8 350 L"], [8270, 8350]),
        (["25 000", "1'500", "25\u202f000,5"], [25000, 1500, 25000.5]),
        (["1.234.567"], [None]),  # past a million litres
        (["123.456,5"], [123456.5]),
        (["250 hl"], [25000]),
        (["25 m3", "25000 L"], [25000, 25000]),
    ],
)
def test_thousands(cells: list[str], values: list[object]) -> None:
    assert read("fermentations", "wort_l", cells)[0] == values


@pytest.mark.parametrize("cell", ["25,000", "25.000", "25,000 L", "1.250 L", "8.000"])
def test_a_figure_with_two_readings_is_asked_about(cell: str) -> None:
    (point,) = asked("fermentations", "wort_l", [cell])
    assert (point.key, point.holds) == ("decimal sign", True)
    assert cell.removesuffix(" L") in point.what
    assert point.choices == ("decimal point", "decimal comma")


@pytest.mark.parametrize(
    ("cell", "comma", "value"),
    [
        ("25,000", False, 25000),
        ("25.000", True, 25000),
        ("25.000", False, 25),
        ("25,000 L", False, 25000),
        ("1.250 L", True, 1250),
        ("8.000", True, 8000),
    ],
)
def test_the_table_settles_what_a_cell_leaves_open(cell: str, comma: bool, value: float) -> None:
    assert read("fermentations", "wort_l", [cell], decimal_comma=comma) == ([value], [])


@pytest.mark.parametrize(
    ("cells", "unit", "values"),
    [
        (["1.0652", "1.05", "0.998", "1"], "", [1.0652, 1.05, 0.998, 1.0]),
        (["1,0652", "1,05"], "", [1.0652, 1.05]),
        (["1065.2", "998"], "", [1.0652, 0.998]),
        (["1,065", "1065", "998"], "", [1.065, 1.065, 0.998]),
        (["65.2", "50", "1.1", "-2"], "", [1.0652, 1.05, 1.0011, 0.998]),
        (["15.9 °P", "12 P"], "", [float(plato_to_sg(15.9)), float(plato_to_sg(12.0))]),
        (["15,9", "0"], "°p", [float(plato_to_sg(15.9)), float(plato_to_sg(0.0))]),
        (["1.0652", "15.9 °P"], "", [1.0652, float(plato_to_sg(15.9))]),
        (["10", "1.5"], "degrees", [1.010, 1.0015]),
    ],
)
def test_gravity_on_every_scale(cells: list[str], unit: str, values: list[float]) -> None:
    found, said = read("readings", "sg", cells, unit=unit)
    assert said == [] and found == pytest.approx(values, abs=1e-9)


def test_another_scale_within_a_column_is_a_fault() -> None:
    assert read("readings", "sg", ["1.065", "1.050", "1042", "1.030"]) == (
        [1.065, 1.05, None, 1.03],
        [
            "1042 is on another scale than the rest of the column (like 1.0652). If it is the "
            "same reading, write 1.0420."
        ],
    )
    assert read("readings", "sg", ["65.2", "50", "1.042", "30"])[1] == [
        "1.042 is on another scale than the rest of the column (like 65.2). If it is the same "
        "reading, write 42.0."
    ]
    assert read("readings", "sg", ["1065", "1050", "42"])[1] == [
        "42 is on another scale than the rest of the column (like 1065.2). If it is the same "
        "reading, write 1042.0."
    ]


def test_low_figures_may_be_plato_or_degrees() -> None:
    cells = ["15.9", "8", "2.1"]
    (point,) = asked("readings", "sg", cells)
    assert str(point) == (
        "Are these gravities °P or degrees of gravity? Figures such as 15.9, 8, 2.1 may be either, "
        "and the header does not tell."
    )
    told, _ = read("readings", "sg", cells, answers={"gravity: ": "°P"})
    assert told == pytest.approx([float(plato_to_sg(one)) for one in (15.9, 8.0, 2.1)])


def test_a_bare_figure_among_plato_is_no_specific_gravity() -> None:
    cells = ["12.5 °P", "6.2 °P", "1.1"]
    (point,) = asked("readings", "sg", cells)
    assert (point.default, point.holds) == ("°P", True)
    told, said = read("readings", "sg", cells, answers={"gravity: ": point.default})
    assert said == []
    assert told[2] == pytest.approx(float(plato_to_sg(1.1)))


def test_three_scales_in_one_column_are_asked_about() -> None:
    cells = ["1.0633", "1057.5", "42.8", "1.0214", "1006.6", "0.8"]
    (point,) = asked("readings", "sg", cells)
    told, said = read("readings", "sg", cells, answers={"gravity: ": point.choices[0]})
    assert said == []
    assert told == pytest.approx([1.0633, 1.0575, 1.0428, 1.0214, 1.0066, 1.0008])


def test_a_ph_in_the_gravity_column() -> None:
    assert read("readings", "sg", ["1.065", "4.4"])[1] == [
        "4.4 is outside 0.98 to 1.14. This looks like a pH. Were the columns swapped? Write the "
        "gravity here."
    ]


@pytest.mark.parametrize(
    ("cells", "unit", "values"),
    [
        (["21.5", "30 °C", "28,5 C"], "", [21.5, 30.0, 28.5]),
        (["68", "86"], "°f", [20.0, 30.0]),
        (["68 °F", "20"], "", [20.0, 20.0]),
        (["20 °C", "68"], "°f", [20.0, 20.0]),
    ],
)
def test_temperatures(cells: list[str], unit: str, values: list[float]) -> None:
    found, said = read("readings", "temp_c", cells, unit=unit)
    assert said == [] and found == pytest.approx(values)


def test_fahrenheit_among_celsius_is_pointed_out() -> None:
    assert read("readings", "temp_c", ["21", "86"])[1] == [
        "86 is outside -5 to 60. In °F? 86 °F is 30.0 °C. Write 30.0."
    ]


def test_counts_are_whole() -> None:
    assert read("scores", "replicate", ["1", "2.0", "1.5"]) == (
        [1, 2, None],
        ["1.5 is not a whole number. Write a whole number."],
    )


def test_a_share_where_a_percentage_is_wanted() -> None:
    assert read("lots", "grain_moisture_pct", ["0.145"])[1] == [
        "0.145 is outside 5 to 40. A share instead of a percentage? Write 14.5."
    ]


def test_keys_keep_words_that_look_missing() -> None:
    assert read("growers", "grower_id", ["NA", "None", "  G  1 ", "-"])[0] == [
        "NA",
        "None",
        "G 1",
        None,
    ]


def test_choices() -> None:
    assert read("yeasts", "form", ["Pressed", "dried", "presed", "liquid"]) == (
        ["pressed", "dried", None, None],
        [
            "presed is none of dried, pressed, cream. Write pressed.",
            "liquid is none of dried, pressed, cream. Write one of these, or leave the cell empty.",
        ],
    )


@pytest.mark.parametrize(
    "cell",
    [
        "2025-03-14",
        "2025/03/14",
        "20250314",
        "14/03/2025",
        "14.3.2025",
        "14-03-2025",
        "14/3/25",
        "14 Mar 2025",
        "14-Mar-25",
        "14 March 2025",
        "Mar 14, 2025",
        "45730",
        "2025-03-14 08:30",
        "2025-03-14T08:30:00",
    ],
)
def test_dates(cell: str) -> None:
    assert read("lots", "sown_on", [cell]) == ([pd.Timestamp("2025-03-14")], [])


@pytest.mark.parametrize(
    "cell",
    [
        "2025-03-14 08:30",
        "2025-03-14T08:30",
        "2025-03-14 08:30:00",
        "14/03/2025 08:30",
        "14.03.2025 8:30",
        "14/3/2025 8:30 AM",
        "14 Mar 2025 08:30",
        "45730.354166667",
        "45730,354166667",
        "2025-03-14 08:30Z",
        "2025-03-14T09:30+01:00",
    ],
)
def test_moments(cell: str) -> None:
    assert read("readings", "read_at", [cell]) == ([pd.Timestamp("2025-03-14 08:30", tz=UTC)], [])


def test_midnight_may_be_written_24_00() -> None:
    midnight = pd.Timestamp("2025-03-15 00:00", tz=UTC)
    assert (
        read("readings", "read_at", ["14/03/2025 24:00", "2025-03-14 24:00"])[0] == [midnight] * 2
    )


def test_a_day_without_a_time_is_no_moment() -> None:
    assert read("readings", "read_at", ["14/03/2025"]) == (
        [None],
        ["14/03/2025 has no time of day. Write the time as well, such as 14/03/2025 08:00."],
    )


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("31/02/2025", "31/02/2025 is no date that can be read. Write it like 14/03/2025."),
        ("soon", "soon is no date that can be read. Write it like 14/03/2025."),
        ("14/03/1025", "14/03/1025 is outside the years 1950 to 2099. Check the year."),
    ],
)
def test_dates_that_are_none(cell: str, said: str) -> None:
    assert read("lots", "sown_on", ["15/03/2025", cell])[1] == [said]


def test_the_order_of_day_and_month_goes_by_the_column() -> None:
    third_of_april = pd.Timestamp("2025-04-03")
    assert read("lots", "sown_on", ["03/04/2025", "14/03/2025"])[0][0] == third_of_april
    assert read("lots", "sown_on", ["04/03/2025", "03/14/2025"])[0][0] == third_of_april
    assert read("lots", "sown_on", ["04/03/2025"], month_first=True) == ([third_of_april], [])


def test_an_order_nothing_tells_is_asked_about() -> None:
    cells = ["03/04/2025", "05/06/2025"]
    (point,) = asked("lots", "sown_on", cells, header="Sown")
    assert str(point) == (
        "Does 03/04/2025 in Sown begin with the day or with the month? Every date of the table "
        "fits both. Day first they run from 2025-04-03 to 2025-06-05, month first from 2025-03-04 "
        "to 2025-05-06."
    )
    month_first = read("lots", "sown_on", cells, answers={"date order": "month first"})
    assert month_first == ([pd.Timestamp("2025-03-04"), pd.Timestamp("2025-05-06")], [])


def test_readings_of_one_batch_months_apart_tell_the_order() -> None:
    cells = [f"0{day}/02/2025 08:00" for day in (3, 4, 5, 6)]
    values, said = read("readings", "read_at", cells, groups=np.zeros(4, dtype=np.int64))
    assert said == []
    assert values[0] == pd.Timestamp("2025-02-03 08:00", tz="UTC")
    turned = [f"02/0{day}/2025 08:00" for day in (3, 4, 5, 6)]
    assert read("readings", "read_at", turned, groups=np.zeros(4, dtype=np.int64))[0] == values


def test_a_day_of_the_week_tells_the_order() -> None:
    assert read("lots", "sown_on", ["Tue 04/03/2025"]) == ([pd.Timestamp("2025-03-04")], [])
    assert read("lots", "sown_on", ["Tue 03/04/2025"]) == ([pd.Timestamp("2025-03-04")], [])
    _, said = read("lots", "sown_on", ["Tue 13/03/2025"])
    assert said == [
        "Tue 13/03/2025 names another day of the week than 2025-03-13, a Thursday. Correct the "
        "one that is wrong."
    ]


def test_eight_forms_in_one_column_are_settled_together() -> None:
    cells = [
        "03/03/2025 08:00",
        "2025-03-05 11:07",
        "07.03.25 14:14",
        "09 Mar 2025 17:21",
        "Tue 11/03/2025 00:28",
        "13-Mar-25 03.35",
        "15/03/25 06:42 AM",
        "March 17, 2025 09:49",
        "26. Februar 2025, 08:15 Uhr",
        "03.11.2025, 06:30",
        "2025-W14-2 16h30",
        "1st April 2025 0830",
    ]
    days = "2025-03-03 08:00|2025-03-05 11:07|2025-03-07 14:14|2025-03-09 17:21|2025-03-11 00:28"
    days += "|2025-03-13 03:35|2025-03-15 06:42|2025-03-17 09:49|2025-02-26 08:15"
    days += "|2025-11-03 06:30|2025-04-01 16:30|2025-04-01 08:30"
    values, said = read("fermentations", "pitched_at", cells)
    assert said == []
    assert values == [pd.Timestamp(one, tz="UTC") for one in days.split("|")]


def test_the_zone_is_asked_about_where_nobody_said_it() -> None:
    (point,) = asked("readings", "read_at", ["2025-06-03 08:00"], zone_stated=False)
    assert (point.key, point.default, point.holds) == ("time zone", "UTC", False)
    assert not asked("readings", "read_at", ["2025-06-03 08:00+01:00"], zone_stated=False)
    london = read(
        "readings", "read_at", ["2025-06-03 08:00"], answers={"time zone": "Europe/London"}
    )
    assert london[0] == [pd.Timestamp("2025-06-03 07:00", tz="UTC")]
    as_told = read("readings", "read_at", ["2025-06-03 08:00 BST"], time_zone="UTC")
    assert as_told[0] == london[0]
    header = read(
        "readings", "read_at", ["2025-06-03 07:00"], unit="utc", time_zone="Europe/London"
    )
    assert header[0] == london[0]


@pytest.mark.parametrize(
    ("column", "cell", "value"),
    [
        ("ph", "4.4 pH", 4.4),
        ("sg", "1060.5*", 1.0605),
        ("sg", "~1055", 1.055),
        ("temp_c", "ca. 21.5 °C", 21.5),
        ("temp_c", "70 °F", pytest.approx(21.1111, abs=1e-4)),
        ("hours", "16:30", 16.5),
        ("hours", "16h30", 16.5),
        ("hours", "6½", 6.5),
        ("hours", "16 1/2", 16.5),
        ("hours", "2 days", 48.0),
    ],
)
def test_cells_that_say_a_little_more(column: str, cell: str, value: float) -> None:
    assert read("readings", column, [cell])[0] == [value]


def test_two_figures_in_a_cell() -> None:
    assert read("readings", "sg", ["1046 @ 27.5"])[0] == [1.046]
    (point,) = asked("readings", "sg", ["1015/14", "1009/08"])
    assert (point.key, point.default) == ("two figures in a cell", "half way between the two")
    answered = read("readings", "sg", ["1015/14", "1009/08"], answers={point.key: point.default})
    assert answered[0] == pytest.approx([1.0145, 1.0085])


@pytest.mark.parametrize(
    ("sheet", "column", "cell", "choice", "value"),
    [
        ("fermentations", "wort_l", "12 gal", "imperial gallons (4.546 L)", 54.55308),
        ("fermentations", "wort_l", "12 gal", "US gallons", 45.4249414),
        ("lots", "delivered_t", "10 qtr", "448 lb", 2.0320938),
        ("lots", "yield_t_ha", "50 cwt/ac", "long cwt/ac", 6.2767665),
        ("spirits", "new_make_abv_pct", "136 proof", "US proof", 68.0),
        ("spirits", "new_make_abv_pct", "119 proof", "UK proof", 68.0),
    ],
)
def test_units_of_several_meanings_are_asked_about(
    sheet: str, column: str, cell: str, choice: str, value: float
) -> None:
    (point,) = asked(sheet, column, [cell])
    assert point.holds and len(point.choices) > 2
    told, said = read(sheet, column, [cell], answers={point.key: choice})
    assert (told, said) == ([pytest.approx(value, rel=1e-6)], [])


def test_both_orders_in_one_column_are_faults() -> None:
    values, said = read(
        "lots", "sown_on", ["14/03/2025", "15/03/2025", "03/16/2025", "04/05/2025", "05/05/2025"]
    )
    assert values == [
        pd.Timestamp("2025-03-14"),
        pd.Timestamp("2025-03-15"),
        None,
        None,
        pd.Timestamp("2025-05-05"),
    ]
    assert said == [
        "03/16/2025 is not written with the day first as the rest of the column. Write the year "
        "first, such as 2025-03-14.",
        "04/05/2025 may be day first or month first, and the column has both. Write the year "
        "first, such as 2025-03-14.",
    ]


ZONE = "Europe/Berlin"


def moments(
    cells: list[str], groups: list[int] | None = None
) -> tuple[list[str | None], list[str]]:
    values, said = read(
        "readings",
        "read_at",
        cells,
        time_zone=ZONE,
        groups=np.asarray(groups if groups else [0] * len(cells)),
    )
    return [f"{value:%d %H:%M}" if value is not None else None for value in values], said


def test_local_time_becomes_utc() -> None:
    assert moments(["2025-01-10 08:00", "2025-07-10 08:00", "2025-07-10T08:00+02:00"]) == (
        ["10 07:00", "10 06:00", "10 06:00"],
        [],
    )


def test_the_hour_that_is_skipped_is_a_fault() -> None:
    assert moments(["2025-03-30 02:30", "2025-03-30 03:00"]) == (
        [None, "30 01:00"],
        [
            "2025-03-30 02:30 did not exist: clocks went forward over this hour (Europe/Berlin). "
            "Write the time the clock showed after it went forward."
        ],
    )


def test_the_hour_that_repeats_goes_by_the_order_of_rows() -> None:
    cells = [
        f"2025-10-26 {clock}" for clock in ("01:30", "02:00", "02:30", "02:00", "02:30", "03:00")
    ]
    assert moments(cells) == (
        ["25 23:30", "26 00:00", "26 00:30", "26 01:00", "26 01:30", "26 02:00"],
        [],
    )


def test_an_hourly_log_writes_the_repeated_hour_twice() -> None:
    cells = [f"2025-10-26 {clock}" for clock in ("01:00", "02:00", "02:00", "03:00")]
    assert moments(cells)[0] == ["25 23:00", "26 00:00", "26 01:00", "26 02:00"]


def test_one_reading_in_the_repeated_hour_is_the_first_with_a_warning() -> None:
    values, said = moments(["2025-10-25 18:30", "2025-10-26 02:30", "2025-10-26 10:30"])
    assert values == ["25 16:30", "26 00:30", "26 09:30"]
    assert said == [
        "2025-10-26 02:30 came twice that night when clocks went back; read as the first of the "
        "two. Write the offset to be sure, such as 2025-10-26 02:30+01:00."
    ]


def test_rows_out_of_order_leave_the_repeated_hour_open() -> None:
    values, said = moments(["2025-10-26 10:30", "2025-10-26 02:30", "2025-10-25 18:30"])
    assert values == ["26 09:30", None, "25 16:30"]
    assert said == [
        "2025-10-26 02:30 came twice that night when clocks went back; the rows of the batch are "
        "not in order. Write the offset to be sure, such as 2025-10-26 02:30+01:00."
    ]


def test_each_batch_goes_through_the_repeated_hour_by_itself() -> None:
    cells = ["2025-10-26 02:00", "2025-10-26 02:15", "2025-10-26 02:00", "2025-10-26 02:45"]
    values, _ = moments(cells, [0, 1, 0, 1])
    assert values == ["26 00:00", "26 00:15", "26 01:00", "26 00:45"]


def test_a_header_may_say_how_its_dates_are_written() -> None:
    assert read("lots", "sown_on", ["03/04/2025"], unit="mm/dd/yyyy")[0] == [
        pd.Timestamp("2025-03-04")
    ]
    assert read("lots", "sown_on", ["03/04/2025"], unit="dd/mm/yy")[0] == [
        pd.Timestamp("2025-04-03")
    ]


def test_bulk_gallons_are_likeliest_imperial_and_wine_gallons_american() -> None:
    (bulk,) = asked("spirits", "wash_l", ["1755.4 bulk gal"])
    (wine,) = asked("spirits", "wash_l", ["565 wine gal"])
    assert bulk.default == "imperial gallons (4.546 L)"
    assert wine.default == "US gallons (3.785 L)"
