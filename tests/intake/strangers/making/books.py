"""Registers and field books with habits of their own."""

from __future__ import annotations

import datetime as dt

from .case import Case, page_map, pick
from .draw import batches, growers, lot_stubs, lots, malts, numbered, source, stubs
from .files import Lines, book, delimited, text

FARMS = {"growers": growers()}
HEAD = ("lot_id", "grower_id", "season")


def shares_of_the_grist() -> Case:
    """The whole grist in kg and each malt's share in per cent."""
    r = source("221")
    rows = batches(r, numbered("GB{}", 1, 4), dt.datetime(2025, 10, 13, 9))
    lot_ids, malt_ids = numbered("W{}", 1, 3), numbered("WM{}", 1, 3)
    made = malts(source("221m"), malt_ids, lot_ids, dt.date(2025, 9, 1))
    grid: Lines = [["Batch", "Mash in", "Grist kg", *(f"{one} %" for one in malt_ids), "Sum %"]]
    truth = []
    for batch in rows:
        total, first = r.randrange(1500, 1620, 20), r.choice((50, 60, 75, 100))
        shares = [first, 100 - first, 0] if r.random() < 0.6 else [0, 100 - first, first]
        mashed = batch["pitched_at"] - dt.timedelta(hours=7)
        grid.append([batch["batch_id"], f"{mashed:%Y-%m-%d %H:%M}", total, *shares, 100])
        for malt_id, share in zip(malt_ids, shares, strict=True):
            if share:
                row = {"batch_id": batch["batch_id"], "malt_id": malt_id, "mashed_at": mashed}
                truth.append({**row, "grist_kg": total * share / 100})
    return Case(
        id="221 shares of the grist",
        kind="grist in kg and a column of per cent for each malt",
        says="each malt's kg is its share of the grist; 0 is none",
        files={"221_grist_bill.csv": delimited(grid)},
        truth={"mashes": truth},
        parents={
            **lot_stubs(lot_ids, 2025),
            "malts": pick(made, "malt_id", "lot_id"),
            **stubs(rows),
        },
        expect="after one answer",
        answers={
            "shares": {"of": "Grist kg", "across_is": "malt_id", "ends_with": " %"},
            "leave_out": {"columns": ["Sum %"]},
        },
    )


def year_on_the_tab() -> Case:
    """A tab per year, dates as 6 Oct."""
    r = source("222")
    rows = batches(r, numbered("{}", 981, 3), dt.datetime(2024, 12, 27, 6), every_h=30)
    rows += batches(r, numbered("{}", 984, 3), dt.datetime(2025, 1, 6, 6), every_h=30)
    tabs = {}
    for year in (2024, 2025):
        grid: Lines = [["Batch", "Back", "Date", "Time", "OG", "Wort litres"]]
        for row in rows:
            at = row["pitched_at"]
            if at.year == year:
                moment = f"{at.day} {at:%b}", f"{at:%H.%M}"
                grid.append([row["batch_id"], row["vessel"], *moment, row["og_sg"], row["wort_l"]])
        tabs[str(year)] = grid
    columns = {"Date": "pitched_at", "Time": "pitched_at"}
    return Case(
        id="222 year on the tab",
        kind="tabs 2024 and 2025, dates without a year, times 06.35",
        says="the tab is the year; date and time are when the yeast went in",
        files={"222_register.xlsx": book(tabs)},
        truth={"fermentations": pick(rows, "batch_id", "vessel", "pitched_at", "og_sg", "wort_l")},
        expect="after one answer",
        maps=[page_map("fermentations", columns)],
        answers={"sheet": "fermentations", "tab_is": "year", "columns": columns},
    )


def cancelled_lines() -> Case:
    """Batches that were planned and never filled."""
    r = source("223")
    rows = batches(r, numbered("PL{}", 51, 7), dt.datetime(2025, 9, 15, 6))
    grid: Lines = [["Batch", "Washback", "Yeast in", "OG", "Status"]]
    for at, row in enumerate(rows):
        moment, og = f"{row['pitched_at']:%d/%m/%Y %H:%M}", f"{row['og_sg']:.4f}"
        if at in (2, 5):
            moment, og = ("", "") if at == 2 else (moment, "")
        status = {2: "cancelled", 5: "CANCELLED - boiler"}.get(at, "done")
        grid.append([row["batch_id"], row["vessel"], moment, og, status])
    kept = [row for at, row in enumerate(rows) if at not in (2, 5)]
    return Case(
        id="223 cancelled batches",
        kind="a status column; cancelled lines were never filled",
        says="leave the lines whose status begins with cancelled",
        files={"223_plan.csv": delimited(grid)},
        truth={"fermentations": pick(kept, "batch_id", "vessel", "pitched_at", "og_sg")},
        expect="after one answer",
        answers={"leave_out": {"rows_where": {"Status": "cancelled"}, "columns": ["Status"]}},
    )


