"""Tasting sheets with a line per person, sample and attribute, however they lie."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from .case import Case, Row, Rows, page_map, pick
from .draw import ATTRIBUTES, numbered, of, scores, source, stub_batches
from .files import Lines, Tab, book, delimited

PEOPLE = ("AK", "RB", "JM", "TS", "LN", "PD")
MARCH = dt.datetime(2025, 3, 3, 8)
SCORE = ("tasting_id", "assessor_id", "batch_id", "attribute", "score")


def _drawn(
    case: str,
    ids: list[str],
    tasting: Row,
    people: int = 5,
    attributes: Sequence[str] = ATTRIBUTES,
    replicates: int = 1,
    top: int = 10,
) -> Rows:
    return scores(source(case), tasting, PEOPLE[:people], ids, attributes, replicates, top)


def _figure(rows: Rows, **wanted: object) -> int:
    return int(of(rows, **wanted)[0]["score"])


def blocks_per_assessor() -> Case:
    """Names merged over their own columns, attributes below each name."""
    ids = numbered("P{}", 11, 4)
    short, tasting = ATTRIBUTES[:4], {"tasting_id": "T5", "tasted_on": dt.date(2025, 4, 8)}
    rows = _drawn("601", ids, tasting, people=3, attributes=short)
    people = PEOPLE[:3]
    over: list[object] = ["Sample"]
    below: list[object] = [None]
    for person in people:
        over += [person, None, None, None]
        below += [name.title() for name in short]
    lines = [
        [
            one,
            *(
                _figure(rows, batch_id=one, assessor_id=p, attribute=a)
                for p in people
                for a in short
            ),
        ]
        for one in ids
    ]
    grid: Lines = [["Tasting", "T5", "Date", dt.date(2025, 4, 8)], [], over, below, *lines]
    merged = [(2, 1 + 4 * at, 2, 4 + 4 * at) for at in range(len(people))]
    return Case(
        id="601 a block per assessor",
        kind="assessors' initials merged over their attributes, samples down",
        says="the initials above are the assessor; the sample is the batch; tasting T5",
        files={"601_panel_blocks.xlsx": book({"T5": Tab(grid, merged=merged)})},
        truth={"scores": pick(rows, *SCORE, "tasted_on")},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        answers={"over_is": "assessor_id", "across_is": "attribute", "down_is": "batch_id"},
    )


def scale_in_header() -> Case:
    """One line per person and sample; booth, order, scale in the header, a total at the end."""
    ids = numbered("NM{}", 301, 4)
    rows = _drawn(
        "602", ids, {"tasting_id": "2025-06", "tasted_on": dt.date(2025, 5, 20)}, replicates=2
    )
    head = ["Session", "Date", "Booth", "Assessor", "Sample", "Rep", "Order"]
    grid: Lines = [[*head, *(f"{name.title()} (0-10)" for name in ATTRIBUTES), "Total"]]
    for at, person in enumerate(PEOPLE[:5]):
        for place in range(1, 2 * len(ids) + 1):
            own = of(rows, assessor_id=person, position=place)
            first = own[0]
            start = "2025-06", f"{first['tasted_on']:%d/%m/%Y}", at + 1, person, first["batch_id"]
            given = [row["score"] for row in own]
            grid.append([*start, first["replicate"], place, *given, sum(given)])
    for row in rows:
        row["scale"] = "0-10"
    return Case(
        id="602 scale in the header",
        kind="attributes across with their scale in brackets, booth, order, total per line",
        says="all attributes are on 0-10; booth and total can be left",
        files={"602_session_2025_06.csv": delimited(grid)},
        truth={"scores": pick(rows, *SCORE, "tasted_on", "replicate", "position", "scale")},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        answers={"leave_out": {"columns": ["Booth", "Total"]}, "constants": {"scale": "0-10"}},
    )


def codes_of_two_sessions() -> Case:
    """Blind codes used again in the second session: the key needs the session."""
    ids = numbered("BK{}", 1, 6)
    codes = ("417", "862", "035")
    first = _drawn("603", ids[:3], {"tasting_id": "S1", "tasted_on": dt.date(2025, 3, 11)})
    second = _drawn("603b", ids[3:], {"tasting_id": "S2", "tasted_on": dt.date(2025, 3, 18)})
    rows = first + second
    key = {("S1", one): code for one, code in zip(ids[:3], codes, strict=True)}
    key |= {("S2", one): code for one, code in zip(ids[3:], codes[1:] + codes[:1], strict=True)}
    grid: Lines = [["Session", "Date", "Taster", "Code", "Order", "Descriptor", "Intensity"]]
    for row in rows:
        code = key[row["tasting_id"], row["batch_id"]]
        start = row["tasting_id"], row["tasted_on"], row["assessor_id"], code
        grid.append([*start, row["position"], row["attribute"], row["score"]])
    opened: Lines = [["Key - opened after the session"], [], ["Session", "Code", "Batch"]]
    opened += [[session, code, one] for (session, one), code in key.items()]
    return Case(
        id="603 codes of two sessions",
        kind="long scores by blind code; the key on another tab, codes used again per session",
        says="look the code up by session in the Key tab",
        files={"603_blind.xlsx": book({"Scores": grid, "Key": opened})},
        truth={"scores": pick(rows, *SCORE, "tasted_on", "position")},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        maps=[page_map("scores", {"Code": "batch_id"}, "Scores")],
        answers={"key": {"tab": "Key", "by": ["Session", "Code"], "gives": "Batch"}},
    )


def tab_per_assessor() -> Case:
    """Everybody's own tab: samples down, attributes across, a mean below."""
    ids = numbered("{}", 4101, 4)
    rows = _drawn("604", ids, {"tasting_id": "W19", "tasted_on": dt.date(2025, 5, 7)})
    tabs = {}
    for person in PEOPLE[:5]:
        grid: Lines = [["Session W19", None, "7 May 2025"], []]
        grid.append(["Sample", *(name.upper() for name in ATTRIBUTES), "Comment"])
        for one in ids:
            given = [
                _figure(rows, assessor_id=person, batch_id=one, attribute=a) for a in ATTRIBUTES
            ]
            grid.append([one, *given, "short finish" if given[0] == 3 else None])
        means = [
            round(
                sum(row["score"] for row in of(rows, assessor_id=person, attribute=a)) / len(ids), 1
            )
            for a in ATTRIBUTES
        ]
        grid += [["Mean", *means]]
        tabs[person] = grid
    return Case(
        id="604 a tab per assessor",
        kind="one tab per assessor, samples down, attributes across, a mean line, comments",
        says="the tab is the assessor; the sample is the batch; session W19 of 7 May 2025",
        files={"604_assessors.xlsx": book(tabs)},
        truth={"scores": pick(rows, *SCORE, "tasted_on")},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        answers={
            "tab_is": "assessor_id",
            "across_is": "attribute",
            "constants": {"tasting_id": "W19", "tasted_on": "2025-05-07"},
            "leave_out": {"columns": ["Comment"], "rows": ["Mean"]},
        },
    )


