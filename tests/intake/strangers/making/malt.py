"""Malt certificates, malting registers, mash sheets and yeast books."""

from __future__ import annotations

import datetime as dt

from . import convert
from .case import Case, Row, Rows, page_map, pick
from .draw import batches, lot_stubs, malts, numbered, source, stubs
from .files import Lines, Tab, book, delimited, text

FIGURES = (
    "moisture_pct",
    "extract_pct_dm",
    "soluble_n_ratio_pct",
    "friability_pct",
    "fan_mg_l",
    "diastatic_power",
    "predicted_lpa_t",
    "predicted_basis",
)


def _dry(rows: Rows) -> Rows:
    """The same malts, of which the sheet says that the predicted yield is per tonne dry."""
    return [{**row, "predicted_basis": "dry"} for row in rows]


def letter_certificates() -> Case:
    """Two certificates as the maltster mails them: label, dots, figure, unit."""
    r = source("401")
    lot_ids = ["L-201", "L-202"]
    rows = _dry(malts(r, ["MB 4471", "MB 4472"], lot_ids, dt.date(2025, 9, 22)))
    files = {f"401_certificate_{row['malt_id'][-4:]}.txt": _letter(row) for row in rows}
    return Case(
        id="401 certificates as letters",
        kind="plain text, label ..... figure unit, one file per malting batch",
        says="one certificate per file; extract and spirit yield are dry",
        files=files,
        truth={"malts": pick(rows, "malt_id", "lot_id", "malted_on", *FIGURES)},
        parents=lot_stubs(lot_ids, 2025),
    )


def _letter(row: Row) -> bytes:
    pairs = {
        "Malting batch": row["malt_id"],
        "Grain lot": row["lot_id"],
        "Kilned on": f"{row['malted_on'].day} {row['malted_on']:%B %Y}",
        "Moisture": f"{row['moisture_pct']} %",
        "Extract, fine, dry": f"{row['extract_pct_dm']} %",
        "Soluble nitrogen ratio": f"{row['soluble_n_ratio_pct']}",
        "Friability": f"{row['friability_pct']} %",
        "FAN": f"{row['fan_mg_l']} mg/L",
        "Diastatic power": f"{row['diastatic_power']} IoB",
        "Predicted spirit yield": f"{row['predicted_lpa_t']} L pure alcohol per t dry",
    }
    lines = [f"{label} {'.' * (30 - len(label))}: {value}" for label, value in pairs.items()]
    top = "VELTHORN MALTINGS", "Certificate of analysis", ""
    return text(*top, *lines, "", "Released by: D. Ferl, laboratory")


def analytes_down() -> Case:
    """A laboratory's table: analytes down, samples across, unit and method beside."""
    r = source("402")
    lot_ids = numbered("L{:03d}", 31, 4)
    rows = _dry(malts(r, numbered("VM-{}", 31, 4), lot_ids, dt.date(2025, 10, 6)))
    table = {
        "Moisture": ("%", "oven", "moisture_pct"),
        "Extract, dm": ("%", "IoB", "extract_pct_dm"),
        "SNR": ("%", "IoB", "soluble_n_ratio_pct"),
        "Friability": ("%", "friabilimeter", "friability_pct"),
        "FAN": ("mg/L", "ninhydrin", "fan_mg_l"),
        "DP": ("°IoB", "IoB", "diastatic_power"),
        "PSY, dm": ("LA/t", "IoB", "predicted_lpa_t"),
    }
    grid: Lines = [
        ["Laboratory report 2025-118"],
        [],
        ["", "", "Malt no", *(row["malt_id"] for row in rows)],
    ]
    grid.append(["", "", "Grain lot", *lot_ids])
    grid.append(["Analysis", "Unit", "Method"])
    for label, (unit, method, column) in table.items():
        grid.append([label, unit, method, *(row[column] for row in rows)])
    grid += [[], ["Results apply to the samples as received."]]
    return Case(
        id="402 analytes down, malts across",
        kind="transposed laboratory report with unit and method columns",
        says="each column is one malting batch; its number and its lot stand above the figures",
        files={"402_report_118.xlsx": book({"Report": grid})},
        truth={"malts": pick(rows, "malt_id", "lot_id", *FIGURES)},
        parents=lot_stubs(lot_ids, 2025),
        expect="after one answer",
        answers={"across_is": "malt_id", "leave_out": {"columns": ["Unit", "Method"]}},
    )


