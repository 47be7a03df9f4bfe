"""Readings whose figures, moments or units are written in ways of the house."""

from __future__ import annotations

import datetime as dt

from . import convert
from .case import Case, Rows, page_map, pick
from .draw import batches, curve, curves, of, source, stubs
from .files import Lines, book, delimited, text

READ_AT = ("batch_id", "read_at", "sg", "ph", "temp_c")


def between_marks() -> Case:
    """Gravities as the hydrometer is called out: 1015/14, 1060.5*, ~1055."""
    r = source("121")
    batch = batches(r, ["H12"], dt.datetime(2025, 2, 3, 8))[0]
    readings = curve(r, batch, (0, 8, 16, 24, 32, 40, 56, 72))
    grid: Lines = [["Batch", "Date/time", "Gravity", "Temp"]]
    for at, row in enumerate(readings):
        degrees = round(row["sg"] * 1000)
        row["sg"] = degrees / 1000
        written = str(degrees)
        if at == 0:
            row["sg"], written = degrees / 1000 + 0.0005, f"{degrees}.5*"
        elif at in (3, 4):
            row["sg"], written = (degrees - 0.5) / 1000, f"{degrees}/{(degrees - 1) % 100:02d}"
        elif at == 5:
            written = f"~{degrees}"
        row["sg"] = round(row["sg"], 4)
        moment = f"{row['read_at']:%d/%m/%Y %H:%M}"
        grid.append([row["batch_id"], moment, written, row["temp_c"]])
    grid += [[], ["* foam on the sample"], ["1015/14: between the two"], ["~ read by torch"]]
    return Case(
        id="121 gravities with marks",
        kind="gravities written 1060.5*, 1015/14 and ~1055, the marks explained below",
        says="1015/14 lies half way; * and ~ are remarks, the figure stands; day first",
        files={"121_hydrometer.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "temp_c")},
        parents=stubs([batch]),
        expect="after one answer",
        answers={
            "means": {"*": "remark", "~": "remark", "1015/14": "half way between"},
            "date_order": "day first",
        },
    )


def degrees_of_gravity() -> Case:
    """Excess degrees, negative at the end."""
    r = source("122")
    rows = batches(r, ["E5", "E6"], dt.datetime(2025, 2, 24, 8))
    readings = curves(r, rows)
    grid: Lines = [["Batch", "Read", "Gravity (degrees)", "pH"]]
    for row in readings:
        degrees = round((row["sg"] - 1) * 1000, 1)
        row["sg"] = round(1 + degrees / 1000, 4)
        grid.append([row["batch_id"], f"{row['read_at']:%Y-%m-%d %H:%M}", degrees, row["ph"]])
    return Case(
        id="122 excess degrees, below zero at the end",
        kind="gravity in degrees over water, 64.2 down to -1.3",
        says="degrees: 65 is 1.065, -1.5 is 0.9985",
        files={"122_degrees.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "ph")},
        parents=stubs(rows),
        answers={"units": {"Gravity (degrees)": "degrees over 1000"}},
    )


def german_plato() -> Case:
    """A German vessel log in degrees Plato."""
    r = source("123")
    rows = batches(r, ["S-1", "S-2"], dt.datetime(2025, 3, 10, 7))
    readings = [row for row in curves(r, rows) if row["sg"] > 1.003]
    grid: Lines = [
        ["Gärprotokoll März 2025"],
        [],
        ["Sud", "Bottich", "Datum", "Uhrzeit", "Extrakt (°P)", "pH-Wert", "Temperatur (°C)"],
    ]
    for row in readings:
        shown = convert.plato(row["sg"])
        row["sg"] = convert.gravity(shown)
        at, vessel = row["read_at"], of(rows, batch_id=row["batch_id"])[0]["vessel"]
        figures = convert.comma(shown), convert.comma(row["ph"], 2), convert.comma(row["temp_c"])
        grid.append([row["batch_id"], vessel, f"{at:%d.%m.%Y}", f"{at:%H:%M}", *figures])
    columns = {
        "Sud": "batch_id",
        "Datum": "read_at",
        "Uhrzeit": "read_at",
        "Extrakt (°P)": "sg",
        "pH-Wert": "ph",
        "Temperatur (°C)": "temp_c",
    }
    return Case(
        id="123 German log in Plato",
        kind="German headers, decimal commas, °P, date and time apart, Windows-1252",
        says="readings per Sud (batch); extract is the apparent extract in °P",
        files={"123_gaerprotokoll.csv": delimited(grid, ";", "cp1252")},
        truth={"readings": pick(readings, *READ_AT)},
        parents=stubs(rows),
        expect="after one answer",
        maps=[page_map("readings", columns)],
        answers={"sheet": "readings", "columns": columns},
    )


def meter_export() -> Case:
    """A bench density meter's own export: UTF-16, tabs, a sample name that is the batch."""
    r = source("124")
    rows = batches(r, ["D-0931", "D-0932"], dt.datetime(2025, 4, 14, 9))
    readings = curves(r, rows, (1, 9, 17, 25, 41, 65))
    grid: Lines = [["#", "Sample name", "Measured at", "SG 20/20", "Cell temp (°C)", "Condition"]]
    for number, row in enumerate(readings, start=1):
        moment = f"{row['read_at']:%Y-%m-%d %H:%M:%S}"
        grid.append([number, row["batch_id"], moment, f"{row['sg']:.5f}", "20.00", "valid"])
    return Case(
        id="124 density meter, UTF-16",
        kind="instrument export in UTF-16 with tabs; the cell's temperature is not the wash's",
        says="sample name is the batch; cell temperature is the meter's and is to be left out",
        files={"124_meter.tsv": delimited(grid, "\t", "utf-16")},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg")},
        parents=stubs(rows),
        expect="after one answer",
        maps=[
            page_map(
                "readings",
                {"Sample name": "batch_id", "Measured at": "read_at", "SG 20/20": "sg"},
            )
        ],
        answers={
            "columns": {"Sample name": "batch_id", "Measured at": "read_at", "SG 20/20": "sg"},
            "leave_out": {"columns": ["#", "Cell temp (°C)", "Condition"]},
        },
    )


def units_below() -> Case:
    """The second line holds nothing but units."""
    r = source("125")
    rows = batches(r, ["B-20", "B-21", "B-22"], dt.datetime(2025, 5, 12, 6))
    readings = curves(r, rows)
    grid: Lines = [["Batch", "Read at", "Gravity", "Temperature", "pH", "Cooling"]]
    grid.append(["", "", "°", "°F", "-", "%"])
    for row in readings:
        warm = convert.fahrenheit(row["temp_c"])
        row["temp_c"], row["cooling_pct"] = convert.celsius(warm), r.choice((0, 0, 15, 40))
        degrees = f"{row['sg'] * 1000:.1f}"
        moment = f"{row['read_at']:%d/%m/%Y %H:%M}"
        grid.append([row["batch_id"], moment, degrees, warm, row["ph"], row["cooling_pct"]])
    return Case(
        id="125 a line of units under the header",
        kind="units on a second line: °, °F, %",
        says="the second line gives the units; temperature is Fahrenheit",
        files={"125_units_below.csv": delimited(grid)},
        truth={"readings": pick(readings, *READ_AT, "cooling_pct")},
        parents=stubs(rows),
    )


def corrected_beside() -> Case:
    """The raw hydrometer stands beside the corrected figure."""
    r = source("126")
    rows = batches(r, ["Y1", "Y2"], dt.datetime(2025, 6, 16, 8))
    readings = curves(r, rows)
    head = ["Batch", "Time", "Hydrometer as read", "Sample °C", "Gravity at 20 °C", "Wash temp"]
    grid: Lines = [head]
    for row in readings:
        raw = round(row["sg"] - _warm_shift(row["temp_c"]), 4)
        cells = [row["batch_id"], row["read_at"], raw, row["temp_c"], row["sg"], row["temp_c"]]
        grid.append(cells)
    columns = {
        "Gravity at 20 °C": "sg",
        "Wash temp": "temp_c",
        "Batch": "batch_id",
        "Time": "read_at",
    }
    return Case(
        id="126 raw and corrected hydrometer",
        kind="the hydrometer as read, the sample's temperature, and the gravity corrected to 20 °C",
        says="take the gravity at 20 °C, leave the raw figure and the sample temperature",
        files={"126_corrected.xlsx": book({"Readings": grid})},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        maps=[page_map("readings", columns)],
        answers={
            "columns": columns,
            "leave_out": {"columns": ["Hydrometer as read", "Sample °C"]},
        },
    )


def uncorrected() -> Case:
    """Only the raw hydrometer, and the temperature it was read at."""
    r = source("127")
    rows = batches(r, ["Y31", "Y32"], dt.datetime(2025, 6, 23, 8))
    readings = curves(r, rows)
    grid: Lines = [["Hydrometer calibrated at 20 °C - NOT corrected"], []]
    grid.append(["Batch", "Hours", "Hydrometer", "Temp °C"])
    for row in readings:
        raw = round(row["sg"] - _warm_shift(row["temp_c"]), 4)
        row["sg"] = round(raw + _warm_shift(row["temp_c"]), 4)
        grid.append([row["batch_id"], row["hours"], f"{raw:.4f}", row["temp_c"]])
    columns = {"Batch": "batch_id", "Hours": "hours", "Hydrometer": "sg", "Temp °C": "temp_c"}
    return Case(
        id="127 hydrometer not corrected",
        kind="raw hydrometer readings with the sample's temperature; calibration told in the title",
        says="correct each gravity to 20 °C by the temperature beside it (it is the wash's too)",
        files={"127_uncorrected.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "hours", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        maps=[page_map("readings", columns)],
        answers={
            "columns": columns,
            "hydrometer": {"calibrated_c": 20, "read_at_column": "Temp °C", "corrected": False},
        },
    )


def _warm_shift(temp_c: float) -> float:
    """What a glass hydrometer of 20 °C shows too low at this temperature.

    Density of water by the Kell (1975) formula, rounded; the glass swells 2.5e-5 per °C.
    """
    shift = 1 - _water(temp_c) / _water(20.0) * (1 + 2.5e-5 * (temp_c - 20.0))
    return round(shift, 4)


def _water(t: float) -> float:
    above = 999.83952 + t * (
        16.945176
        + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return above / (1 + 16.879850e-3 * t)


def serial_days() -> Case:
    """Moments that lost their format on the way to a text file: days since 1900."""
    r = source("128")
    rows = batches(r, ["N-88", "N-89"], dt.datetime(2025, 3, 3, 6))
    readings = curves(r, rows)
    grid: Lines = [["Batch", "Date", "SG", "Temp C"]]
    for row in readings:
        days = (row["read_at"] - dt.datetime(1899, 12, 30)) / dt.timedelta(days=1)
        grid.append([row["batch_id"], f"{days:.6f}", f"{row['sg']:.4f}", row["temp_c"]])
    return Case(
        id="128 spreadsheet day numbers",
        kind="moments as bare day numbers such as 45719.270833",
        says="the dates are the spreadsheet's day numbers",
        files={"128_daynumbers.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        answers={"dates": {"Date": "days since 1899-12-30"}},
    )


def weekdays_across() -> Case:
    """One morning reading a day, the weekdays across, the week in the title."""
    r = source("129")
    monday = dt.date(2025, 9, 15)
    rows = batches(r, ["G71", "G72", "G73"], dt.datetime(2025, 9, 14, 15), every_h=6)
    morning = dt.datetime.combine(monday, dt.time(8))
    truth: Rows = []
    grid: Lines = [["Week commencing Monday 15 September 2025 - gravity at 08:00"], []]
    grid.append(["Batch", "Mon", "Tue", "Wed", "Thu", "Fri"])
    for batch in rows:
        since = (morning - batch["pitched_at"]).total_seconds() / 3600
        readings = curve(r, batch, [since + 24 * day for day in range(5)])
        for day, row in enumerate(readings):
            row["read_at"] = morning + dt.timedelta(days=day)
        grid.append([batch["batch_id"], *(f"{row['sg']:.4f}" for row in readings)])
        truth += readings
    return Case(
        id="129 weekdays across",
        kind="days of a week across, the week's Monday and the time of day in the title",
        says="each column is that day of the week at 08:00",
        files={"129_week38.csv": delimited(grid)},
        truth={"readings": pick(truth, "batch_id", "read_at", "sg")},
        parents=stubs(rows),
        expect="after one answer",
        answers={
            "across_is": "weekday",
            "week_of": "2025-09-15",
            "time_of_day": "08:00",
            "value": "sg",
        },
    )


def iso_weeks() -> Case:
    """Days as ISO 8601 weeks: 2025-W14-2."""
    r = source("130")
    rows = batches(r, ["I-1", "I-2"], dt.datetime(2025, 3, 31, 7))
    readings = curves(r, rows)
    lines = ["batch;day;clock;gravity;ph"]
    for row in readings:
        year, week, day = row["read_at"].isocalendar()
        start = f"{row['batch_id']};{year}-W{week:02d}-{day};{row['read_at']:%H:%M}"
        lines.append(f"{start};{row['sg']:.4f};{row['ph']:.2f}")
    return Case(
        id="130 ISO week days",
        kind="dates as ISO week and weekday, 2025-W14-2, the clock beside",
        says="day is ISO week and weekday",
        files={"130_isoweek.csv": text(*lines)},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "ph")},
        parents=stubs(rows),
        expect="after one answer",
        maps=[page_map("readings", {"day": "read_at", "clock": "read_at"})],
        answers={"columns": {"day": "read_at", "clock": "read_at"}, "dates": {"day": "ISO week"}},
    )


CASES = (
    between_marks,
    degrees_of_gravity,
    german_plato,
    meter_export,
    units_below,
    corrected_beside,
    uncorrected,
    serial_days,
    weekdays_across,
    iso_weeks,
)
