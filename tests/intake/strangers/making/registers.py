"""Registers of batches: fermentations, and rows that feed several sheets at once."""

from __future__ import annotations

import datetime as dt

from . import convert
from .case import Case, Rows, page_map, pick
from .draw import batches, curve, growers, lots, malts, numbered, runs, source, stubs
from .files import Cell, Lines, Tab, book, delimited, text

SETTING = ("batch_id", "vessel", "pitched_at", "pitch_temp_c", "og_sg", "wort_l", "yeast_kg")


def american_register() -> Case:
    """US gallons, pounds, Fahrenheit, month-first dates that days over 12 give away."""
    r = source("201")
    rows = batches(r, numbered("F-{}", 210, 6), dt.datetime(2025, 4, 9, 7), every_h=70)
    grid: Lines = [["Ferm #", "Fermenter", "Date", "Pitch time", "Pitch temp (°F)"]]
    grid[0] += ["Wort (US gal)", "Yeast (lb)", "OG"]
    for row in rows:
        warm, volume = (
            convert.fahrenheit(row["pitch_temp_c"]),
            round(row["wort_l"] / convert.US_GALLON_L),
        )
        pounds = round(row["yeast_kg"] / convert.LB_KG)
        row["pitch_temp_c"] = convert.celsius(warm)
        row["wort_l"] = round(volume * convert.US_GALLON_L, 1)
        row["yeast_kg"] = round(pounds * convert.LB_KG, 2)
        at = row["pitched_at"]
        moment = f"{at.month}/{at.day}/{at.year}", f"{at:%I:%M %p}".lstrip("0")
        og = f"{row['og_sg']:.4f}"
        grid.append([row["batch_id"], row["vessel"], *moment, warm, f"{volume:,}", pounds, og])
    return Case(
        id="201 American register",
        kind="month-first dates (some days over 12), 12-hour clock, US gal, lb, °F",
        says="month first; US gallons",
        files={"201_fermenters.csv": delimited(grid)},
        truth={"fermentations": pick(rows, *SETTING)},
        expect="after one answer",
        maps=[page_map("fermentations", {"Ferm #": "batch_id"})],
        answers={"columns": {"Ferm #": "batch_id"}, "date_order": "month first"},
    )


def month_first_in_doubt() -> Case:
    """No day over 12: only the user can say which figure is the month."""
    r = source("202")
    start = dt.datetime(2025, 3, 2, 8)
    rows = batches(r, numbered("{}", 3301, 5), start, every_h=44)
    grid: Lines = [["Batch", "Vessel", "Yeast in", "OG", "Yeast kg"]]
    for row in rows:
        moment = f"{row['pitched_at']:%m/%d/%Y %H:%M}"
        grid.append([row["batch_id"], row["vessel"], moment, row["og_sg"], row["yeast_kg"]])
    return Case(
        id="202 month or day first, in doubt",
        kind="dates of which every day is 12 or less",
        says="month first: 03/04/2025 is the fourth of March",
        files={"202_batches.csv": delimited(grid)},
        truth={
            "fermentations": pick(rows, "batch_id", "vessel", "pitched_at", "og_sg", "yeast_kg")
        },
        expect="after one answer",
        why="a guess would move every batch by weeks: it has to be asked",
        answers={"date_order": "month first"},
    )


def german_thousands() -> Case:
    """Points for thousands, commas for decimals, units behind the figures."""
    r = source("203")
    rows = batches(r, numbered("A{:03d}", 41, 6), dt.datetime(2025, 10, 1, 5, 30))
    grid: Lines = [["Charge", "Bottich", "Hefegabe", "Anstelltemperatur °C", "Würze (l)"]]
    grid[0] += ["Stammwürze (SG)", "Hefe"]
    for row in rows:
        row["yeast_kg"] = round(row["yeast_kg"] + r.choice((0, 0.25, 0.5)), 2)
        volume, grams = f"{row['wort_l']:,}".replace(",", "."), round(row["yeast_kg"] * 1000)
        yeast = f"{grams:,} g".replace(",", ".")
        og, warm = convert.comma(row["og_sg"], 4), convert.comma(row["pitch_temp_c"])
        moment = f"{row['pitched_at']:%d.%m.%Y %H:%M}"
        grid.append([row["batch_id"], row["vessel"], moment, warm, volume, og, yeast])
    columns = {
        "Charge": "batch_id",
        "Bottich": "vessel",
        "Hefegabe": "pitched_at",
        "Anstelltemperatur °C": "pitch_temp_c",
        "Würze (l)": "wort_l",
        "Stammwürze (SG)": "og_sg",
        "Hefe": "yeast_kg",
    }
    return Case(
        id="203 German thousands",
        kind="8.120 litres and 22.500 g beside 1,0624 and 20,4; German headers; UTF-8 with BOM",
        says="the point groups thousands, the comma is decimal; Hefegabe is yeast in",
        files={"203_ansatzliste.csv": delimited(grid, ";", "utf-8-sig")},
        truth={"fermentations": pick(rows, *SETTING)},
        expect="after one answer",
        maps=[page_map("fermentations", columns)],
        answers={"sheet": "fermentations", "columns": columns},
    )


