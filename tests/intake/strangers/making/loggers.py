"""What instruments write down by themselves: tags, channels, time zones."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from .case import Case, Row, Rows, pick
from .draw import batches, curve, of, source, stubs
from .files import Lines, delimited

LONDON = ZoneInfo("Europe/London")


def _every_two_hours(case: str, ids: list[str], start: dt.datetime) -> tuple[Rows, Rows]:
    r = source(case)
    rows = batches(r, ids, start, every_h=5)
    readings = [row for batch in rows for row in curve(r, batch, range(0, 40, 2))]
    for row in readings:
        row["instrument"] = "probe"
    return rows, readings


def tags_of_two_vessels() -> Case:
    """Tag, time, value; the tag names vessel and quantity, and set points lie among them."""
    rows, readings = _every_two_hours("141", ["LX1", "LX2"], dt.datetime(2025, 7, 7, 6))
    quantity = {"DT": "sg", "TT": "temp_c", "PT": "ph"}
    lines: list[tuple[dt.datetime, str, object]] = []
    for row in readings:
        vessel = of(rows, batch_id=row["batch_id"])[0]["vessel"]
        at = row["read_at"].replace(tzinfo=LONDON).astimezone(dt.UTC)
        row["read_at"] = row["read_at"].replace(tzinfo=LONDON)
        lines += [(at, f"TUN.{vessel}.{tag}.PV", row[name]) for tag, name in quantity.items()]
        lines.append((at, f"TUN.{vessel}.TIC.SP", 32.0))
    grid: Lines = [["TagName", "DateTime (UTC)", "Value", "Quality"]]
    grid += [[tag, f"{at:%Y-%m-%dT%H:%M:%SZ}", value, 192] for at, tag, value in sorted(lines)]
    tags = {
        f"TUN.{batch['vessel']}.{tag}.PV": {"batch_id": batch["batch_id"], "column": name}
        for batch in rows
        for tag, name in quantity.items()
    }
    return Case(
        id="141 tags of two vessels, UTC",
        kind="long historian export: tag, time, value; two vessels, three quantities, set points",
        says="WB1 held LX1 and WB2 held LX2; DT gravity, TT temperature, PT pH; SP is a set point",
        files={"141_historian.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "temp_c", "ph")},
        parents=stubs(rows),
        expect="after one answer",
        rules={"time_zone": "Europe/London"},
        answers={
            "sheet": "readings",
            "tags": tags,
            "leave_out": {"tags": ["TUN.WB1.TIC.SP", "TUN.WB2.TIC.SP"]},
            "time_zone": "UTC",
            "constants": {"instrument": "probe"},
        },
    )


def channels_across() -> Case:
    """Time down, a column per channel, names and units in a block above."""
    rows, readings = _every_two_hours("142", ["K8", "K9"], dt.datetime(2025, 2, 17, 4))
    stamps = sorted({row["read_at"].replace(minute=0) for row in readings})
    for row in readings:
        row["read_at"] = row["read_at"].replace(minute=0)
    grid: Lines = [
        ["Recorder:", "tun room 1"],
        ["From:", f"{stamps[0]:%d/%m/%Y %H:%M}"],
        ["Channel:", "CH1", "CH2", "CH3", "CH4"],
        ["Name:", "K8 gravity", "K8 temp", "K9 gravity", "K9 temp"],
        ["Unit:", "SG", "°C", "SG", "°C"],
        [],
        ["Date/Time", "CH1", "CH2", "CH3", "CH4"],
    ]
    for at in stamps:
        line: list[object] = [f"{at:%d/%m/%Y %H:%M}"]
        for batch in rows:
            found = of(readings, batch_id=batch["batch_id"], read_at=at)
            line += [f"{found[0]['sg']:.4f}", found[0]["temp_c"]] if found else ["---", "---"]
        grid.append(line)
    channels = {
        f"CH{2 * at + part}": {"batch_id": batch, "column": column}
        for at, batch in enumerate(("K8", "K9"))
        for part, column in ((1, "sg"), (2, "temp_c"))
    }
    return Case(
        id="142 recorder channels across",
        kind="a column per channel; batch, quantity and unit in a block above; --- where idle",
        says="the block above says which batch and quantity a channel is; --- is no reading",
        files={"142_recorder.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        answers={
            "sheet": "readings",
            "tags": channels,
            "means": {"---": None},
            "constants": {"instrument": "probe"},
        },
    )


def floating_probe() -> Case:
    """A floating probe: US style times, am and pm, Fahrenheit, gravity and battery."""
    rows, readings = _every_two_hours("143", ["TR-14"], dt.datetime(2025, 5, 19, 9))
    grid: Lines = [["Timepoint", "SG", "Temp (F)", "Battery (V)", "Signal", "Batch"]]
    for row in readings:
        warm = round(row["temp_c"] * 1.8 + 32, 1)
        row["temp_c"] = round((warm - 32) / 1.8, 2)
        at = row["read_at"]
        moment = f"{at.month}/{at.day}/{at.year} {at:%I:%M:%S %p}"
        grid.append([moment, f"{row['sg']:.4f}", warm, "3.61", "-71", row["batch_id"]])
    return Case(
        id="143 floating probe, month first, am/pm",
        kind="probe export with month-first dates, 12-hour clock and °F; columns nobody asked for",
        says="month first, 12-hour clock, Fahrenheit; battery and signal can be left",
        files={"143_probe.csv": delimited(grid)},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        answers={
            "columns": {"Timepoint": "read_at"},
            "date_order": "month first",
            "leave_out": {"columns": ["Battery (V)", "Signal"]},
        },
    )


def winter_time_clock() -> Case:
    """A recorder left on winter time all summer, as its head line says."""
    rows, readings = _every_two_hours("144", ["SUM-3"], dt.datetime(2025, 6, 30, 8))
    batch: Row = rows[0]
    head = ["# recorder clock: GMT all year (no summer time)", f"# batch {batch['batch_id']}"]
    grid: Lines = [["time", "gravity", "temperature"]]
    for row in readings:
        row["read_at"] = row["read_at"].replace(tzinfo=LONDON)
        at = row["read_at"].astimezone(dt.UTC)
        grid.append([f"{at:%Y-%m-%d %H:%M}", f"{row['sg']:.4f}", row["temp_c"]])
    body = delimited([[line] for line in head] + grid, ";")
    return Case(
        id="144 recorder on winter time",
        kind="times in GMT in summer while the house keeps London time; batch in a # line",
        says="the recorder's times are GMT all year, the house's are London time",
        files={"144_recorder_gmt.csv": body},
        truth={"readings": pick(readings, "batch_id", "read_at", "sg", "temp_c")},
        parents=stubs(rows),
        expect="after one answer",
        rules={"time_zone": "Europe/London"},
        answers={"time_zone": "UTC", "constants": {"batch_id": batch["batch_id"]}},
    )


CASES = (tags_of_two_vessels, channels_across, floating_probe, winter_time_clock)
