"""Still house logs and what the laboratory finds in new make."""

from __future__ import annotations

import datetime as dt

from . import convert
from .case import Case, Rows, page_map, pick
from .draw import COMPOUNDS, batches, compounds, numbered, of, runs, source, stub_batches, stubs
from .files import Cell, Lines, book, delimited, text

RUN = (
    "batch_id",
    "run_no",
    "distilled_on",
    "wash_l",
    "wash_abv_pct",
    "new_make_l",
    "new_make_abv_pct",
)


def charges_to_add() -> Case:
    """Two wash charges and one spirit run of a batch on two lines."""
    r = source("501")
    rows = batches(r, numbered("{}", 1201, 5), dt.datetime(2025, 3, 3, 6))
    made = runs(r, rows)
    grid: Lines = [
        [
            "Batch",
            "Charge",
            "Distilled",
            "Wash litres",
            "Wash ABV",
            "New make litres",
            "New make ABV",
        ]
    ]
    for row in made:
        first = round(row["wash_l"] / 2) + r.randrange(-150, 150, 10)
        start = row["batch_id"], 1, f"{row['distilled_on']:%d/%m/%Y}", first
        grid.append([*start, row["wash_abv_pct"], "", ""])
        second = row["batch_id"], 2, f"{row['distilled_on']:%d/%m/%Y}", row["wash_l"] - first
        grid.append([*second, row["wash_abv_pct"], row["new_make_l"], row["new_make_abv_pct"]])
    return Case(
        id="501 two charges to a run",
        kind="two wash charges of a batch on two lines, the spirit on the second",
        says="add the two wash charges; there is one spirit run per batch",
        files={"501_still_log.csv": delimited(grid)},
        truth={"spirits": pick(made, *(name for name in RUN if name != "run_no"))},
        parents=stubs(rows),
        expect="after one answer",
        answers={
            "sum_by": ["batch_id"],
            "date_order": "day first",
            "leave_out": {"columns": ["Charge"]},
        },
    )


def bulk_gallons() -> Case:
    """Imperial bulk gallons, and proof gallons nobody asked for."""
    r = source("502")
    rows = batches(r, numbered("OS{}", 1, 5), dt.datetime(2025, 4, 1, 6))
    made = runs(r, rows)
    grid: Lines = [["Spirit account (imperial gallons)"], []]
    grid.append(
        ["Batch", "Run date", "Wash (bulk gal)", "New make (bulk gal)", "ABV %", "Proof gal"]
    )
    for row in made:
        wash, spirit = (round(row[name] / convert.GALLON_L, 1) for name in ("wash_l", "new_make_l"))
        row["wash_l"], row["new_make_l"] = (
            round(gal * convert.GALLON_L, 1) for gal in (wash, spirit)
        )
        proof = round(spirit * row["new_make_abv_pct"] / 57.06, 1)
        grid.append(
            [row["batch_id"], row["distilled_on"], wash, spirit, row["new_make_abv_pct"], proof]
        )
    return Case(
        id="502 bulk gallons",
        kind="imperial bulk gallons, told in title and brackets, with proof gallons beside",
        says="imperial gallons; ABV is the new make's; proof gallons can be left",
        files={"502_spirit_account.xlsx": book({"Account": grid})},
        truth={
            "spirits": pick(
                made, "batch_id", "distilled_on", "wash_l", "new_make_l", "new_make_abv_pct"
            )
        },
        parents=stubs(rows),
        expect="after one answer",
        maps=[page_map("spirits", {"ABV %": "new_make_abv_pct"})],
        answers={
            "columns": {"ABV %": "new_make_abv_pct"},
            "units": {"gal": "imperial"},
            "leave_out": {"columns": ["Proof gal"]},
        },
    )


