"""Readings in the shorthand of shift books: days without months, two figures in a cell."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from . import convert
from .case import Case, page_map, pick
from .draw import batches, curve, curves, of, source, stubs
from .files import Cell, Lines, Tab, book, delimited, text

LONDON = ZoneInfo("Europe/London")
READ_AT = ("batch_id", "read_at", "sg", "ph", "temp_c")


def batch_in_file_name() -> Case:
    """One export per batch, of which only the file's name knows the batch."""
    r = source("151")
    rows = batches(r, ["G4471", "G4472"], dt.datetime(2025, 5, 26, 7))
    files, truth = {}, []
    for batch in rows:
        readings = curve(r, batch)
        grid: Lines = [["Date and time", "Gravity", "Temp °C"]]
        for row in readings:
            grid.append([f"{row['read_at']:%Y-%m-%d %H:%M}", f"{row['sg']:.4f}", row["temp_c"]])
        files[f"151_{batch['batch_id']}_curve.csv"] = delimited(grid)
        truth += readings
    return Case(
        id="151 batch in the file's name",
        kind="one file per batch, the batch only in the file's name",
        says="the middle part of the file's name is the batch",
        files=files,
        truth={"readings": pick(truth, "batch_id", "read_at", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        maps=[page_map("readings", {"Date and time": "read_at"})],
        answers={
            "file_name_is": "batch_id",
            "between": ["151_", "_curve.csv"],
            "columns": {"Date and time": "read_at"},
        },
    )


def day_of_the_month() -> Case:
    """The tab is the month, the line only knows the day; times without a colon."""
    r = source("152")
    rows = batches(r, ["5501", "5502"], dt.datetime(2025, 2, 27, 8))
    readings = curves(r, rows)
    tabs = {}
    for month in ("February 2025", "March 2025"):
        grid: Lines = [["Batch", "Day", "Time", "Gravity", "pH", "Temp"]]
        for row in readings:
            at = row["read_at"]
            if f"{at:%B %Y}" == month:
                clock = Cell(at.hour * 100 + at.minute, {"num_format": "0000"})
                figures = row["sg"], row["ph"], row["temp_c"]
                grid.append([row["batch_id"], at.day, clock, *figures])
        tabs[month] = grid
    return Case(
        id="152 day of the month, 0830",
        kind="a tab per month, days as 1 to 31, times as 0830",
        says="the tab gives month and year; 0830 is half past eight",
        files={"152_shift_book.xlsx": book(tabs)},
        truth={"readings": pick(readings, *READ_AT)},
        parents=stubs(rows),
        expect="after one answer",
        answers={
            "tab_is": "month",
            "columns": {"Day": "read_at", "Time": "read_at"},
            "dates": {"Day": "day of month", "Time": "hhmm"},
        },
    )


def two_in_a_cell() -> Case:
    """Gravity and temperature in one cell: 1046 @ 27.5."""
    r = source("153")
    rows = batches(r, ["D71", "D72", "D73"], dt.datetime(2025, 3, 24, 6))
    readings = curves(r, rows, (0, 8, 16, 24, 36, 48, 60))
    hours = [row["hours"] for row in of(readings, batch_id="D71")]
    grid: Lines = [["Batch", *(f"{hour} h" for hour in hours)]]
    for batch in rows:
        line = [batch["batch_id"]]
        for row in of(readings, batch_id=batch["batch_id"]):
            row["sg"] = round(row["sg"], 3)
            line.append(f"{row['sg'] * 1000:.0f} @ {row['temp_c']}")
        grid.append(line)
    return Case(
        id="153 gravity @ temperature",
        kind="hours across, each cell gravity @ °C",
        says="1046 @ 27.5 is gravity 1.046 at 27.5 °C; the columns are hours since pitch",
        files={"153_board.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "hours", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        answers={"across_is": "hours", "several_in_a_cell": {"*": ["sg", "temp_c"], "by": "@"}},
    )


def broken_headers() -> Case:
    """Line breaks in headers, a hidden column, gravities that show fewer places than they hold."""
    r = source("154")
    rows = batches(r, ["HB-1", "HB-2"], dt.datetime(2025, 4, 22, 6))
    readings = curves(r, rows)
    head = ["Batch\nno.", "Read\nat", "old id", "Present\ngravity", "Wash\ntemp\n(°C)", "pH\nvalue"]
    wrap, short = {"text_wrap": True, "bold": True}, {"num_format": "0.000"}
    grid: Lines = [[Cell(label, wrap) for label in head]]
    for at, row in enumerate(readings):
        start = row["batch_id"], row["read_at"], 9000 + at
        grid.append([*start, Cell(row["sg"], short), row["temp_c"], row["ph"]])
    return Case(
        id="154 line breaks in headers",
        kind="headers broken over lines, a hidden column, gravity shown with three places",
        says="the hidden column is old and can be left; gravity holds four places",
        files={"154_readings.xlsx": book({"Log": Tab(grid, hidden_columns=[2])})},
        truth={"readings": pick(readings, *READ_AT)},
        parents=stubs(rows),
        answers={"leave_out": {"columns": ["old id"]}},
    )


def unit_in_each_cell() -> Case:
    """Two hands at the thermometer: 68.4 F and 20.2 C in one column."""
    r = source("155")
    rows = batches(r, ["MX9"], dt.datetime(2025, 6, 9, 6))
    readings = curves(r, rows, range(0, 72, 6))
    grid: Lines = [["Batch", "Hours", "Gravity", "Temp"]]
    for row in readings:
        shown = f"{row['temp_c']} C"
        if r.random() < 0.4:
            warm = convert.fahrenheit(row["temp_c"])
            row["temp_c"], shown = convert.celsius(warm), f"{warm} F"
        grid.append([row["batch_id"], row["hours"], f"{row['sg']:.4f}", shown])
    return Case(
        id="155 two units in one column",
        kind="temperatures with C or F behind each figure",
        says="each figure carries its own unit",
        files={"155_two_units.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "hours", "sg", "temp_c")},
        parents=stubs(rows),
    )


def set_and_hours() -> Case:
    """Hours across, the first column called Set."""
    r = source("156")
    rows = batches(r, ["31A", "31B", "31C"], dt.datetime(2025, 7, 1, 6))
    hours = (0, 12, 24, 36, 48, 60)
    readings = curves(r, rows, hours)
    grid: Lines = [
        ["Gravity by hours from setting"],
        ["Batch", "Set", "+12", "+24", "+36", "+48", "+60"],
    ]
    for batch in rows:
        own = of(readings, batch_id=batch["batch_id"])
        grid.append([batch["batch_id"], *(f"{row['sg'] * 1000:.1f}" for row in own)])
    return Case(
        id="156 Set, +12, +24",
        kind="hours across written +12, the first called Set; quantity in the title",
        says="Set is hour 0, the others hours after it; all gravities",
        files={"156_by_hours.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "hours", "sg")},
        parents=stubs(rows),
        expect="after one answer",
        answers={"across_is": "hours", "means": {"Set": 0}, "value": "sg"},
    )


def halves_of_hours() -> Case:
    """Hours as 6½ and 16 1/2."""
    r = source("157")
    rows = batches(r, ["VF1", "VF2"], dt.datetime(2025, 8, 18, 6))
    written = {0: "0", 6.5: "6½", 16.5: "16 1/2", 25.25: "25¼", 40: "40", 63.75: "63¾"}
    readings = curves(r, rows, written)
    grid: Lines = [["Batch", "Hours", "Gravity", "pH"]]
    for row in readings:
        cells = row["batch_id"], written[row["hours"]], f"{row['sg']:.4f}", row["ph"]
        grid.append(list(cells))
    return Case(
        id="157 halves and quarters",
        kind="hours written 6½, 16 1/2, 25¼",
        says="halves and quarters of hours since pitch",
        files={"157_halves.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "hours", "sg", "ph")},
        parents=stubs(rows),
    )


def morning_and_evening() -> Case:
    """Morning and evening columns; the clock only in a note below."""
    r = source("158")
    rows = batches(r, ["AP5"], dt.datetime(2025, 9, 22, 3, 5))
    batch = rows[0]
    first = dt.datetime(2025, 9, 22, 7, 30)
    moments = [first + dt.timedelta(hours=12 * at) for at in range(8)]
    hours = [round((at - batch["pitched_at"]).total_seconds() / 3600, 4) for at in moments]
    readings = curve(r, batch, hours)
    grid: Lines = [
        ["Batch AP5"],
        ["Date", "a.m. gravity", "a.m. temp", "p.m. gravity", "p.m. temp"],
    ]
    for at in range(0, 8, 2):
        pair = readings[at : at + 2]
        for row, moment in zip(pair, moments[at : at + 2], strict=True):
            row["read_at"] = moment
        figures = [row[name] for row in pair for name in ("sg", "temp_c")]
        grid.append([f"{moments[at]:%d/%m/%Y}", *figures])
    grid += [[], ["a.m. = 07:30, p.m. = 19:30"]]
    return Case(
        id="158 morning and evening",
        kind="a.m. and p.m. columns, the clock in a note below, the batch in the title",
        says="a.m. readings are taken at 07:30, p.m. ones at 19:30",
        files={"158_twice_a_day.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        answers={
            "constants": {"batch_id": "AP5"},
            "time_of_day": {"a.m.": "07:30", "p.m.": "19:30"},
            "repeats": {"sg": "{} gravity", "temp_c": "{} temp"},
        },
    )


def shortened_numbers() -> Case:
    """The year is written on the first batch of the page only: 24-097, 098, 099."""
    r = source("159")
    ids = ["24-097", "24-098", "24-099", "24-100"]
    rows = batches(r, ids, dt.datetime(2024, 12, 2, 6))
    grid: Lines = [["Batch", "Back", "Yeast in", "OG", "Yeast kg"]]
    for at, row in enumerate(rows):
        number = row["batch_id"] if at == 0 else row["batch_id"][3:]
        moment = f"{row['pitched_at']:%d %b %Y %H:%M}"
        grid.append([number, row["vessel"], moment, f"{row['og_sg']:.4f}", row["yeast_kg"]])
    columns = "batch_id", "vessel", "pitched_at", "og_sg", "yeast_kg"
    return Case(
        id="159 numbers shortened",
        kind="24-097, then 098, 099, 100 for the same year",
        says="a number without a year takes the year of the line above: 098 is 24-098",
        files={"159_page_12.csv": delimited(grid)},
        truth={"fermentations": pick(rows, *columns)},
        expect="after one answer",
        answers={"prefix": {"batch_id": "24-"}},
    )


def german_months() -> Case:
    """Months by their German names."""
    r = source("160")
    rows = batches(r, ["S-40", "S-41"], dt.datetime(2025, 2, 26, 8))
    readings = curves(r, rows)
    names = {2: "Februar", 3: "März"}
    lines = ["Sud;Messzeit;Dichte;pH;Temperatur"]
    for row in readings:
        at = row["read_at"]
        figures = convert.comma(row["sg"], 4), convert.comma(row["ph"], 2)
        start = f"{row['batch_id']};{at.day}. {names[at.month]} {at.year}, {at:%H:%M} Uhr"
        lines.append(";".join([start, *figures, convert.comma(row["temp_c"], 1)]))
    columns = {
        "Sud": "batch_id",
        "Messzeit": "read_at",
        "Dichte": "sg",
        "pH": "ph",
        "Temperatur": "temp_c",
    }
    return Case(
        id="160 German months",
        kind="26. Februar 2025, 08:15 Uhr; German headers",
        says="Sud is the batch, Dichte the specific gravity",
        files={"160_messungen.csv": text(*lines)},
        truth={"readings": pick(readings, *READ_AT)},
        parents=stubs(rows),
        expect="after one answer",
        maps=[page_map("readings", columns)],
        answers={"columns": columns},
    )


def night_of_the_clocks() -> Case:
    """Half-hourly readings over the night the clocks go back, BST and GMT beside."""
    r = source("161")
    batch = batches(r, ["DST-1"], dt.datetime(2025, 10, 25, 21))[0]
    batch["pitched_at"] = dt.datetime(2025, 10, 25, 21)
    readings = curve(r, batch, [0.5 * at for at in range(16)])
    start = dt.datetime(2025, 10, 25, 20, tzinfo=dt.UTC)
    grid: Lines = [["Batch", "Date", "Time", "Zone", "Gravity", "Temp °C"]]
    for row in readings:
        at = (start + dt.timedelta(hours=row["hours"])).astimezone(LONDON)
        row["read_at"] = at
        figures = f"{row['sg']:.4f}", row["temp_c"]
        grid.append([row["batch_id"], f"{at:%d/%m/%Y}", f"{at:%H:%M}", at.tzname(), *figures])
    return Case(
        id="161 the night the clocks go back",
        kind="01:00 and 01:30 twice, told apart by a column BST/GMT",
        says="Zone says which of the two 01:30 it was",
        files={"161_clocks.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "temp_c")},
        parents=stubs([batch]),
        expect="after one answer",
        rules={"time_zone": "Europe/London"},
        answers={"time_zone": {"column": "Zone", "BST": "+01:00", "GMT": "+00:00"}},
    )


def three_ways_of_gravity() -> Case:
    """Three shifts, three habits: 1.0571, 1046 and 22.5 in one column."""
    r = source("162")
    rows = batches(r, ["TW1", "TW2"], dt.datetime(2025, 11, 17, 6))
    readings = curves(r, rows)
    grid: Lines = [["Batch", "Hours", "Gravity", "By"]]
    for at, row in enumerate(readings):
        degrees = round((row["sg"] - 1) * 1000, 1)
        row["sg"] = round(1 + degrees / 1000, 4)
        shown = (f"{row['sg']:.4f}", f"{1000 + degrees:.1f}", f"{degrees:.1f}")[at % 3]
        grid.append([row["batch_id"], row["hours"], shown, ("KO", "DF", "MV")[at % 3]])
    return Case(
        id="162 three ways of gravity",
        kind="1.0571, 1046.2 and 22.5 mixed in one column",
        says="all three are the same scale: 1.046, 1046 and 46",
        files={"162_three_hands.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "hours", "sg")},
        parents=stubs(rows),
        expect="after one answer",
        why="a mixed column is not to be settled in silence",
        answers={"units": {"Gravity": "1.046, 1046 and 46 are one"}},
    )


CASES = (
    batch_in_file_name,
    day_of_the_month,
    two_in_a_cell,
    broken_headers,
    unit_in_each_cell,
    set_and_hours,
    halves_of_hours,
    morning_and_evening,
    shortened_numbers,
    german_months,
    night_of_the_clocks,
    three_ways_of_gravity,
)