def long_notes() -> Case:
    """Notes with commas, quotes and line breaks inside quoted cells."""
    r = source("224")
    rows = batches(r, numbered("NT{}", 1, 5), dt.datetime(2025, 5, 12, 6))
    notes = (
        "foam, cut back 2 h",
        'said "slow" by night shift',
        "valve stuck\nfreed by hand",
        "",
        "smell of apples; see book 3, p. 12",
    )
    grid: Lines = [["Batch", "Vessel", "Yeast in", "Yeast kg", "Remarks"]]
    for row, note in zip(rows, notes, strict=True):
        moment = f"{row['pitched_at']:%d/%m/%Y %H:%M}"
        grid.append([row["batch_id"], row["vessel"], moment, row["yeast_kg"], note])
        if note:
            row["note"] = note
    return Case(
        id="224 notes with breaks and quotes",
        kind="quoted cells with commas, doubled quotes and line breaks",
        says="the remarks belong to their batch as they stand",
        files={"224_notes.csv": delimited(grid)},
        truth={"fermentations": pick(rows, "batch_id", "vessel", "pitched_at", "yeast_kg", "note")},
    )


def lot_in_the_field() -> Case:
    """Field and lot in one cell, yield stated at a moisture."""
    r = source("321")
    rows = lots(r, numbered("L25-{:02d}", 1, 5), 2025)
    grid: Lines = [["Grower", "Field", "Harvest", "Variety", "Area ha", "Yield t/ha @ 15 %"]]
    for row in rows:
        row["yield_moisture_pct"] = 15
        field = f"{row['field']} [{row['lot_id']}]"
        start = row["grower_id"], field, row["season"], row["variety"]
        grid.append([*start, row["area_ha"], row["yield_t_ha"]])
    columns = "field", "variety", "area_ha", "yield_t_ha", "yield_moisture_pct"
    return Case(
        id="321 lot behind the field's name",
        kind="Long Hesk 1 [L25-01] in one cell; the yield's moisture in its header",
        says="the square brackets hold the lot; yields are stated at 15 % moisture",
        files={"321_fields.csv": delimited(grid)},
        truth={"lots": pick(rows, *HEAD, *columns)},
        parents=FARMS,
        expect="after one answer",
        answers={
            "several_in_a_cell": {"Field": ["field", "lot_id"], "by": "[]"},
            "constants": {"yield_moisture_pct": 15},
        },
    )


def marks_for_nothing() -> Case:
    """Every way of writing that there is no figure."""
    r = source("322")
    rows = lots(r, numbered("X{}", 11, 7), 2025)
    marks = ("-", "n/a", "tbc", "?", "not tested", "", "—")
    names = "grain_n_pct_dm", "screenings_pct", "germination_pct"
    grid: Lines = [["Lot", "Grower", "Harvest", "Grain N", "Screenings %", "Germination"]]
    for at, (row, mark) in enumerate(zip(rows, marks, strict=True)):
        gone = names[at % 3]
        del row[gone]
        grid.append([*(row[name] for name in HEAD), *(row.get(name, mark) for name in names)])
    return Case(
        id="322 marks for nothing",
        kind="-, n/a, tbc, ?, not tested and a long dash for missing figures",
        says="all of these mean that there is no figure",
        files={"322_tests.csv": delimited(grid)},
        truth={"lots": pick(rows, *HEAD, *names)},
        parents=FARMS,
        expect="after one answer",
        answers={"means": dict.fromkeys(marks)},
    )


def grower_cards() -> Case:
    """Growers one below another in a letter."""
    people = [
        {**row, "region": region, "soil": soil, "grows_since": since}
        for row, region, soil, since in zip(
            growers(),
            ("Northmark", "Eastfold", "Northmark", "Westerhow"),
            ("sandy loam", "clay loam", "silt", "sandy loam"),
            (2014, 2016, 2021, 2019),
            strict=True,
        )
    ]
    lines = ["Growers under contract, March 2025", ""]
    for row in people:
        lines += [
            f"Grower code: {row['grower_id']}",
            f"Farm: {row['farm_name']}",
            f"District: {row['region']}",
            f"Soil type: {row['soil']}",
            f"First season: {row['grows_since']}",
            "",
        ]
    return Case(
        id="323 growers in a list of cards",
        kind="label: value lines, a block per grower, blank lines between",
        says="each block is a grower",
        files={"323_growers.txt": text(*lines)},
        truth={"growers": people},
    )


CASES = (
    shares_of_the_grist,
    year_on_the_tab,
    cancelled_lines,
    long_notes,
    lot_in_the_field,
    marks_for_nothing,
    grower_cards,
)
