"""Readings of vessels in tables that lie every which way."""

from __future__ import annotations

import datetime as dt

from .case import Case, Row, Rows, page_map, pick
from .draw import batches, curve, curves, of, source, stubs
from .files import Cell, Lines, Tab, book, delimited

READ_AT = ("batch_id", "read_at", "sg", "ph", "temp_c")


def batches_across() -> Case:
    """Hours down, a column per batch; gravity on one tab, temperature on the next."""
    r = source("101")
    rows = batches(r, ["24/081", "24/082", "24/083", "24/084"], dt.datetime(2024, 11, 4, 7))
    readings = curves(r, rows)
    ids = [row["batch_id"] for row in rows]
    hours = sorted({row["hours"] for row in readings})

    def grid(title: str, column: str) -> Lines:
        cells = {(row["batch_id"], row["hours"]): row[column] for row in readings}
        lines = [[hour, *(cells[one, hour] for one in ids)] for hour in hours]
        return [[title], [], ["Hours", *ids], *lines]

    tabs = {"Gravity": grid("Gravity", "sg"), "Temp": grid("Temperature °C", "temp_c")}
    return Case(
        id="101 batches across, a tab per quantity",
        kind="hours down, batches across; one tab for gravity, one for temperature",
        says="each column is a batch, each line an hour since pitch; the tab says what was read",
        files={"101_curves_by_batch.xlsx": book(tabs)},
        truth={"readings": pick(readings, "batch_id", "hours", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        answers={
            "sheet": {"Gravity": "readings", "Temp": "readings"},
            "across_is": "batch_id",
            "down_is": "hours",
            "tab_value": {"Gravity": "sg", "Temp": "temp_c"},
        },
    )


def vessel_headings() -> Case:
    """A heading line per batch among the rows; elapsed time as the spreadsheet's own span."""
    r = source("102")
    rows = batches(r, ["M118", "M119", "M120"], dt.datetime(2025, 2, 10, 5))
    readings = curves(r, rows, (0, 7.5, 16.25, 24, 33.5, 41, 50.75, 66))
    grid: Lines = [["Fermentation curves, week 7"], [], ["Elapsed", "Gravity", "Temp °C", "By"]]
    for batch in rows:
        grid.append([f"Batch {batch['batch_id']} - {batch['vessel']}"])
        for row in of(readings, batch_id=batch["batch_id"]):
            span = dt.timedelta(hours=row["hours"])
            grid.append([span, row["sg"], row["temp_c"], r.choice(("KO", "DF"))])
        grid.append([])
    return Case(
        id="102 batch headings, elapsed as [h]:mm",
        kind="heading rows between rows; hours since pitch as spans shown [h]:mm",
        says="the line above each block names batch and washback; elapsed counts from yeast in",
        files={"102_curves_week7.xlsx": book({"Curves": grid})},
        truth={"readings": pick(readings, "batch_id", "hours", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        answers={"heading_is": "batch_id", "columns": {"Elapsed": "hours"}},
    )


def spoken_hours() -> Case:
    """Hours written as the French write them: 16h30."""
    r = source("103")
    rows = batches(r, ["LOT-31", "LOT-32"], dt.datetime(2025, 3, 3, 9))
    readings = curves(r, rows, (0, 8.5, 16.5, 24, 32.25, 48, 71.5))
    grid: Lines = [["Cuve", "Lot de fermentation", "Âge", "Densité", "Température (°C)", "pH"]]
    for row in readings:
        vessel = of(rows, batch_id=row["batch_id"])[0]["vessel"]
        minutes = round(row["hours"] % 1 * 60)
        age = f"{int(row['hours'])}h{minutes:02d}"
        sg, temp, ph = (f"{row[name]:.{n}f}" for name, n in (("sg", 4), ("temp_c", 1), ("ph", 2)))
        cells = (vessel, row["batch_id"], age, sg, temp, ph)
        grid.append([cell.replace(".", ",") for cell in cells])
    columns = {
        "Lot de fermentation": "batch_id",
        "Âge": "hours",
        "Densité": "sg",
        "Température (°C)": "temp_c",
        "pH": "ph",
    }
    return Case(
        id="103 French log, 16h30",
        kind="French headers, decimal commas, hours as 16h30, semicolons, Windows-1252",
        says="readings of the washbacks; âge is hours and minutes since the yeast went in",
        files={"103_suivi_fermentation.csv": delimited(grid, ";", "cp1252")},
        truth={"readings": pick(readings, "batch_id", "hours", "sg", "ph", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        maps=[page_map("readings", columns)],
        answers={"sheet": "readings", "columns": columns},
    )


def shifts_across() -> Case:
    """A tab per batch, a line per day, three shifts across with two figures each."""
    r = source("104")
    rows = batches(r, ["C-501", "C-502", "C-503"], dt.datetime(2025, 4, 7, 5, 10), every_h=24)
    tabs, truth = {}, []
    for batch in rows:
        first = batch["pitched_at"].date()
        since = (dt.datetime.combine(first, dt.time(6)) - batch["pitched_at"]).total_seconds()
        hours = [since / 3600 + 8 * at for at in range(1, 10)]
        readings = curve(r, batch, [round(hour, 4) for hour in hours])
        for at, row in enumerate(readings, start=1):
            row["read_at"] = dt.datetime.combine(first, dt.time(6)) + dt.timedelta(hours=8 * at)
        tabs[batch["batch_id"]] = _shift_card(batch, readings)
        truth += readings
    return Case(
        id="104 shifts across, days down",
        kind="a tab per batch; days down; 06:00, 14:00, 22:00 across, each gravity and °C",
        says="the tab is the batch; the time over each pair of columns belongs to the day's date",
        files={"104_shift_cards.xlsx": book(tabs)},
        truth={"readings": pick(truth, "batch_id", "read_at", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        answers={"tab_is": "batch_id", "across_is": "time of day", "down_is": "date"},
    )


def _shift_card(batch: Row, readings: Rows) -> Tab:
    times = (6, 14, 22)
    over = ["Date", *(cell for hour in times for cell in (dt.time(hour), None)), "Remarks"]
    below = [None, *("Gravity", "°C") * 3, None]
    days = sorted({row["read_at"].date() for row in readings})
    lines = []
    for day in days:
        line: list[object] = [day]
        for hour in times:
            found = of(readings, read_at=dt.datetime.combine(day, dt.time(hour)))
            line += [found[0]["sg"], found[0]["temp_c"]] if found else [None, None]
        lines.append(line)
    title = [f"Washback {batch['vessel']}"]
    merged = [(2, at, 2, at + 1) for at in (1, 3, 5)]
    return Tab([title, [], over, below, *lines], merged=merged)


def vessel_and_time() -> Case:
    """The log knows vessels only; which batch lay in them stands in a table beside it."""
    r = source("105")
    rows = batches(r, ["Q311", "Q312", "Q313", "Q314", "Q315", "Q316"], dt.datetime(2025, 5, 5, 6))
    readings = curves(r, rows, (2, 10, 18, 26, 34, 50, 64))
    vessel_of = {row["batch_id"]: row["vessel"] for row in rows}
    log: Lines = [["Date", "Time", "Back", "SG", "Temp"]]
    for row in sorted(readings, key=lambda row: row["read_at"]):
        at = row["read_at"]
        log.append([at.date(), at.time(), vessel_of[row["batch_id"]], row["sg"], row["temp_c"]])
    emptied = [row["pitched_at"] + dt.timedelta(hours=74) for row in rows]
    fills = [
        [row["vessel"], row["batch_id"], row["pitched_at"], end]
        for row, end in zip(rows, emptied, strict=True)
    ]
    tabs = {"Log": log, "Fills": [["Back", "Batch", "Yeast in", "To still"], *fills]}
    ended = [{**row, "ended_at": end} for row, end in zip(rows, emptied, strict=True)]
    return Case(
        id="105 vessel and time, fills beside",
        kind="readings by vessel and moment, the batch found in a second tab by from and to",
        says="a reading belongs to the batch that lay in that back at that time: see tab Fills",
        files={"105_back_log.xlsx": book(tabs)},
        truth={
            "fermentations": pick(ended, "batch_id", "vessel", "pitched_at", "ended_at"),
            "readings": pick(readings, "batch_id", "read_at", "sg", "temp_c"),
        },
        expect="after one answer",
        answers={
            "sheet": {"Log": "readings", "Fills": "fermentations"},
            "vessel_column": "Back",
            "batch_from": {"tab": "Fills", "vessel": "Back", "from": "Yeast in", "to": "To still"},
        },
    )


def pitch_in_header() -> Case:
    """The pitch moment stands in the title, the rows count hours from it."""
    r = source("106")
    batch = batches(r, ["T77"], dt.datetime(2025, 1, 20, 14))[0]
    readings = curve(r, batch, (0, 6, 12, 18, 24, 36, 48, 60))
    pitched = batch["pitched_at"]
    grid: Lines = [
        [f"Batch: {batch['batch_id']}", f"Vessel: {batch['vessel']}"],
        [f"Pitched: {pitched:%d %B %Y %H:%M}", f"Yeast: {batch['yeast_kg']} kg"],
        [],
        ["Hour", "SG", "pH", "Temp (°C)"],
        *([row["hours"], f"{row['sg']:.4f}", row["ph"], row["temp_c"]] for row in readings),
    ]
    return Case(
        id="106 hours, pitch time in the title",
        kind="label and value in one cell above a table of hours since pitch",
        says="one card: batch, vessel, pitch time and yeast above, readings by hour below",
        files={"106_T77_card.csv": delimited(grid)},
        truth={
            "fermentations": pick([batch], "batch_id", "vessel", "pitched_at", "yeast_kg"),
            "readings": pick(readings, "batch_id", "hours", "sg", "ph", "temp_c"),
        },
    )


def merged_batches() -> Case:
    """Batch and day merged down over their readings."""
    r = source("107")
    rows = batches(r, ["W25-11", "W25-12", "W25-13"], dt.datetime(2025, 6, 2, 8))
    grid: Lines = [["Batch", "Day", "Time", "Gravity", "pH", "°C"]]
    merged, truth = [], []
    for batch in rows:
        readings = curve(r, batch, (0, 8, 16, 24, 32, 48))
        truth += readings
        merged.append((len(grid), 0, len(grid) + len(readings) - 1, 0))
        last = None
        for row in readings:
            day = row["read_at"].date()
            if day != last:
                count = sum(other["read_at"].date() == day for other in readings)
                if count > 1:
                    merged.append((len(grid), 1, len(grid) + count - 1, 1))
            cells = [None if day == last else day, row["read_at"].time()]
            first = batch["batch_id"] if row is readings[0] else None
            grid.append([first, *cells, row["sg"], row["ph"], row["temp_c"]])
            last = day
    return Case(
        id="107 merged down",
        kind="batch and day merged down over several rows",
        says="a merged cell goes for all the rows beside it",
        files={"107_readings_merged.xlsx": book({"June": Tab(grid, merged=merged)})},
        truth={"readings": pick(truth, *READ_AT)},
        parents=stubs(rows),
    )


def struck_out() -> Case:
    """Struck through means withdrawn and written again below; a hidden row still counts."""
    r = source("108")
    rows = batches(r, ["P64", "P65"], dt.datetime(2025, 9, 8, 7))
    readings = curves(r, rows)
    struck = {"font_strikeout": True}
    grid: Lines = [["Batch", "Read at", "Gravity", "pH", "Temp"]]
    for at, row in enumerate(readings):
        cells = [row[name] for name in READ_AT]
        if at in (4, 13):
            wrong = [*cells[:2], round(row["sg"] + 0.0212, 4), *cells[3:]]
            grid.append(
                [
                    Cell(cell, struck, note="wrong back" if cell == wrong[2] else "")
                    for cell in wrong
                ]
            )
        grid.append(cells)
    grid += [[], ["struck through = withdrawn, right figure on the line below"]]
    return Case(
        id="108 struck through",
        kind="withdrawn readings struck through, with a comment; a hidden row that still counts",
        says="rows struck through are withdrawn; hidden rows are only filtered out of sight",
        files={"108_readings_struck.xlsx": book({"Readings": Tab(grid, hidden_rows=[7, 8])})},
        truth={"readings": pick(readings, *READ_AT)},
        parents=stubs(rows),
        expect="after one answer",
        answers={"leave_out": {"look": "struck through"}, "hidden_rows": "read"},
    )


def colours() -> Case:
    """Red cells are faults to be left out, yellow ones estimates to be kept; the legend says so."""
    r = source("109")
    rows = batches(r, ["V201", "V202"], dt.datetime(2025, 10, 6, 6))
    readings = curves(r, rows)
    red, yellow = {"bg_color": "#FF9999"}, {"bg_color": "#FFFF99"}
    grid: Lines = [["Batch", "Date", "Time", "SG", "pH", "Temp"]]
    for at, row in enumerate(readings):
        moment = row["read_at"]
        cells: list[object] = [row["batch_id"], moment.date(), moment.time()]
        cells += [row["sg"], row["ph"], row["temp_c"]]
        if at in (3, 12):
            cells[4] = Cell(row["ph"], yellow)
        if at == 6:
            cells[4] = Cell(6.9, red)
            del row["ph"]
        grid.append(cells)
    grid += [[], [None, Cell("red", red), "meter faulty, do not use"]]
    grid += [[None, Cell("yellow", yellow), "estimated between two readings"]]
    return Case(
        id="109 colours with a legend",
        kind="cell colours that mean something, told in a legend below",
        says="red cells are not to be used; yellow ones are estimates and may be read",
        files={"109_readings_colours.xlsx": book({"Oct": grid})},
        truth={"readings": pick(readings, *READ_AT)},
        parents=stubs(rows),
        expect="after one answer",
        answers={"leave_out": {"fill": "#FF9999"}},
    )


def shift_book_text() -> Case:
    """A printed list: pipes, the header again on each page, page feet between."""
    r = source("110")
    rows = batches(r, ["7001", "7002", "7003"], dt.datetime(2025, 3, 17, 6))
    readings = curves(r, rows)
    head = "| Wash no | Date       | Time  | Gravity | pH   | Temp |"
    rule = "|---------|------------|-------|---------|------|------|"
    lines = ["TUN ROOM - READINGS                         printed 24/03/2025", "", head, rule]
    for at, row in enumerate(readings, start=1):
        figures = f"{row['sg']:7.4f} | {row['ph']:4.2f} | {row['temp_c']:4.1f}"
        lines.append(f"| {row['batch_id']:7} | {row['read_at']:%d/%m/%Y | %H:%M} | {figures} |")
        if at % 10 == 0:
            lines += ["", f"Page {at // 10} of 3", "\f", head, rule]
    lines += ["", "*** end of list ***"]
    return Case(
        id="110 printed list with pipes",
        kind="pipe-separated print-out; header repeated per page, page feet, a form feed",
        says="one list of readings over three pages",
        files={"110_printout.txt": "\r\n".join([*lines, ""]).encode()},
        truth={"readings": pick(readings, *READ_AT)},
        parents=stubs(rows),
    )


CASES = (
    batches_across,
    vessel_headings,
    spoken_hours,
    shifts_across,
    vessel_and_time,
    pitch_in_header,
    merged_batches,
    struck_out,
    colours,
    shift_book_text,
)
