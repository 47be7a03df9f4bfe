"""Barley at the weighbridge, in the field book and at the grain laboratory."""

from __future__ import annotations

from . import convert
from .case import Case, page_map, pick
from .draw import growers, lots, numbered, source
from .files import Cell, Lines, book, delimited, open_document, web_page

FARMS = {"growers": growers()}
HEAD = ("lot_id", "grower_id", "season")


def weighbridge() -> Case:
    """Gross, tare and net per lorry; several lorries to a lot."""
    r = source("301")
    rows = lots(r, numbered("L25/{:02d}", 1, 5), 2025)
    grid: Lines = [["Weighbridge book - harvest 2025"], []]
    grid.append(["Ticket", "Date", "Lorry", "Supplier", "Lot", "Gross kg", "Tare kg", "Net kg"])
    ticket = 4410
    for row in rows:
        loads = [r.randrange(8200, 14800, 20) for _ in range(r.choice((1, 2, 3)))]
        row["delivered_t"] = sum(loads) / 1000
        for net in loads:
            tare, ticket = r.randrange(7600, 8400, 20), ticket + 1
            lorry = f"{r.choice('KTV')}{r.randrange(100, 999)}"
            start = ticket, f"{row['harvested_on']:%d/%m/%Y}", lorry, row["grower_id"]
            grid.append([*start, row["lot_id"], net + tare, tare, net])
    grid.append(["", "", "", "", "Total", "", "", sum(line[7] for line in grid[3:])])
    return Case(
        id="301 weighbridge tickets",
        kind="several lorries to a lot; gross, tare, net in kg; a total below; year in the title",
        says="the nets of a lot's lorries add up to what it delivered; harvest year 2025",
        files={"301_weighbridge.csv": delimited(grid)},
        truth={"lots": pick(rows, *HEAD, "delivered_t")},
        parents=FARMS,
        expect="after one answer",
        maps=[
            page_map("lots", {"Lot": "lot_id", "Supplier": "grower_id", "Net kg": "delivered_t"})
        ],
        answers={
            "sheet": "lots",
            "columns": {"Lot": "lot_id", "Supplier": "grower_id", "Net kg": "delivered_t"},
            "units": {"Net kg": "kg"},
            "sum_by": ["lot_id"],
            "constants": {"season": 2025},
            "leave_out": {"columns": ["Ticket", "Date", "Lorry", "Gross kg", "Tare kg"]},
        },
    )


def old_measures() -> Case:
    """Acres, hundredweight, quarters of barley and inches."""
    r = source("302")
    rows = lots(r, numbered("OM{}", 1, 6), 2024)
    grid: Lines = [
        ["Lot", "Grower", "Harvest", "Area (ac)", "Yield (cwt/ac)", "Delivered (qtr)", "Rain (in)"]
    ]
    for row in rows:
        acres = round(row["area_ha"] / convert.ACRE_HA, 1)
        rate = round(row["yield_t_ha"] / convert.CWT_T * convert.ACRE_HA, 1)
        quarters = round(row["delivered_t"] / convert.QUARTER_T)
        inches = round(r.uniform(3, 6.5), 1)
        row["area_ha"] = round(acres * convert.ACRE_HA, 3)
        row["yield_t_ha"] = round(rate * convert.CWT_T / convert.ACRE_HA, 3)
        row["delivered_t"] = round(quarters * convert.QUARTER_T, 3)
        row["rain_mm"] = round(inches * convert.INCH_MM, 1)
        grid.append([*(row[name] for name in HEAD), acres, rate, quarters, inches])
    return Case(
        id="302 acres, hundredweight and quarters",
        kind="ac, cwt/ac, qtr and in, in the brackets of the header",
        says="hundredweight of 112 lb; a quarter of barley is 448 lb",
        files={"302_old_measures.csv": delimited(grid)},
        truth={"lots": pick(rows, *HEAD, "area_ha", "yield_t_ha", "delivered_t", "rain_mm")},
        parents=FARMS,
        expect="after one answer",
        answers={"units": {"Yield (cwt/ac)": "long cwt/ac", "Delivered (qtr)": "448 lb"}},
    )


