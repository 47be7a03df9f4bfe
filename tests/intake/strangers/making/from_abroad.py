"""Certificates, yeast and still books from other countries and other houses."""

from __future__ import annotations

import datetime as dt

from . import convert
from .case import Case, Rows, page_map, pick
from .draw import batches, lot_stubs, malts, numbered, runs, source, stubs
from .files import Lines, Tab, book, delimited


def german_certificate() -> Case:
    """A German malt certificate: dry extract as wfr., Kolbach, decimal commas."""
    r = source("421")
    lot_ids = ["PA-7", "PA-8"]
    rows = malts(r, ["MC-7", "MC-8"], lot_ids, dt.date(2025, 10, 20))
    tabs = {}
    labels = {
        "Malzcharge": "malt_id",
        "Gerstenpartie": "lot_id",
        "Abdarrdatum": "malted_on",
        "Wassergehalt (%)": "moisture_pct",
        "Extrakt wfr. (%)": "extract_pct_dm",
        "Kolbachzahl (%)": "soluble_n_ratio_pct",
        "Friabilimeter (%)": "friability_pct",
        "FAN (mg/l)": "fan_mg_l",
    }
    for row in rows:
        grid: Lines = [["Malzattest"], []]
        for label, name in labels.items():
            value = row[name]
            grid.append([label, convert.comma(value) if isinstance(value, float) else value])
        tabs[row["malt_id"]] = [*grid, [], ["wfr. = wasserfrei"]]
    return Case(
        id="421 German malt certificates",
        kind="a tab per certificate, German labels, figures as text with decimal commas",
        says="wfr. is dry; Malzcharge is the malting batch, Gerstenpartie the grain lot",
        files={"421_malzattest.xlsx": book(tabs)},
        truth={"malts": pick(rows, *labels.values())},
        parents=lot_stubs(lot_ids, 2025),
        expect="after one answer",
        maps=[page_map("malts", labels)],
        answers={"sheet": "malts", "columns": labels},
    )


def yeast_in_german() -> Case:
    """Yeast deliveries with words for the form and a fraction for viability."""
    r = source("422")
    words = {"Presshefe": "pressed", "Trockenhefe": "dried", "Flüssighefe": "cream"}
    grid: Lines = [
        ["Lieferung", "Stamm", "Art", "Hergestellt", "Geliefert", "Lebend (Anteil)", "Lager °F"]
    ]
    truth: Rows = []
    for at, word in enumerate((*words, "Presshefe")):
        made, share = (
            dt.date(2025, 9, 1) + dt.timedelta(days=9 * at),
            round(r.uniform(0.93, 0.98), 3),
        )
        cold = r.randrange(36, 41)
        row = {
            "delivery_id": f"H{at + 1}",
            "strain": "V-17",
            "form": words[word],
            "made_on": made,
            "delivered_on": made + dt.timedelta(days=2),
            "viability_pct": round(share * 100, 1),
            "storage_temp_c": convert.celsius(cold),
        }
        truth.append(row)
        days = [f"{row[name]:%d.%m.%Y}" for name in ("made_on", "delivered_on")]
        grid.append([row["delivery_id"], row["strain"], word, *days, convert.comma(share, 3), cold])
    columns = {
        "Lieferung": "delivery_id",
        "Stamm": "strain",
        "Art": "form",
        "Hergestellt": "made_on",
        "Geliefert": "delivered_on",
        "Lebend (Anteil)": "viability_pct",
        "Lager °F": "storage_temp_c",
    }
    return Case(
        id="422 yeast in German",
        kind="Presshefe, Trockenhefe, Flüssighefe; viability as a fraction 0,962; °F",
        says="pressed, dried, cream; the fraction 0,962 is 96.2 %",
        files={"422_hefe.csv": delimited(grid, ";", "utf-8-sig")},
        truth={"yeasts": truth},
        expect="after one answer",
        maps=[page_map("yeasts", columns)],
        answers={"columns": columns, "means": words, "units": {"Lebend (Anteil)": "fraction"}},
    )


