"""Workbooks and folders that hold a season at once, with covers, lists and summaries."""

from __future__ import annotations

import datetime as dt

from . import convert
from .case import Case, Row, Rows, page_map, pick
from .draw import (
    ATTRIBUTES,
    batches,
    curves,
    growers,
    lot_stubs,
    lots,
    malts,
    numbered,
    of,
    runs,
    scores,
    source,
    stub_batches,
    stubs,
)
from .files import Cell, Lines, Tab, book, delimited

PEOPLE = ("MK", "EO", "SV", "HB")


def _table(rows: Rows, named: dict[str, str]) -> Lines:
    return [list(named), *([row.get(name) for name in named.values()] for row in rows)]


def season_workbook() -> Case:
    """A cover, a summary, lists for the drop-downs, and seven tabs of records."""
    r = source("801")
    lot_ids, malt_ids = numbered("LB{}", 1, 4), numbered("MB{}", 1, 4)
    ids = numbered("B25-{:02d}", 1, 4)
    field, malt = lots(r, lot_ids, 2025, 2), malts(r, malt_ids, lot_ids, dt.date(2025, 9, 29))
    rows = batches(r, ids, dt.datetime(2025, 10, 27, 6))
    readings, spirit = curves(r, rows), runs(r, rows)
    mashes = [
        {"batch_id": one, "malt_id": malt_id, "grist_kg": r.randrange(1500, 1600)}
        for one, malt_id in zip(ids, malt_ids, strict=True)
    ]
    names: dict[str, dict[str, str]] = {
        "Growers": {"Grower code": "grower_id", "Farm": "farm_name"},
        "Barley": {
            "Lot no": "lot_id",
            "Grower code": "grower_id",
            "Harvest year": "season",
            "Variety": "variety",
            "Yield t/ha": "yield_t_ha",
            "Grain N": "grain_n_pct_dm",
        },
        "Malt": {
            "Malt no": "malt_id",
            "Grain lot": "lot_id",
            "Kilned": "malted_on",
            "Friability": "friability_pct",
        },
        "Mash": {"Batch": "batch_id", "Malt no": "malt_id", "Malt kg": "grist_kg"},
        "Washbacks": {
            "Batch": "batch_id",
            "Washback": "vessel",
            "Yeast in": "pitched_at",
            "OG": "og_sg",
        },
        "Readings": {
            "Batch": "batch_id",
            "Date time": "read_at",
            "Gravity": "sg",
            "pH": "ph",
            "Temp": "temp_c",
        },
        "Stills": {
            "Batch": "batch_id",
            "Distilled on": "distilled_on",
            "New make litres": "new_make_l",
            "New make ABV": "new_make_abv_pct",
        },
    }
    held = growers(2), field, malt, mashes, rows, readings, spirit
    sheets = "growers", "lots", "malts", "mashes", "fermentations", "readings", "spirits"
    tabs: dict[str, Tab | Lines] = {"Cover": [["Season 2025"], [], ["kept by", "K. O."]]}
    tabs |= {tab: _table(own, names[tab]) for tab, own in zip(names, held, strict=True)}
    litres = [row["new_make_l"] for row in spirit]
    mean = Cell(sum(litres) / len(litres), {}, "", "=AVERAGE(Stills!C2:C5)")
    tabs["Summary"] = [["Mean new make, L", mean], ["Batches", len(rows)]]
    tabs["Lists"] = Tab([["pressed"], ["dried"], ["cream"]], hidden=True)
    truth = {
        sheet: pick(own, *names[tab].values())
        for sheet, tab, own in zip(sheets, names, held, strict=True)
    }
    return Case(
        id="801 a season in one workbook",
        kind="cover, summary and a hidden list tab around seven tabs of records",
        says="every tab is what its name says; cover, summary and lists hold no records",
        files={"801_season_2025.xlsx": book(tabs)},
        truth=truth,
        answers={"leave_out": {"tabs": ["Cover", "Summary", "Lists"]}},
    )


def two_habits_two_years() -> Case:
    """The same register in two years, kept by two people."""
    r = source("802")
    first = batches(r, numbered("24-{:03d}", 1, 4), dt.datetime(2024, 10, 14, 6))
    second = batches(r, numbered("25-{:03d}", 1, 4), dt.datetime(2025, 10, 13, 6))
    older: Lines = [["Batch no", "Back", "Yeast in", "OG", "Wort litres", "Yeast kg"]]
    newer: Lines = [
        ["Fermentation no", "Vessel", "Pitched", "Original gravity", "Wort hL", "Yeast g"]
    ]
    for row in first:
        figures = f"{row['og_sg'] * 1000:.1f}", row["wort_l"], row["yeast_kg"]
        older.append(
            [row["batch_id"], row["vessel"], f"{row['pitched_at']:%d/%m/%Y %H:%M}", *figures]
        )
    for row in second:
        figures = f"{row['og_sg']:.4f}", str(row["wort_l"] / 100), row["yeast_kg"] * 1000
        newer.append(
            [row["batch_id"], row["vessel"], f"{row['pitched_at']:%Y-%m-%d %H:%M}", *figures]
        )
    columns = "batch_id", "vessel", "pitched_at", "og_sg", "wort_l", "yeast_kg"
    return Case(
        id="802 two years, two habits",
        kind="two files of one register with other headers, dates and units",
        says="the second year has hL and g; the first litres and kg, its gravities over 1000",
        files={
            "802_register_2024.csv": delimited(older),
            "802_register_2025.csv": delimited(newer, ";"),
        },
        truth={"fermentations": pick(first + second, *columns)},
    )