def farm_blocks() -> Case:
    """A heading per farm, its fields below, totals and carried-forward lines between."""
    r = source("303")
    rows = sorted(lots(r, numbered("{}", 2501, 8), 2025), key=lambda row: row["grower_id"])
    names = {row["grower_id"]: row["farm_name"] for row in growers()}
    head = ["Lot no", "Field", "Variety", "Area ha", "Yield t/ha", "Delivered t"]
    grid: Lines = [["Contract barley 2025"], [], head]
    running = 0.0
    for grower_id, farm in names.items():
        own = [row for row in rows if row["grower_id"] == grower_id]
        grid.append([Cell(f"{farm} ({grower_id})", {"bold": True})])
        for row in own:
            line = [row["lot_id"], row["field"], row["variety"], row["area_ha"]]
            grid.append([*line, row["yield_t_ha"], row["delivered_t"]])
        total = round(sum(row["delivered_t"] for row in own), 2)
        running = round(running + total, 2)
        grid.append(
            ["Farm total", None, None, round(sum(row["area_ha"] for row in own), 1), None, total]
        )
        if grower_id == "G02":
            grid += [["Carried forward", None, None, None, None, running], [], head]
            grid.append(["Brought forward", None, None, None, None, running])
    grid.append(["All farms", None, None, None, None, running])
    columns = "field", "variety", "area_ha", "yield_t_ha", "delivered_t"
    return Case(
        id="303 a block per farm",
        kind="farm headings with the code in brackets, totals, carried and brought forward lines",
        says="the line above each block is the farm and its code; harvest 2025 for all",
        files={"303_contract_barley.xlsx": book({"Barley": grid})},
        truth={"lots": pick(rows, *HEAD, *columns)},
        parents=FARMS,
        expect="after one answer",
        answers={
            "heading_is": "grower_id",
            "constants": {"season": 2025},
            "leave_out": {
                "rows": ["Farm total", "Carried forward", "Brought forward", "All farms"]
            },
        },
    )


def german_harvest() -> Case:
    """A German field list with decitonnes per hectare."""
    r = source("304")
    rows = lots(r, numbered("P{}", 1, 6), 2025)
    grid: Lines = [["Partie", "Erzeuger", "Erntejahr", "Schlag", "Sorte", "Vorfrucht", "Aussaat"]]
    grid[0] += ["Fläche (ha)", "Ertrag (dt/ha)", "Feuchte (%)"]
    for row in rows:
        row["yield_t_ha"] = round(row["yield_t_ha"], 2)
        line = [row["lot_id"], row["grower_id"], row["season"], row["field"], row["variety"]]
        figures = row["area_ha"], round(row["yield_t_ha"] * 10, 1), row["grain_moisture_pct"]
        line += [row["previous_crop"], f"{row['sown_on']:%d.%m.%Y}"]
        grid.append([*line, *(convert.comma(value) for value in figures)])
    columns = {
        "Partie": "lot_id",
        "Erzeuger": "grower_id",
        "Erntejahr": "season",
        "Schlag": "field",
        "Sorte": "variety",
        "Vorfrucht": "previous_crop",
        "Aussaat": "sown_on",
        "Fläche (ha)": "area_ha",
        "Ertrag (dt/ha)": "yield_t_ha",
        "Feuchte (%)": "grain_moisture_pct",
    }
    return Case(
        id="304 German harvest list",
        kind="German headers, dt/ha, decimal commas, semicolons, Windows-1252",
        says="dt/ha is a tenth of a tonne per hectare",
        files={"304_ernte.csv": delimited(grid, ";", "cp1252")},
        truth={"lots": pick(rows, *columns.values())},
        parents=FARMS,
        expect="after one answer",
        maps=[page_map("lots", columns)],
        answers={"columns": columns, "units": {"Ertrag (dt/ha)": "0.1 t/ha"}},
    )