def two_runs_of_a_batch() -> Case:
    """Two spirit runs to a batch, the batch merged down, charges under group headings."""
    r = source("521")
    rows = batches(r, numbered("TR{}", 1, 4), dt.datetime(2025, 6, 2, 6))
    over = ["Batch", "Run", "Date", "Low wines", None, "Feints", None, "New make", None]
    below = [None, None, None, "L", "% vol", "L", "% vol", "L", "% vol"]
    grid: Lines = [["Spirit still 1"], over, below]
    merged = [(1, 3, 1, 4), (1, 5, 1, 6), (1, 7, 1, 8)]
    truth = []
    for whole in runs(r, rows):
        merged.append((len(grid), 0, len(grid) + 1, 0))
        for run in (1, 2):
            row = {
                "batch_id": whole["batch_id"],
                "run_no": run,
                "distilled_on": whole["distilled_on"] + dt.timedelta(days=run - 1),
                "low_wines_l": r.randrange(1250, 1450, 10),
                "low_wines_abv_pct": round(r.uniform(22, 25), 1),
                "returned_l": r.randrange(560, 700, 10),
                "returned_abv_pct": round(r.uniform(28, 33), 1),
                "new_make_l": round(whole["new_make_l"] / 2) + r.randrange(-20, 20),
                "new_make_abv_pct": round(r.uniform(67.5, 70), 1),
            }
            truth.append(row)
            figures = list(row.values())[1:]
            grid.append([row["batch_id"] if run == 1 else None, *figures])
    return Case(
        id="521 two runs of a batch",
        kind="batch merged over two runs; groups low wines, feints, new make, each L and % vol",
        says="run 1 and 2 of each batch; low wines and feints are what was charged",
        files={"521_spirit_still.xlsx": book({"Still 1": Tab(grid, merged=merged)})},
        truth={"spirits": truth},
        parents=stubs(rows),
    )


def sample_strength() -> Case:
    """Milligrams per litre of sample, with each sample's strength beside."""
    r = source("522")
    rows = batches(r, numbered("SP{}", 1, 4), dt.datetime(2025, 7, 7, 6))
    names = ("Acetaldehyde", "Ethyl acetate", "Isobutanol")
    grid: Lines = [["mg per litre of sample"], ["Batch", "Sample ABV %", *names]]
    truth: Rows = []
    for batch in rows:
        strength = round(r.uniform(66, 70), 1)
        found = [r.randrange(*span) for span in ((40, 70), (150, 210), (460, 620))]
        grid.append([batch["batch_id"], strength, *found])
        for name, value in zip(names, found, strict=True):
            amount = round(value / strength * 10, 3)
            truth.append({"batch_id": batch["batch_id"], "compound": name, "g_100l_aa": amount})
    return Case(
        id="522 per litre of sample",
        kind="mg/L of sample, the sample's strength in a column",
        says="divide by the strength: 55 mg/L at 68 % vol is 8.09 g per 100 L of pure alcohol",
        files={"522_as_sampled.csv": delimited(grid)},
        truth={"congeners": truth},
        parents=stubs(rows),
        expect="after one answer",
        answers={
            "across_is": "compound",
            "units": {"*": "mg/L of sample"},
            "strength_column": "Sample ABV %",
        },
    )


def french_stills() -> Case:
    """A French still book: hectolitres, TAV, dates with two-digit years."""
    r = source("523")
    rows = batches(r, numbered("CH-{}", 1, 5), dt.datetime(2025, 10, 6, 6))
    made = runs(r, rows)
    grid: Lines = [
        ["Lot", "Date", "Charge (hL)", "TAV vin (% vol)", "Cœur (hL)", "TAV cœur (% vol)"]
    ]
    for row in made:
        row["new_make_l"] = round(row["new_make_l"])
        volumes = row["wash_l"] / 100, row["new_make_l"] / 100
        figures = volumes[0], row["wash_abv_pct"], volumes[1], row["new_make_abv_pct"]
        cells = [convert.comma(round(value, 2)) for value in figures]
        grid.append([row["batch_id"], f"{row['distilled_on']:%d/%m/%y}", *cells])
    columns = {
        "Lot": "batch_id",
        "Date": "distilled_on",
        "Charge (hL)": "wash_l",
        "TAV vin (% vol)": "wash_abv_pct",
        "Cœur (hL)": "new_make_l",
        "TAV cœur (% vol)": "new_make_abv_pct",
    }
    return Case(
        id="523 French still book",
        kind="hL, TAV, cœur; decimal commas; 10/10/25; UTF-8 with BOM",
        says="Lot is the fermentation batch here; cœur is the new make; TAV is % vol; day first",
        files={"523_chauffes.csv": delimited(grid, ";", "utf-8-sig")},
        truth={"spirits": pick(made, *columns.values())},
        parents=stubs(rows),
        expect="after one answer",
        maps=[page_map("spirits", columns)],
        answers={"sheet": "spirits", "columns": columns, "date_order": "day first"},
    )


CASES = (
    german_certificate,
    yeast_in_german,
    two_runs_of_a_batch,
    sample_strength,
    french_stills,
)