def abbreviations() -> Case:
    """Three-letter attributes, spelt out in a key below the table."""
    ids = numbered("AB{}", 1, 5)
    rows = _drawn("605", ids, {"tasting_id": "A3", "tasted_on": dt.date(2025, 9, 16)})
    letters = {name[:3].upper(): name for name in ATTRIBUTES}
    grid: Lines = [["A3", "16.09.2025"], [], ["Batch", "Judge", *letters]]
    for one in ids:
        for person in PEOPLE[:5]:
            given = [
                _figure(rows, assessor_id=person, batch_id=one, attribute=a) for a in ATTRIBUTES
            ]
            grid.append([one, person, *given])
    grid += [[], ["Key:"], *([short, name] for short, name in letters.items())]
    return Case(
        id="605 abbreviated attributes",
        kind="CER, FRU, ... across with a key below; session and date in the first line",
        says="A3 is the tasting, 16.09.2025 its day; the key below spells the attributes",
        files={"605_tasting_a3.csv": delimited(grid, ";")},
        truth={"scores": pick(rows, *SCORE, "tasted_on")},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        answers={
            "across_is": "attribute",
            "attribute_names": letters,
            "constants": {"tasting_id": "A3", "tasted_on": "2025-09-16"},
        },
    )


def words_for_scores() -> Case:
    """A four-step scale in words."""
    words = ("none", "slight", "medium", "strong")
    ids = numbered("WD{}", 1, 4)
    rows = _drawn("606", ids, {"tasting_id": "Q-9", "tasted_on": dt.date(2025, 6, 3)}, top=3)
    head = ["Tasting", "Date", "Taster", "Batch", *(name.title() for name in ATTRIBUTES)]
    grid: Lines = [["none = 0, slight = 1, medium = 2, strong = 3"], list(head)]
    for person in PEOPLE[:5]:
        for one in ids:
            own = of(rows, assessor_id=person, batch_id=one)
            given = [words[row["score"]] for row in own]
            grid.append(["Q-9", "2025-06-03", person, one, *given])
    for row in rows:
        row["scale"] = "0-3"
    return Case(
        id="606 scores in words",
        kind="none, slight, medium, strong; what they stand for in the first line",
        says="none 0, slight 1, medium 2, strong 3, a scale of 0-3",
        files={"606_words.csv": delimited(grid)},
        truth={"scores": pick(rows, *SCORE, "tasted_on", "scale")},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        answers={
            "means": {word: at for at, word in enumerate(words)},
            "constants": {"scale": "0-3"},
        },
    )