def french_harvest() -> Case:
    """A French co-operative's list: quintals per hectare, protein on dry matter."""
    r = source("305")
    rows = lots(r, numbered("PAR-{:03d}", 17, 5), 2024)
    grid: Lines = [
        ["N° de lot", "Producteur", "Récolte", "Parcelle", "Variété", "Semis", "Surface (ha)"]
    ]
    grid[0] += ["Rendement (q/ha)", "Protéines (% MS)", "Humidité (%)"]
    for row in rows:
        row["grain_protein_pct"] = round(row["grain_n_pct_dm"] * 6.25, 1)
        row["grain_n_basis"] = "dry"
        line = [row["lot_id"], row["grower_id"], row["season"], row["field"], row["variety"]]
        figures = row["area_ha"], round(row["yield_t_ha"] * 10, 1), row["grain_protein_pct"]
        cells = [convert.comma(value) for value in (*figures, row["grain_moisture_pct"])]
        grid.append([*line, f"{row['sown_on']:%d/%m/%y}", *cells])
    columns = {
        "N° de lot": "lot_id",
        "Producteur": "grower_id",
        "Récolte": "season",
        "Parcelle": "field",
        "Variété": "variety",
        "Semis": "sown_on",
        "Surface (ha)": "area_ha",
        "Rendement (q/ha)": "yield_t_ha",
        "Protéines (% MS)": "grain_protein_pct",
        "Humidité (%)": "grain_moisture_pct",
    }
    return Case(
        id="305 French co-operative",
        kind="French headers, q/ha, protein on dry matter (MS), two-digit years, UTF-8",
        says="q/ha is a tenth of a tonne per hectare; MS is dry matter",
        files={"305_parcelles.csv": delimited(grid, ";")},
        truth={"lots": pick(rows, *columns.values(), "grain_n_basis")},
        parents=FARMS,
        expect="after one answer",
        maps=[page_map("lots", columns)],
        answers={
            "columns": columns,
            "units": {"Rendement (q/ha)": "0.1 t/ha"},
            "constants": {"grain_n_basis": "dry"},
        },
    )


def percent_formats() -> Case:
    """Percentages stored as fractions, figures stored as text, codes behind an apostrophe."""
    r = source("306")
    rows = lots(r, numbered("{:05d}", 123, 6), 2025)
    percent, quoted = {"num_format": "0.00%"}, {"quote_prefix": True}
    grid: Lines = [["Lot", "Grower", "Harvest", "Grain N", "Moisture", "TGW", "Screenings %"]]
    for row in rows:
        nitrogen = Cell(round(row["grain_n_pct_dm"] / 100, 6), percent)
        moisture = Cell(round(row["grain_moisture_pct"] / 100, 6), {"num_format": "0.0%"})
        weight, small = f"\u00a0{row['thousand_grain_g']}", f"{row['screenings_pct']} "
        lot, season = Cell(row["lot_id"], quoted), str(row["season"])
        grid.append([lot, row["grower_id"], season, nitrogen, moisture, weight, small])
    columns = "grain_n_pct_dm", "grain_moisture_pct", "thousand_grain_g", "screenings_pct"
    return Case(
        id="306 percentages, text numbers, apostrophes",
        kind="1.52 % stored as 0.0152 with a percent format; numbers as text; lot '00123",
        says="as a person sees it on the screen: N 1.52 %, lot 00123",
        files={"306_grain_lab.xlsx": book({"Grain": grid})},
        truth={"lots": pick(rows, *HEAD, *columns)},
        parents=FARMS,
    )


def remarks_in_cells() -> Case:
    """Remarks behind the figures, question marks, and a basis in the header."""
    r = source("307")
    rows = lots(r, numbered("B{:02d}", 31, 6), 2025)
    grid: Lines = [
        ["Lot", "Grower", "Harvest", "Protein (% as is)", "Moisture %", "Germ %", "Drilled"]
    ]
    marks = ["", " (hand meter)", "", " ?", " re-test", ""]
    for row, mark in zip(rows, marks, strict=True):
        dry = row["grain_n_pct_dm"] * 6.25
        row["grain_protein_pct"] = round(dry * (1 - row["grain_moisture_pct"] / 100), 1)
        row["grain_n_basis"] = "as is"
        drilled = f"{row['sown_on'].day} {row['sown_on']:%b}"
        figures = row["grain_protein_pct"], f"{row['grain_moisture_pct']}{mark}"
        grid.append([*(row[name] for name in HEAD), *figures, row["germination_pct"], drilled])
    columns = "grain_protein_pct", "grain_n_basis", "grain_moisture_pct", "germination_pct"
    return Case(
        id="307 remarks behind figures",
        kind="13.7 (hand meter), 14.1 ?, protein as is, drilling days without a year",
        says="the remark may be left, the figure stands; drilled in the harvest year 2025",
        files={"307_field_book.csv": delimited(grid)},
        truth={"lots": pick(rows, *HEAD, *columns, "sown_on")},
        parents=FARMS,
        expect="after one answer",
        answers={"year": 2025, "constants": {"grain_n_basis": "as is"}, "remarks": "leave"},
    )