def mash_cards() -> Case:
    """A tab per mash: label and value, weekdays before the dates, Brix."""
    r = source("803")
    rows = batches(r, numbered("MC{}", 1, 4), dt.datetime(2025, 3, 3, 14))
    lot_ids, malt_ids = numbered("CL{}", 1, 2), numbered("CM{}", 1, 2)
    made = malts(source("803m"), malt_ids, lot_ids, dt.date(2025, 1, 13))
    tabs, truth = {}, []
    for at, batch in enumerate(rows):
        brix, mashed = convert.plato(batch["og_sg"]), batch["pitched_at"] - dt.timedelta(hours=7)
        row: Row = {
            "batch_id": batch["batch_id"],
            "malt_id": malt_ids[at // 2],
            "mashed_at": mashed,
            "grist_kg": r.randrange(1500, 1620),
            "strike_temp_c": round(r.uniform(63, 66), 1),
            "wort_l": batch["wort_l"],
            "wort_sg": convert.gravity(brix),
        }
        truth.append(row)
        tabs[f"Mash {at + 31}"] = [
            ["MASH CARD", None, None, None],
            ["Batch", row["batch_id"], "Malt no", row["malt_id"]],
            [
                "Mash in",
                f"{mashed:%a} {mashed.day} {mashed:%b %Y %H:%M}",
                "Grist",
                f"{row['grist_kg']} kg",
            ],
            ["Strike temp", f"{row['strike_temp_c']} °C", "Wort volume", f"{row['wort_l']:,} L"],
            ["Wort gravity", f"{brix} °Bx", None, None],
            [],
            ["Water", "L", "°C"],
            ["1st", r.randrange(5900, 6100, 50), 64],
            ["2nd", r.randrange(2200, 2500, 50), 76],
            ["3rd, to next mash", r.randrange(3800, 4100, 50), 88],
        ]
    return Case(
        id="803 mash cards with Brix",
        kind="a tab per mash, label and value in pairs, Mon 3 Mar 2025 07:20, °Bx, waters below",
        says="each tab is one mash of the batch named in it; °Bx reads as °P; leave the waters",
        files={"803_mash_cards.xlsx": book(tabs)},
        truth={"mashes": truth},
        parents={
            **lot_stubs(lot_ids, 2024),
            "malts": pick(made, "malt_id", "lot_id"),
            **stubs(rows),
        },
        expect="after one answer",
        answers={
            "sheet": "mashes",
            "units": {"°Bx": "°P"},
            "leave_out": {"rows": ["Water", "1st", "2nd", "3rd, to next mash"]},
        },
    )


def tab_per_session() -> Case:
    """A tab per tasting, its head above, a line per person and sample below."""
    r = source("804")
    ids = numbered("TS{}", 1, 6)
    tabs, truth = {}, []
    for at, day in enumerate((dt.date(2025, 11, 4), dt.date(2025, 11, 18))):
        session, own = f"N{at + 1}", ids[3 * at : 3 * at + 3]
        rows = scores(r, {"tasting_id": session, "tasted_on": day}, PEOPLE, own, ATTRIBUTES[:5])
        for row in rows:
            row["served_abv_pct"] = 20
        grid: Lines = [["Session", session], ["Date", day], ["Served at % vol", 20], []]
        grid.append(["Assessor", "Sample", "Order", *(name.title() for name in ATTRIBUTES[:5])])
        for person in PEOPLE:
            for one in own:
                given = of(rows, assessor_id=person, batch_id=one)
                grid.append([person, one, given[0]["position"], *(row["score"] for row in given)])
        tabs[session] = grid
        truth += rows
    columns = "tasting_id", "tasted_on", "served_abv_pct", "assessor_id", "batch_id", "position"
    return Case(
        id="804 a tab per tasting",
        kind="session, date and strength above each tab's table, attributes across",
        says="the three lines above hold for the whole tab; the sample is the batch",
        files={"804_november.xlsx": book(tabs)},
        truth={"scores": pick(truth, *columns, "attribute", "score")},
        parents=stub_batches(ids, dt.datetime(2025, 10, 6, 8)),
        maps=[page_map("scores", {"Served at % vol": "served_abv_pct"})],
        answers={"columns": {"Served at % vol": "served_abv_pct"}},
        expect="after one answer",
    )


CASES = (season_workbook, two_habits_two_years, mash_cards, tab_per_session)