def american_proof() -> Case:
    """Strength as US proof, volumes in wine gallons."""
    r = source("503")
    rows = batches(r, numbered("US-{}", 1, 4), dt.datetime(2025, 5, 5, 6))
    made = runs(r, rows)
    grid: Lines = [
        [
            "Batch",
            "Run date",
            "Low wines (wine gal)",
            "Low wines proof",
            "Spirit (wine gal)",
            "Spirit proof",
        ]
    ]
    for row in made:
        low, spirit = r.randrange(560, 690), round(row["new_make_l"] / convert.US_GALLON_L, 1)
        low_proof, proof = round(r.uniform(46, 52), 1), round(row["new_make_abv_pct"] * 2, 1)
        row["low_wines_l"] = round(low * convert.US_GALLON_L, 1)
        row["low_wines_abv_pct"] = round(low_proof / 2, 2)
        row["new_make_l"] = round(spirit * convert.US_GALLON_L, 1)
        day = f"{row['distilled_on']:%b %d, %Y}"
        grid.append([row["batch_id"], day, low, low_proof, spirit, proof])
    columns = "low_wines_l", "low_wines_abv_pct", "new_make_l", "new_make_abv_pct"
    return Case(
        id="503 wine gallons and proof",
        kind="US proof (twice % vol), wine gallons, dates May 09, 2025",
        says="US proof is twice the % vol; wine gallons are US gallons; spirit is the new make",
        files={"503_runs.csv": delimited(grid)},
        truth={"spirits": pick(made, "batch_id", "distilled_on", *columns)},
        parents=stubs(rows),
        expect="after one answer",
        maps=[
            page_map(
                "spirits", {"Spirit (wine gal)": "new_make_l", "Spirit proof": "new_make_abv_pct"}
            )
        ],
        answers={
            "columns": {"Spirit (wine gal)": "new_make_l", "Spirit proof": "new_make_abv_pct"},
            "units": {"wine gal": "US gallon", "proof": "US proof"},
        },
    )


def cuts_in_one_cell() -> Case:
    """Cut on and off in one cell, strengths as fractions, monthly subtotals."""
    r = source("504")
    rows = batches(r, numbered("K{}", 301, 8), dt.datetime(2025, 1, 20, 6), every_h=60)
    made = runs(r, rows)
    share = {"num_format": "0.0%"}
    grid: Lines = [
        [
            "Batch",
            "Distilled on",
            "Still",
            "New make litres",
            "Spirit strength",
            "Cut on/off",
            "LPA",
        ]
    ]
    for month in (1, 2):
        own = [row for row in made if row["distilled_on"].month == month]
        for row in own:
            strength = Cell(round(row["new_make_abv_pct"] / 100, 4), share)
            cuts = f"{row['cut_on_abv_pct']}/{row['cut_off_abv_pct']}"
            at = len(grid) + 1
            lpa = Cell(
                round(row["new_make_l"] * row["new_make_abv_pct"] / 100, 1), {}, "", f"=D{at}*E{at}"
            )
            cells = row["batch_id"], row["distilled_on"], row["still"], row["new_make_l"]
            grid.append([*cells, strength, cuts, lpa])
        litres = sum(row["new_make_l"] for row in own)
        grid.append([f"Subtotal {('January', 'February')[month - 1]}", None, None, litres])
    columns = "still", "new_make_l", "new_make_abv_pct", "cut_on_abv_pct", "cut_off_abv_pct"
    return Case(
        id="504 both cuts in one cell",
        kind="cut on/off as 72.4/63.1 in one cell, strength as a percent format, monthly subtotals",
        says="the first figure is cut on, the second cut off; LPA is reckoned and can be left",
        files={"504_still_house.xlsx": book({"Stills": grid})},
        truth={"spirits": pick(made, "batch_id", "distilled_on", *columns)},
        parents=stubs(rows),
        expect="after one answer",
        answers={
            "several_in_a_cell": {"Cut on/off": ["cut_on_abv_pct", "cut_off_abv_pct"]},
            "leave_out": {"columns": ["LPA"]},
        },
    )


def analytes_down_samples_across() -> Case:
    """A gas chromatography report: compounds down, samples across, <LOQ and n.d."""
    r = source("511")
    ids = numbered("GX{}", 1, 5)
    figures = compounds(r, ids)
    grid: Lines = [
        ["Report 25/0417: volatile compounds by GC-FID"],
        ["Results in mg/L of pure alcohol"],
        [],
    ]
    grid.append(["Compound", "CAS given", "LOQ", *ids])
    truth: Rows = []
    for name in COMPOUNDS:
        line: list[object] = [name, "yes", 5]
        for row in of(figures, compound=name):
            row["g_100l_aa"] = round(row["g_100l_aa"], 1)
            line.append(round(row["g_100l_aa"] * 10))
            truth.append(row)
        grid.append(line)
    for name, cells in (("Furfural", ("<5", 12, 8, "<5", 21)), ("Diacetyl", ("n.d.",) * 5)):
        grid.append([name, "yes", 5, *cells])
        found = [(one, cell) for one, cell in zip(ids, cells, strict=True) if isinstance(cell, int)]
        truth += [
            {"batch_id": one, "compound": name, "g_100l_aa": cell / 10} for one, cell in found
        ]
    grid += [[], ["n.d.: not detected; LOQ: limit of quantification"]]
    return Case(
        id="511 GC report, compounds down",
        kind="compounds down, samples across, mg/L of pure alcohol, <5 and n.d.",
        says="samples are the batches; 10 mg/L of pure alcohol is 1 g per 100 L; "
        "<5 and n.d. are no figures",
        files={"511_gc_report.xlsx": book({"Results": grid})},
        truth={"congeners": truth},
        parents=stub_batches(ids, dt.datetime(2025, 3, 3, 8)),
        expect="after one answer",
        why="a figure below the limit is not 0: it is set aside and told of",
        answers={
            "across_is": "batch_id",
            "units": {"*": "mg/L AA"},
            "means": {"<5": "below limit", "n.d.": "below limit"},
            "leave_out": {"columns": ["CAS given", "LOQ"]},
        },
    )