def fields_across() -> Case:
    """The sheet turned on its side: a column per lot."""
    r = source("308")
    rows = lots(r, numbered("K{}", 5, 5), 2025)
    named = {
        "Lot": "lot_id",
        "Grower": "grower_id",
        "Harvest": "season",
        "Field": "field",
        "Variety": "variety",
        "Drilled": "sown_on",
        "Combined": "harvested_on",
        "Area, ha": "area_ha",
        "Yield, t/ha": "yield_t_ha",
        "Grain N, % dm": "grain_n_pct_dm",
        "Germination, %": "germination_pct",
    }
    grid: Lines = [["Fields 2025"], []]
    grid += [[label, *(row[column] for row in rows)] for label, column in named.items()]
    return Case(
        id="308 a column per lot",
        kind="headers down the first column, one lot per column",
        says="each column is a lot",
        files={"308_fields_across.xlsx": book({"Fields": grid})},
        truth={"lots": pick(rows, *named.values())},
        parents=FARMS,
        expect="after one answer",
        maps=[page_map("lots", {"Combined": "harvested_on"})],
        answers={"across_is": "lot_id", "columns": {"Combined": "harvested_on"}},
    )


def open_document_growers() -> Case:
    """Two tabs of an OpenDocument file: growers and their lots."""
    r = source("309")
    rows = lots(r, numbered("H{}", 1, 5), 2025)
    people = [
        {
            **row,
            "region": r.choice(("Northmark", "Eastfold")),
            "grows_since": r.randrange(2009, 2022),
        }
        for row in growers()
    ]
    first = [["Grower code", "Farm", "District", "First season"]]
    first += [
        [row[name] for name in ("grower_id", "farm_name", "region", "grows_since")]
        for row in people
    ]
    second = [["Lot no", "Grower code", "Harvest year", "Variety", "Sown", "Area ha", "Yield t/ha"]]
    names = *HEAD, "variety", "sown_on", "area_ha", "yield_t_ha"
    second += [[row[name] for name in names] for row in rows]
    return Case(
        id="309 OpenDocument workbook",
        kind="an .ods file with a tab for growers and one for lots",
        says="growers on the first tab, lots on the second",
        files={"309_growers.ods": open_document({"Growers": first, "Lots": second})},
        truth={"growers": people, "lots": pick(rows, *names)},
    )


def lot_dates_two_digits() -> Case:
    """Day-first dates with two-digit years and points; a web page called .xls."""
    r = source("310")
    rows = lots(r, numbered("V{}", 71, 6), 2024)
    head = ["Lot", "Grower", "Harvest", "Drilled on", "Combined on", "Delivered t", "Screenings %"]
    grid: Lines = [list(head)]
    for row in rows:
        days = [f"{row[name]:%d.%m.%y}" for name in ("sown_on", "harvested_on")]
        grid.append(
            [*(row[name] for name in HEAD), *days, row["delivered_t"], row["screenings_pct"]]
        )
    columns = "sown_on", "harvested_on", "delivered_t", "screenings_pct"
    return Case(
        id="310 web page called .xls",
        kind="an HTML table named .xls, dates such as 17.03.24",
        says="day first",
        files={"310_lots.xls": web_page("Lots, harvest 2024", grid)},
        truth={"lots": pick(rows, *HEAD, *columns)},
        parents=FARMS,
    )


CASES = (
    weighbridge,
    old_measures,
    farm_blocks,
    german_harvest,
    french_harvest,
    percent_formats,
    remarks_in_cells,
    fields_across,
    open_document_growers,
    lot_dates_two_digits,
)