def replicates_in_the_name() -> Case:
    """Sample names with a and b for the replicate; absent and declined people."""
    ids, tasting = numbered("RP-{}", 1, 3), {"tasting_id": "R1", "tasted_on": dt.date(2025, 10, 14)}
    rows = _drawn("607", ids, tasting, attributes=ATTRIBUTES[:4], replicates=2)
    columns = [(one, replicate) for one in ids for replicate in (1, 2)]
    labels = [f"{one} {'ab'[replicate - 1]}" for one, replicate in columns]
    grid: Lines = [["Session", "R1"], ["Date", dt.date(2025, 10, 14)], []]
    truth: Rows = []
    for attribute in ATTRIBUTES[:4]:
        grid += [[attribute.title()], ["Assessor", *labels]]
        for person in PEOPLE[:5]:
            line: list[object] = [person]
            own = of(rows, assessor_id=person, attribute=attribute)
            for one, replicate in columns:
                row = of(own, batch_id=one, replicate=replicate)[0]
                if person == "TS" and one == ids[2]:
                    line.append("abs")
                    continue
                if (person, attribute, len(line)) == ("RB", "sulphury", 2):
                    row["score"] = None
                line.append("-" if row["score"] is None else row["score"])
                truth.append(row)
            grid.append(line)
        grid.append([])
    return Case(
        id="607 replicate in the sample's name",
        kind="a block per attribute, assessors down, samples across as RP-1 a, RP-1 b; abs and -",
        says="a and b are the two replicates of the batch; abs was not there; - declined to score",
        files={"607_replicates.xlsx": book({"R1": grid})},
        truth={"scores": pick(truth, *SCORE, "tasted_on", "replicate")},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        answers={
            "heading_is": "attribute",
            "across_is": "batch_id",
            "down_is": "assessor_id",
            "ends_in": {"a": {"replicate": 1}, "b": {"replicate": 2}},
            "means": {"abs": "no row", "-": "declined"},
        },
    )


def samples_across_with_totals() -> Case:
    """Samples stacked: attributes down, assessors across, order and totals per assessor."""
    ids = numbered("ST{}", 71, 3)
    rows = _drawn("608", ids, {"tasting_id": "P12", "tasted_on": dt.date(2025, 11, 4)})
    people = PEOPLE[:5]
    grid: Lines = [["Panel P12", None, None, None, dt.date(2025, 11, 4)], []]
    for one in ids:
        grid += [["Sample:", one], ["", *people, "Mean"]]
        orders = [of(rows, batch_id=one, assessor_id=p)[0]["position"] for p in people]
        grid.append(["Order tasted", *orders])
        for attribute in ATTRIBUTES:
            given = [
                _figure(rows, batch_id=one, assessor_id=p, attribute=attribute) for p in people
            ]
            grid.append([attribute.title(), *given, round(sum(given) / len(given), 1)])
        totals = [
            sum(row["score"] for row in of(rows, batch_id=one, assessor_id=p)) for p in people
        ]
        grid += [["Total", *totals], []]
    return Case(
        id="608 samples stacked, totals",
        kind="per sample: order row, attributes down, assessors across, mean column, total row",
        says="each block is a sample; leave means and totals; tasting P12",
        files={"608_panel_p12.xlsx": book({"P12": grid})},
        truth={"scores": pick(rows, *SCORE, "tasted_on", "position")},
        parents=stub_batches(ids, MARCH),
        expect="after one answer",
        answers={
            "heading_is": "batch_id",
            "across_is": "assessor_id",
            "down_is": "attribute",
            "rows_are": {"Order tasted": "position"},
            "constants": {"tasting_id": "P12", "tasted_on": "2025-11-04"},
            "leave_out": {"columns": ["Mean"], "rows": ["Total"]},
        },
    )


CASES = (
    blocks_per_assessor,
    scale_in_header,
    codes_of_two_sessions,
    tab_per_assessor,
    abbreviations,
    words_for_scores,
    replicates_in_the_name,
    samples_across_with_totals,
)