def swiss_thousands() -> Case:
    """Apostrophes and thin spaces for thousands."""
    r = source("204")
    rows = batches(r, numbered("CH{}", 1, 5), dt.datetime(2025, 11, 3, 6))
    marks = ("'", "\u2019", "\u2009", "\u00a0", "\u202f")
    grid: Lines = [["Batch", "Washback", "Pitched", "Wort litres", "Yeast kg", "Set temp"]]
    for row, mark in zip(rows, marks, strict=True):
        volume = f"{row['wort_l']:,}".replace(",", mark) + " L"
        moment = f"{row['pitched_at']:%d.%m.%Y, %H:%M}"
        cells = volume, f"{row['yeast_kg']} kg", f"{row['pitch_temp_c']}\u00a0°C"
        grid.append([row["batch_id"], row["vessel"], moment, *cells])
    return Case(
        id="204 apostrophes and thin spaces",
        kind="8'120 L, 8 120 L with apostrophe, thin space, no-break space",
        says="apostrophe or space groups thousands",
        files={"204_sets.csv": delimited(grid)},
        truth={
            "fermentations": pick(
                rows, "batch_id", "vessel", "pitched_at", "wort_l", "yeast_kg", "pitch_temp_c"
            )
        },
    )


def title_units_and_notes() -> Case:
    """Empty rows and columns first, units in the title, notes and signatures below."""
    r = source("205")
    rows = batches(r, numbered("TR{:02d}", 7, 7), dt.datetime(2025, 1, 13, 4))
    grid: Lines = [
        [],
        [],
        [None, None, "Washbacks January 2025 (volumes in kL, temperatures in °F)"],
        [],
    ]
    grid.append(
        [None, None, "Batch", "Washback", "Yeast in", "Volume", "Set temp", "OG", None, "Init."]
    )
    for row in rows:
        volume, warm = round(row["wort_l"] / 1000, 2), convert.fahrenheit(row["pitch_temp_c"])
        row["pitch_temp_c"] = convert.celsius(warm)
        cells = row["batch_id"], row["vessel"], row["pitched_at"], volume, warm, row["og_sg"]
        grid.append([None, None, *cells, None, r.choice(("KO", "DF"))])
    grid += [[], [None, None, "Note: WB3 steamed on the 16th, no batch that day."]]
    grid += [[None, None, "Signed: K. O."], [None, None, "Init. = who set the back"]]
    return Case(
        id="205 offset table, units in the title",
        kind="two empty rows and columns first, kL and °F in the title, notes below, a gap column",
        says="volumes in kL, temperatures Fahrenheit as the title says",
        files={"205_january.xlsx": book({"Jan": grid})},
        truth={
            "fermentations": pick(
                rows, "batch_id", "vessel", "pitched_at", "wort_l", "pitch_temp_c", "og_sg"
            )
        },
    )


