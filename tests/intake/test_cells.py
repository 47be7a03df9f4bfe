"""Cells as people write them: what each becomes, and what is said where it becomes nothing."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from origin_compare.intake.cells.reading import Hints, code
from origin_compare.intake.clean import parse_column
from origin_compare.measures import plato_to_sg
from origin_compare.sheets.catalogue import SHEETS

UTC = "UTC"


def read(
    sheet: str, column: str, cells: list[str], **hints: object
) -> tuple[list[object], list[str]]:
    """Values (None where missing) and messages of one column."""
    spec = SHEETS[sheet].column(column)
    parsed = parse_column(code(pd.Series(cells, dtype="str")), spec, Hints(**hints))  # type: ignore[arg-type]
    values = [None if pd.isna(value) else value for value in parsed.values]
    said = [
        f"{value} {wrong}. {mend}"
        for one in parsed.findings
        for value, wrong, mend in zip(one.values, one.wrong, one.mend, strict=True)
    ]
    return values, said


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
            "<3.5 is a limit, not a figure. Leave the cell empty and write the limit in the note; "
            "do not write the limit or 0.",
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
        (["12.000", "250,5"], [None, 250.5]),
        (["25 000", "1'500", "25\u202f000,5"], [25000, 1500, 25000.5]),
        (["1.234.567"], [None]),  # past a million litres
        (["123.456,5"], [123456.5]),
        (["250 hl"], [25000]),
        (["25 m3", "25000 L"], [25000, 25000]),
    ],
)
def test_thousands(cells: list[str], values: list[object]) -> None:
    assert read("fermentations", "wort_l", cells)[0] == values


def test_a_figure_with_two_readings_is_a_fault() -> None:
    assert read("fermentations", "wort_l", ["25,000"]) == (
        [None],
        ["25,000 may be 25 or 25000. Write 25000 or 25.0, without a sign for thousands."],
    )
    assert read("fermentations", "wort_l", ["25,000"], decimal_comma=False)[0] == [25000]
    assert read("fermentations", "wort_l", ["25.000"], decimal_comma=True)[0] == [None]


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
    values, said = read("readings", "sg", ["15.9", "8", "2.1"])
    assert values == [None] * 3
    assert said[0] == (
        "15.9 may be degrees Plato or degrees of gravity, and the column does not tell. Put °P or "
        "SG into the header, such as OG (°P)."
    )


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


def test_an_order_nothing_tells_is_day_first_with_a_warning() -> None:
    assert read("lots", "sown_on", ["03/04/2025", "05/06/2025"]) == (
        [pd.Timestamp("2025-04-03"), pd.Timestamp("2025-06-05")],
        [
            "03/04/2025 and all other dates of this column fit day first and month first; read "
            "as day first. If the month stands first, say so once for files of this kind."
        ],
    )


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