def report_blocks() -> Case:
    """One block per sample in plain text."""
    r = source("512")
    ids = numbered("NM-{}", 7, 3)
    figures = compounds(r, ids)
    lines = ["GC LABORATORY DRUMOSKIE", "Order 8812", ""]
    for one in ids:
        lines += [f"Batch: {one}", "Compound;Result;Unit"]
        for row in of(figures, batch_id=one):
            lines.append(f"{row['compound']};{convert.comma(row['g_100l_aa'], 1)};g/hL AA")
        total = sum(row["g_100l_aa"] for row in of(figures, batch_id=one))
        lines += [f"Sum of the above;{convert.comma(total, 1)};g/hL AA", ""]
    return Case(
        id="512 GC blocks in text",
        kind="a block per sample, its batch above, a sum line below, decimal commas",
        says="each block is a batch; leave the sums",
        files={"512_order_8812.txt": text(*lines)},
        truth={"congeners": figures},
        parents=stub_batches(ids, dt.datetime(2025, 6, 2, 8)),
        expect="after one answer",
        answers={"heading_is": "batch_id", "leave_out": {"rows": ["Sum of the above"]}},
    )


def injections_and_means() -> Case:
    """Two injections and their mean; the mean is the result."""
    r = source("513")
    ids = numbered("J{}", 21, 4)
    figures = compounds(r, ids)
    grid: Lines = [["Sample", "Injection", *COMPOUNDS], ["", "", *["g/100 L AA"] * len(COMPOUNDS)]]
    for one in ids:
        own = of(figures, batch_id=one)
        off = [round(r.uniform(0.1, 0.9), 1) for _ in own]
        for label, sign in (("1", 1), ("2", -1), ("Mean", 0)):
            values = [
                round(row["g_100l_aa"] + sign * by, 1) for row, by in zip(own, off, strict=True)
            ]
            grid.append([one if label == "1" else "", label, *values])
    return Case(
        id="513 injections and their mean",
        kind="compounds across; lines 1, 2 and Mean per sample; units on the second line",
        says="take the mean of the two injections; the sample is the batch",
        files={"513_injections.csv": delimited(grid)},
        truth={"congeners": figures},
        parents=stub_batches(ids, dt.datetime(2025, 9, 1, 8)),
        expect="after one answer",
        maps=[page_map("congeners", {"Sample": "batch_id"})],
        answers={
            "columns": {"Sample": "batch_id"},
            "across_is": "compound",
            "take": {"Injection": "Mean"},
        },
    )


def german_laboratory() -> Case:
    """A German laboratory's long list in mg per 100 mL of pure alcohol."""
    r = source("514")
    ids = numbered("PR{}", 1, 4)
    figures = compounds(r, ids)
    grid: Lines = [["Probe", "Substanz", "Gehalt", "Einheit"]]
    for row in figures:
        value = convert.comma(row["g_100l_aa"], 1)
        grid.append([row["batch_id"], row["compound"], value, "mg/100 mL r. A."])
    columns = {"Probe": "batch_id", "Substanz": "compound", "Gehalt": "g_100l_aa"}
    return Case(
        id="514 German laboratory, long list",
        kind="long list with a unit column, mg/100 mL r. A. (pure alcohol), German headers",
        says="mg per 100 mL of pure alcohol is the same figure as g per 100 L",
        files={"514_labor.csv": delimited(grid, ";", "utf-8-sig")},
        truth={"congeners": figures},
        parents=stub_batches(ids, dt.datetime(2025, 10, 6, 8)),
        expect="after one answer",
        maps=[page_map("congeners", columns)],
        answers={"columns": columns, "units": {"Gehalt": "mg/100 mL AA"}},
    )


CASES = (
    charges_to_add,
    bulk_gallons,
    american_proof,
    cuts_in_one_cell,
    analytes_down_samples_across,
    report_blocks,
    injections_and_means,
    german_laboratory,
)