def cards_in_a_grid() -> Case:
    """Six small cards on one tab, three across and two down, each with head and table."""
    r = source("206")
    rows = batches(r, numbered("X{}", 61, 6), dt.datetime(2025, 8, 4, 6))
    grid: Lines = [["" for _ in range(15)] for _ in range(24)]
    truth: Rows = []
    for at, batch in enumerate(rows):
        readings = curve(r, batch, (0, 8, 16, 24, 40, 64))
        truth += readings
        top, left = at // 3 * 12, at % 3 * 5
        card = [
            ["Batch", batch["batch_id"], "Back", batch["vessel"]],
            ["Yeast in", batch["pitched_at"], "OG", batch["og_sg"]],
            ["Yeast kg", batch["yeast_kg"]],
            ["Hours", "Gravity", "pH", "Temp"],
            *([row["hours"], row["sg"], row["ph"], row["temp_c"]] for row in readings),
        ]
        for down, line in enumerate(card):
            grid[top + down][left : left + len(line)] = line
    cells = [[None if cell == "" else cell for cell in line] for line in grid]
    return Case(
        id="206 cards in a grid",
        kind="six cards on one tab, three across, two down; key and value above a small table",
        says="each card is a batch: its head above, readings by hour below",
        files={"206_six_cards.xlsx": book({"Cards": cells})},
        truth={
            "fermentations": pick(rows, "batch_id", "vessel", "pitched_at", "og_sg", "yeast_kg"),
            "readings": pick(truth, "batch_id", "hours", "sg", "ph", "temp_c"),
        },
    )


def field_to_spirit() -> Case:
    """One wide line per batch from grower to new make."""
    r = source("207")
    ids = numbered("Q25-{:02d}", 1, 6)
    rows = batches(r, ids, dt.datetime(2025, 11, 10, 6))
    grain = lots(r, numbered("L{:02d}", 1, 6), 2025, 3)
    malt = malts(r, numbered("M{:02d}", 1, 6), numbered("L{:02d}", 1, 6), dt.date(2025, 10, 1))
    spirit = runs(r, rows)
    farms = {row["grower_id"]: row["farm_name"] for row in growers(3)}
    over = ["Barley"] + [None] * 6 + ["Malt", None, None, "Fermentation", None, None, None]
    over += ["Spirit", None, None]
    head = ["Grower code", "Farm", "Lot", "Harvest", "Variety", "Delivered t", "Grain N"]
    head += ["Malt no", "Malt t", "Moisture %", "Batch", "Washback", "Yeast in", "OG"]
    head += ["Distilled", "New make L", "ABV %"]
    grid: Lines = [["From field to spirit, harvest 2025"], over, head]
    for lot, one, batch, run in zip(grain, malt, rows, spirit, strict=True):
        line = [lot["grower_id"], farms[lot["grower_id"]], lot["lot_id"], lot["season"]]
        line += [lot["variety"], lot["delivered_t"], lot["grain_n_pct_dm"]]
        line += [one["malt_id"], one["tonnes"], one["moisture_pct"]]
        line += [batch["batch_id"], batch["vessel"], batch["pitched_at"], batch["og_sg"]]
        grid.append([*line, run["distilled_on"], run["new_make_l"], run["new_make_abv_pct"]])
    mashes = [
        {"batch_id": batch["batch_id"], "malt_id": one["malt_id"]}
        for batch, one in zip(rows, malt, strict=True)
    ]
    lot_columns = "lot_id", "grower_id", "season", "variety", "delivered_t", "grain_n_pct_dm"
    merged = [(1, 0, 1, 6), (1, 7, 1, 9), (1, 10, 1, 13), (1, 14, 1, 16)]
    return Case(
        id="207 one line from field to spirit",
        kind="one wide row feeding growers, lots, malts, mashes, fermentations and spirits",
        says="each line is one batch made of one malt of one lot; merged groups name the stage",
        files={"207_field_to_spirit.xlsx": book({"2025": Tab(grid, merged=merged)})},
        truth={
            "growers": growers(3),
            "lots": pick(grain, *lot_columns),
            "malts": pick(malt, "malt_id", "lot_id", "tonnes", "moisture_pct"),
            "mashes": mashes,
            "fermentations": pick(rows, "batch_id", "vessel", "pitched_at", "og_sg"),
            "spirits": pick(spirit, "batch_id", "distilled_on", "new_make_l", "new_make_abv_pct"),
        },
        expect="after one answer",
        answers={"groups": {"Barley": "lots", "Malt": "malts", "Spirit": "spirits"}},
    )


