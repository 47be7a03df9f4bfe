"""Tasting sheets that need a plan, a control or another scale to be read."""

from __future__ import annotations

import datetime as dt

from . import convert
from .case import Case, page_map, pick
from .draw import ATTRIBUTES, numbered, of, scores, source, stub_batches
from .files import Lines, book, delimited

PEOPLE = ("A01", "A02", "A03", "A04", "A05")
MARCH = dt.datetime(2025, 3, 3, 8)
SCORE = ("tasting_id", "tasted_on", "assessor_id", "batch_id", "attribute", "score")


def line_scale() -> Case:
    """Marks on a 100 mm line, long form."""
    ids = numbered("LS{}", 1, 4)
    tasting = {"tasting_id": "V7", "tasted_on": dt.date(2025, 4, 15), "scale": "0-100"}
    rows = scores(source("611"), tasting, PEOPLE, ids, ATTRIBUTES[:4], top=100)
    grid: Lines = [
        ["Session", "Date", "Assessor", "Batch", "Serving order", "Descriptor", "Mark (mm)"]
    ]
    for row in rows:
        start = "V7", f"{row['tasted_on']:%d.%m.%Y}", row["assessor_id"], row["batch_id"]
        grid.append([*start, row["position"], row["attribute"], row["score"]])
    return Case(
        id="611 marks on a line",
        kind="long scores as millimetres on a 100 mm line",
        says="marks on a line of 100 mm: a scale of 0-100",
        files={"611_line_scale.csv": delimited(grid, ";")},
        truth={"scores": pick(rows, *SCORE, "position", "scale")},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        maps=[page_map("scores", {"Mark (mm)": "score"})],
        answers={"columns": {"Mark (mm)": "score"}, "constants": {"scale": "0-100"}},
    )


def control_and_warm_up() -> Case:
    """A warm-up first and a hidden control, both named as such in the sample column."""
    ids = numbered("CW{}", 1, 3)
    kinds = {"W/U": ("CW900", "warm-up"), "CTRL": ("CW900", "control")}
    tasting = {"tasting_id": "K4", "tasted_on": dt.date(2025, 5, 13)}
    r = source("612")
    rows = scores(r, tasting, PEOPLE, [*ids, "CTRL"], ATTRIBUTES[:5])
    for row in rows:
        row["position"] += 1
    warm = [{**row, "position": 1} for row in scores(r, tasting, PEOPLE, ["W/U"], ATTRIBUTES[:5])]
    grid: Lines = [["Tasting", "Date", "Assessor", "Order", "Sample", *ATTRIBUTES[:5]]]
    everything = warm + rows
    for person in PEOPLE:
        own = of(everything, assessor_id=person)
        for place in range(1, 6):
            given = of(own, position=place)
            first = given[0]
            start = first["tasting_id"], first["tasted_on"].isoformat(), person, place
            grid.append([*start, first["batch_id"], *(row["score"] for row in given)])
    for row in everything:
        batch_id, kind = kinds.get(row["batch_id"], (row["batch_id"], "batch"))
        row["batch_id"], row["sample_kind"] = batch_id, kind
    told = [row for row in everything if row["sample_kind"] != "warm-up"]
    return Case(
        id="612 control and warm-up",
        kind="W/U and CTRL among the samples",
        says="CTRL is the hidden control, batch CW900; W/U is the warm-up and is not kept",
        files={"612_tasting_k4.csv": delimited(grid)},
        truth={"scores": pick(told, *SCORE, "position", "sample_kind")},
        parents=stub_batches([*ids, "CW900"], MARCH),
        expect="after one answer",
        answers={
            "means": {"CTRL": {"batch_id": "CW900", "sample_kind": "control"}},
            "leave_out": {"rows_where": {"Sample": "W/U"}},
        },
    )


def plan_on_another_tab() -> Case:
    """Scores by serving position; which sample that was stands in the plan."""
    ids = numbered("PP{}", 1, 4)
    tasting = {"tasting_id": "PL-2", "tasted_on": dt.date(2025, 6, 17)}
    rows = scores(source("613"), tasting, PEOPLE, ids, ATTRIBUTES[:5])
    plan: Lines = [["Assessor", "Position 1", "Position 2", "Position 3", "Position 4"]]
    grid: Lines = [
        ["Session", "Date", "Assessor", "Position", *(a.title() for a in ATTRIBUTES[:5])]
    ]
    for person in PEOPLE:
        order = [of(rows, assessor_id=person, position=place) for place in range(1, 5)]
        plan.append([person, *(given[0]["batch_id"] for given in order)])
        for place, given in enumerate(order, start=1):
            start = "PL-2", tasting["tasted_on"], person, place
            grid.append([*start, *(row["score"] for row in given)])
    return Case(
        id="613 serving plan on another tab",
        kind="scores by assessor and position, the sample in a plan assessor by position",
        says="the plan says which batch each assessor had at each position",
        files={"613_plan.xlsx": book({"Plan": plan, "Scores": grid})},
        truth={"scores": pick(rows, *SCORE, "position")},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        answers={
            "key": {"tab": "Plan", "by": ["Assessor", "Position"], "across": "Position {}"},
            "sheet": {"Scores": "scores", "Plan": None},
        },
    )


def german_panel() -> Case:
    """A German sheet with half points and decimal commas."""
    ids = numbered("VK{}", 1, 4)
    german = dict(
        zip(ATTRIBUTES[:4], ("getreidig", "fruchtig", "blumig", "schweflig"), strict=True)
    )
    tasting = {"tasting_id": "VK-3", "tasted_on": dt.date(2025, 10, 21)}
    r = source("614")
    rows = scores(r, tasting, PEOPLE, ids, ATTRIBUTES[:4])
    for row in rows:
        row["score"] = min(10, row["score"] + r.choice((0, 0, 0.5)))
    grid: Lines = [["Verkostung", "Datum", "Prüfer", "Probe", *german.values()]]
    for person in PEOPLE:
        for one in ids:
            own = of(rows, assessor_id=person, batch_id=one)
            given = [convert.comma(row["score"]) for row in own]
            grid.append(["VK-3", "21.10.2025", person, one, *given])
    columns = {
        "Verkostung": "tasting_id",
        "Datum": "tasted_on",
        "Prüfer": "assessor_id",
        "Probe": "batch_id",
    }
    names = {word: name for name, word in german.items()}
    return Case(
        id="614 German tasting sheet",
        kind="German headers and attributes, half points 6,5",
        says="Probe is the batch; getreidig is cereal, fruchtig fruity, blumig floral, "
        "schweflig sulphury",
        files={"614_verkostung.csv": delimited(grid, ";", "cp1252")},
        truth={"scores": pick(rows, *SCORE)},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        maps=[page_map("scores", columns)],
        answers={"columns": columns, "across_is": "attribute", "attribute_names": names},
    )


CASES = (line_scale, control_and_warm_up, plan_on_another_tab, german_panel)