def two_lots_to_a_malt() -> Case:
    """Repeated columns: Lot 1, t 1, Lot 2, t 2; the malt's figures once per line."""
    r = source("403")
    lot_ids = numbered("T{:02d}", 1, 8)
    rows = malts(r, numbered("R25-{}", 1, 5), lot_ids[:5], dt.date(2025, 9, 15))
    grid: Lines = [
        ["Malting", "Kilned", "Lot 1", "Lot 1 t", "Lot 2", "Lot 2 t", "Malt moisture", "Friability"]
    ]
    truth: Rows = []
    for at, row in enumerate(rows):
        shared = pick([row], "malt_id", "malted_on", "moisture_pct", "friability_pct")[0]
        line: list[object] = [
            row["malt_id"],
            f"{row['malted_on']:%d/%m/%Y}",
            row["lot_id"],
            row["grain_t"],
        ]
        truth.append({**shared, "lot_id": row["lot_id"], "grain_t": row["grain_t"]})
        if at in (1, 2, 4):
            second, grain = lot_ids[5 + at // 2], round(r.uniform(3, 9), 2)
            truth.append({**shared, "lot_id": second, "grain_t": grain})
            line += [second, grain]
        else:
            line += ["", ""]
        grid.append([*line, row["moisture_pct"], row["friability_pct"]])
    return Case(
        id="403 two lots to a malting",
        kind="repeated columns Lot 1, Lot 1 t, Lot 2, Lot 2 t; the second often empty",
        says="up to two lots were steeped together; t is the grain of each",
        files={"403_steeps.csv": delimited(grid)},
        truth={"malts": truth},
        parents=lot_stubs(lot_ids, 2025),
        expect="after one answer",
        answers={
            "columns": {"Malting": "malt_id"},
            "repeats": {"lot_id": "Lot {}", "grain_t": "Lot {} t"},
        },
    )


def stacked_certificates() -> Case:
    """Four certificates below one another on one tab, in litre degrees."""
    r = source("404")
    lot_ids = numbered("S{}", 1, 4)
    rows = malts(r, numbered("SM{}", 1, 4), lot_ids, dt.date(2024, 10, 7))
    grid: Lines = []
    for row in rows:
        extract = round(row["extract_pct_dm"] * 3.86, 1)
        row["extract_l_deg_kg"], row["extract_basis"] = extract, "dry"
        grid += [
            ["CERTIFICATE", None, row["malt_id"]],
            ["Grain lot", None, row["lot_id"]],
            ["Date kilned", None, row["malted_on"]],
            ["Moisture", "%", row["moisture_pct"]],
            ["Hot water extract (dry)", "L°/kg", extract],
            ["Friability", "%", row["friability_pct"]],
            [],
            [],
        ]
    columns = "moisture_pct", "extract_l_deg_kg", "extract_basis", "friability_pct"
    return Case(
        id="404 certificates stacked",
        kind="certificates below one another on one tab: label, unit, figure; L°/kg dry",
        says="the word CERTIFICATE begins the next malting batch, its number beside",
        files={"404_certificates.xlsx": book({"Certs": grid})},
        truth={"malts": pick(rows, "malt_id", "lot_id", "malted_on", *columns)},
        parents=lot_stubs(lot_ids, 2024),
        expect="after one answer",
        answers={
            "columns": {"CERTIFICATE": "malt_id", "Date kilned": "malted_on"},
            "constants": {"extract_basis": "dry"},
        },
    )


def _mash_parents(ids: list[str], malt_ids: list[str], rows: Rows) -> dict[str, Rows]:
    made = malts(source(malt_ids[0]), malt_ids, ids, dt.date(2025, 9, 1))
    return {**lot_stubs(ids, 2025), "malts": pick(made, "malt_id", "lot_id"), **stubs(rows)}


def mash_house_log() -> Case:
    """Units on the second header line: kg, °F, hL, °P, and run-off as hours and minutes."""
    r = source("405")
    rows = batches(r, numbered("{}", 881, 6), dt.datetime(2025, 11, 3, 9))
    lot_ids, malt_ids = numbered("D{}", 1, 3), numbered("DM{}", 1, 3)
    over = ["Mash", None, "Malt", None, "Strike", "Wort", None, None, "Run-off"]
    below = ["Batch", "Mash in", "No", "kg", "°F", "hL", "°P", "pH", "h:mm"]
    truth: Rows = []
    grid: Lines = [["MASH HOUSE LOG"], over, below]
    for at, batch in enumerate(rows):
        strike, hectolitres = (
            convert.fahrenheit(round(r.uniform(63, 66), 1)),
            round(batch["wort_l"] / 100, 1),
        )
        strength, minutes = convert.plato(batch["og_sg"]), r.randrange(230, 330)
        row = {
            "batch_id": batch["batch_id"],
            "malt_id": malt_ids[at // 2],
            "mashed_at": batch["pitched_at"] - dt.timedelta(hours=7),
            "grist_kg": r.randrange(1480, 1620, 5),
            "strike_temp_c": convert.celsius(strike),
            "wort_l": round(hectolitres * 100),
            "wort_sg": convert.gravity(strength),
            "wort_ph": round(r.uniform(5.3, 5.6), 2),
            "run_off_h": round(minutes / 60, 3),
        }
        truth.append(row)
        cells = row["batch_id"], row["mashed_at"], row["malt_id"], row["grist_kg"]
        run_off = dt.timedelta(minutes=minutes)
        grid.append([*cells, strike, hectolitres, strength, row["wort_ph"], run_off])
    tab = Tab(grid, merged=[(1, 0, 1, 1), (1, 2, 1, 3), (1, 5, 1, 7)])
    return Case(
        id="405 mash house log, units below",
        kind="two header lines, the second with °F, hL, °P, h:mm; run-off as a time of day",
        says="Wort hL, °P, pH; run-off in hours and minutes; malt No is the malting batch",
        files={"405_mash_house.xlsx": book({"Log": tab})},
        truth={"mashes": truth},
        parents=_mash_parents(lot_ids, malt_ids, rows),
        expect="after one answer",
        answers={"columns": {"Malt No": "malt_id", "Malt kg": "grist_kg"}},
    )


def two_mashes_to_a_back() -> Case:
    """Two mashes fill one washback; the batch stands on the first line only, ditto marks below."""
    r = source("406")
    rows = batches(r, numbered("N{}", 41, 4), dt.datetime(2025, 12, 1, 12), every_h=30)
    lot_ids, malt_ids = numbered("F{}", 1, 4), numbered("FM{}", 1, 4)
    grid: Lines = [["Batch", "Mash", "Malt no", "Mash in", "Grist kg", "Wort litres", "Wort pH"]]
    truth = []
    for batch, malt_id in zip(rows, malt_ids, strict=True):
        for number in (1, 2):
            row = {
                "batch_id": batch["batch_id"],
                "mash_no": number,
                "malt_id": malt_id,
                "mashed_at": batch["pitched_at"] - dt.timedelta(hours=13 - 5 * number),
                "grist_kg": r.randrange(780, 840),
                "wort_l": r.randrange(3900, 4200, 10),
                "wort_ph": round(r.uniform(5.3, 5.6), 2),
            }
            truth.append(row)
            first = number == 1
            start = row["batch_id"] if first else '"', number, malt_id if first else '"'
            moment = f"{row['mashed_at']:%d-%b-%Y %H:%M}"
            grid.append([*start, moment, row["grist_kg"], row["wort_l"], row["wort_ph"]])
    return Case(
        id="406 ditto marks",
        kind='two mashes to a batch, a ditto mark (") for the batch and malt above',
        says='" means as above',
        files={"406_mashes.csv": delimited(grid)},
        truth={"mashes": truth},
        parents=_mash_parents(lot_ids, malt_ids, rows),
        expect="after one answer",
        answers={"means": {'"': "as above"}},
    )


def yeast_book() -> Case:
    """Deliveries with the batches they went to, two in one cell."""
    r = source("407")
    rows = batches(r, numbered("Q{}", 1, 8), dt.datetime(2025, 10, 6, 8))
    grid: Lines = [
        ["Yeast book 2025"],
        ["Delivery", "Strain", "Form", "Made", "Received", "Viable %", "Used in"],
    ]
    truth, links = [], []
    for at in range(4):
        made = rows[2 * at]["pitched_at"].date() - dt.timedelta(days=r.randrange(2, 6))
        row = {
            "delivery_id": f"YD{at + 61}",
            "strain": "V-17",
            "form": "pressed" if at else "dried",
            "made_on": made,
            "delivered_on": made + dt.timedelta(days=1),
            "viability_pct": round(r.uniform(93, 98), 1),
        }
        used = [rows[2 * at]["batch_id"], rows[2 * at + 1]["batch_id"]]
        links += [{"batch_id": one, "delivery_id": row["delivery_id"]} for one in used]
        truth.append(row)
        days = [f"{row[name].day} {row[name]:%b %Y}" for name in ("made_on", "delivered_on")]
        start = row["delivery_id"], row["strain"], str(row["form"]).upper()
        grid.append([*start, *days, row["viability_pct"], "/".join(used)])
    return Case(
        id="407 two batches in one cell",
        kind="yeast deliveries with the batches pitched from each in one cell, Q1/Q2",
        says="Q1/Q2: both batches were pitched from that delivery",
        files={"407_yeast_book.csv": delimited(grid)},
        truth={"yeasts": truth, "fermentations": links},
        parents=stubs(rows),
        expect="after one answer",
        answers={
            "columns": {"Used in": "batch_id"},
            "several_in_a_cell": {"Used in": "/"},
            "sheet": "yeasts",
        },
    )


def malting_extract_bases() -> Case:
    """Extract as is and dry side by side, in a pipe-separated export with a long key below."""
    r = source("408")
    lot_ids = numbered("BX{}", 1, 4)
    rows = _dry(malts(r, numbered("BXM{}", 1, 4), lot_ids, dt.date(2025, 11, 3)))
    lines = ["MALT|GRAIN LOT|GRAIN T|MALT T|MOISTURE|EXTRACT AS IS|EXTRACT DM|FRIAB|PSY DM"]
    for row in rows:
        fresh = round(row["extract_pct_dm"] * (1 - row["moisture_pct"] / 100), 1)
        cells = [row[name] for name in ("malt_id", "lot_id", "grain_t", "tonnes", "moisture_pct")]
        cells += [fresh, row["extract_pct_dm"], row["friability_pct"], row["predicted_lpa_t"]]
        lines.append("|".join(map(str, cells)))
    lines += [
        "",
        "KEY",
        "AS IS|at the moisture found",
        "DM|dry matter",
        "PSY|L pure alcohol per tonne",
    ]
    columns = {
        "FRIAB": "friability_pct",
        "EXTRACT DM": "extract_pct_dm",
        "PSY DM": "predicted_lpa_t",
    }
    kept = "grain_t", "tonnes", "moisture_pct", *columns.values(), "predicted_basis"
    return Case(
        id="408 both bases of extract",
        kind="extract as is and dm in neighbouring columns, pipes, a key below the table",
        says="take the dry extract, leave the other; FRIAB is friability",
        files={"408_maltings.txt": text(*lines)},
        truth={"malts": pick(rows, "malt_id", "lot_id", *kept)},
        parents=lot_stubs(lot_ids, 2025),
        expect="after one answer",
        maps=[page_map("malts", columns)],
        answers={"columns": columns, "leave_out": {"columns": ["EXTRACT AS IS"]}},
    )


CASES = (
    letter_certificates,
    analytes_down,
    two_lots_to_a_malt,
    stacked_certificates,
    mash_house_log,
    two_mashes_to_a_back,
    yeast_book,
    malting_extract_bases,
)