def reckoned_cells() -> Case:
    """Formulas with their values beside them, and one workbook cell never reckoned."""
    r = source("208")
    rows = batches(r, numbered("Z{}", 11, 5), dt.datetime(2025, 2, 3, 6))
    grid: Lines = [["Batch", "Washback", "Yeast in", "Bags", "Yeast kg", "Wort L", "OG"]]
    for at, row in enumerate(rows, start=2):
        bags = r.randrange(1, 3)
        row["yeast_kg"] = bags * 12.5
        value = "" if at == 4 else row["yeast_kg"]
        yeast = Cell(value, {"num_format": "0.0"}, formula=f"=D{at}*12.5")
        cells = row["batch_id"], row["vessel"], row["pitched_at"], bags, yeast
        grid.append([*cells, row["wort_l"], row["og_sg"]])
        if at == 4:
            del row["yeast_kg"]
    columns = "batch_id", "vessel", "pitched_at", "yeast_kg", "wort_l", "og_sg"
    return Case(
        id="208 formulas, one never reckoned",
        kind="yeast as bags x 12.5 by formula with the value beside it; one has no value",
        says="bags is not needed; Z13's yeast was never reckoned, so it is not known",
        files={"208_bags.xlsx": book({"Sets": grid})},
        truth={"fermentations": pick(rows, *columns)},
        why="the cell without a value has to be told of, and not be read as 0",
        answers={"leave_out": {"columns": ["Bags"]}},
    )


def two_tables_with_titles() -> Case:
    """Settings and daily gravities of a week under titles of their own."""
    r = source("209")
    rows = batches(r, numbered("{}", 512, 4), dt.datetime(2025, 9, 1, 7), every_h=18)
    readings = [row for batch in rows for row in curve(r, batch, (6, 22, 38, 54))]
    lines = ["WEEK 36", "", "1. Backs set", "Batch,Back,Yeast in,OG,Yeast kg"]
    for row in rows:
        start = f"{row['batch_id']},{row['vessel']},{row['pitched_at']:%d/%m/%Y %H:%M}"
        lines.append(f"{start},{row['og_sg']:.4f},{row['yeast_kg']}")
    lines += ["Backs set: 4", "", "2. Gravities", "Batch,Date,Time,Gravity,Temp"]
    for row in readings:
        moment = f"{row['read_at']:%d/%m/%Y,%H:%M}"
        lines.append(f"{row['batch_id']},{moment},{row['sg']:.4f},{row['temp_c']}")
    lines += ["", "3. Remarks", "Boiler off Thursday 2 h. Nothing else."]
    return Case(
        id="209 a week in three parts",
        kind="two tables with titles in one text file, a count line and remarks",
        says="backs set above, gravities below, the rest is talk; day first",
        files={"209_week36.csv": text(*lines)},
        truth={
            "fermentations": pick(rows, "batch_id", "vessel", "pitched_at", "og_sg", "yeast_kg"),
            "readings": pick(readings, "batch_id", "read_at", "sg", "temp_c"),
        },
        expect="after one answer",
        answers={"date_order": "day first"},
    )


def bench_limits() -> Case:
    """Forced ferments: set up and read, the length left to the reader's arithmetic."""
    r = source("210")
    rows = batches(r, numbered("R{}", 90, 5), dt.datetime(2025, 10, 20, 6))
    grid: Lines = [
        ["Forced ferments"],
        ["Batch", "Tested on", "Test hours", "Incubator °C", "Limit gravity"],
    ]
    truth = []
    for row in rows:
        limit, hours = round(r.uniform(0.9972, 0.9994), 4), r.choice((24, 48))
        tested = row["pitched_at"].date() + dt.timedelta(days=1)
        grid.append([row["batch_id"], tested.isoformat(), hours, 30, f"{limit * 1000:.1f}"])
        truth.append(
            {
                "batch_id": row["batch_id"],
                "tested_on": tested,
                "test_h": hours,
                "test_temp_c": 30,
                "limit_sg": limit,
            }
        )
    return Case(
        id="210 forced ferments",
        kind="bench limits written 998.4",
        says="limit gravity 998.4 is 0.9984; the incubator is the test temperature",
        files={"210_forced.csv": delimited(grid)},
        truth={"attenuations": truth},
        parents=stubs(rows),
        expect="after one answer",
        maps=[page_map("attenuations", {"Incubator °C": "test_temp_c"})],
        answers={"columns": {"Incubator °C": "test_temp_c"}},
    )


CASES = (
    american_register,
    month_first_in_doubt,
    german_thousands,
    swiss_thousands,
    title_units_and_notes,
    cards_in_a_grid,
    field_to_spirit,
    reckoned_cells,
    two_tables_with_titles,
    bench_limits,
)
