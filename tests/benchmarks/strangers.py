"""Every stranger's sheet through the public face: what goes in, after how many answers, how right.

    python -m tests.benchmarks.strangers [--only 01,103] [--verbose]

A case is taken in as a user would: its parents first, then its files are planned; every question
is answered with what the case says a user would answer, or else with its default; then the plan
is taken in and the store is compared with the case's truth, cell by cell.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import sys
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

import origin_compare
from origin_compare.house import default_rules
from origin_compare.intake.asking.open_questions import Question
from origin_compare.intake.asking.reading_plan import ReadingPlan, answer
from origin_compare.intake.plan import IntakePlan
from origin_compare.sheets.catalogue import SHEETS, Column

Entry = dict[str, Any]
HERE = Path(__file__).parents[1] / "intake" / "strangers"
ROUNDS = 4
NEARLY_ALL = 0.99
_NAMED = {
    "batch_id": "Batch",
    "assessor_id": "Assessor",
    "vessel": "Washback",
    "malt_id": "Malt",
    "compound": "Compound",
    "attribute": "Attribute",
}
_READ = {"sg": "Gravity", "ph": "pH", "temp_c": "Temperature", "cooling_pct": "Cooling"}


@dataclass(frozen=True)
class Outcome:
    """What became of one case.

    `verdict`: goes in, after one answer, part in, refused, asked or WRONG; `share`: of the
    truth's cells that stand in the store as they should; `wrong`: what stands there and is not
    so; `told`: faults and questions, in words.
    """

    case: str
    expect: str
    verdict: str
    share: float
    answers: int
    wrong: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    missing: tuple[str, ...] = field(default=())


def cases() -> list[tuple[Path, Entry]]:
    """Folder and entry of every case, those given first."""
    found = []
    for name in ("given", "own"):
        folder = HERE / name
        entries = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
        found += [(folder / "files", entry) for entry in entries]
    return found


def run(folder: Path, entry: Entry) -> Outcome:
    """One case taken in and compared."""
    with origin_compare.open_store("sqlite:///:memory:") as store:
        rules = dataclasses.replace(default_rules(), **(entry.get("rules") or {}))
        store.set_rules(rules)
        parents = [
            (f"{sheet}.csv", pd.DataFrame(rows).to_csv(index=False).encode())
            for sheet, rows in entry.get("parents", {}).items()
            if rows
        ]
        if parents:
            store.take_in(store.plan(parents))
        files = [(name, (folder / name).read_bytes()) for name in entry["files"]]
        plan = store.plan(files)
        plans: tuple[ReadingPlan, ...] = ()
        for _ in range(ROUNDS):
            told = _answers(entry, plan, plans)
            if not told:
                break
            plans = answer(told, plans)
            plan = store.plan(files, plans=plans)
        taken = store.take_in(plan, originals=files)
        stored = {name: store.sheet(name) for name in SHEETS}
    answers = sum(len(one.answers) + len(one.columns) + bool(one.sheet) for one in plans)
    told_of = [str(one) for one in taken.faults]
    told_of += [f"{name}: {why}" for name, why in plan.left_alone]
    return _judged(entry, plan, stored, answers, told_of)


def _answers(
    entry: Entry, plan: IntakePlan, plans: Sequence[ReadingPlan]
) -> list[tuple[Question, str]]:
    """The open questions with their answers; those that nothing answers are left out."""
    said = {(one.kind, key) for one in plans for key in _keys(one)}
    told = []
    for question in plan.questions:
        choice = _choice(entry, question)
        if choice and (question.kind, question.key) not in said:
            told.append((question, choice))
    return told


def _keys(plan: ReadingPlan) -> list[str]:
    return [
        *plan.answers,
        *(f"column: {head}" for head in plan.columns),
        *(f"constant: {name}" for name in plan.constants),
        *(["sheet"] if plan.sheet else []),
        *(["date order"] if plan.date_order else []),
    ]


def _choice(entry: Entry, question: Question) -> str:  # noqa: PLR0911
    answers: Mapping[str, Any] = entry.get("answers") or {}
    head, _, rest = question.key.partition(": ")
    if question.key == "sheet":
        sheet = answers.get("sheet", "")
        told = sheet.get(question.where.tab, "") if isinstance(sheet, dict) else sheet
        return told or _sheet_in_maps(entry) or question.default
    if head == "column":
        return _column(entry, answers, rest) or (question.default if question.holds else "")
    if head == "tag":
        told = (answers.get("tags") or {}).get(rest, {})
        return _READ.get(told.get("column", ""), question.default) if told else question.default
    if question.key in ("columns are", "groups are"):
        told = [answers.get("across_is") or "", answers.get("over_is") or ""]
        first = told[1] or told[0] if question.key == "groups are" else told[0] or told[1]
        named = _NAMED.get(first, "")
        return named if named in question.choices else question.default
    if question.key == "cells are":
        value = (answers.get("tab_value") or {}).get(question.where.tab) or answers.get("value")
        return _READ.get(value or "", question.default)
    if question.key == "attributes" and answers.get("attribute_names"):
        return ", ".join(f"{short} = {name}" for short, name in answers["attribute_names"].items())
    if question.key.endswith(" from"):
        return _from(entry, answers, question)
    if question.key == "date order":
        return str(answers.get("date_order", question.default))
    if head == "unit":
        return _unit(answers.get("units") or {}, question, rest)
    return question.default


def _unit(told: Mapping[str, str], question: Question, unit: str) -> str:
    """What a unit means by its own word or its header's, as one of the choices where it is one."""
    by_header = next((said for head, said in told.items() if f"({unit})" in head.casefold()), "")
    said = str(told.get(unit) or by_header)
    if not said or said in question.choices:
        return said or question.default
    words = (said, said.split(maxsplit=1)[0])
    near = [one for word in words for one in question.choices if word in one]
    return near[0] if near else question.default


def _sheet_in_maps(entry: Entry) -> str:
    sheets = {one["sheet"] for one in entry.get("maps") or ()}
    return sheets.pop() if len(sheets) == 1 else ""


def _column(entry: Entry, answers: Mapping[str, Any], header: str) -> str:
    told = answers.get("columns") or {}
    for one in entry.get("maps") or ():
        told = {**one["columns"], **told}
    if header in told:
        return str(told[header])
    left = (answers.get("leave_out") or {}).get("columns") or []
    return "ignore" if header in left else ""


def _from(entry: Entry, answers: Mapping[str, Any], question: Question) -> str:
    name = question.key.removesuffix(" from")
    constant = (answers.get("constants") or {}).get(name)
    if constant is not None:
        return str(constant)
    if answers.get("tab_is") == name:
        return "the tab's name"
    columns = dict(answers.get("columns") or {})
    for one in entry.get("maps") or ():
        columns = {**one["columns"], **columns}
    for header, column in columns.items():
        choice = f"the column {header}"
        if column == name and choice in question.choices:
            return choice
    return question.default


def _judged(
    entry: Entry,
    plan: IntakePlan,
    stored: Mapping[str, pd.DataFrame],
    answers: int,
    faults: list[str],
) -> Outcome:
    right = total = 0
    wrong: list[str] = []
    missing: list[str] = []
    for sheet in SHEETS:
        truth = entry["truth"].get(sheet, [])
        rows = _by_key(sheet, stored[sheet], entry)
        known = {_key(sheet, row, entry) for row in truth}
        parents = {_key(sheet, row, entry) for row in entry.get("parents", {}).get(sheet, [])}
        wrong += [f"{sheet} {key}: no such row" for key in rows if key not in known | parents]
        for row in truth:
            key = _key(sheet, row, entry)
            found = rows.get(key)
            for name, value in row.items():
                total += 1
                got = None if found is None else found.get(name)
                if _same(got, value, SHEETS[sheet].column(name), entry):
                    right += 1
                elif found is not None and not _is_missing(got):
                    wrong.append(f"{sheet} {key} {name}: {got} for {value}")
                else:
                    missing.append(f"{sheet} {key} {name}: nothing for {value}")
    share = right / total if total else 1.0
    questions = [str(one) for one in plan.questions if one.holds]
    verdict = _verdict(entry, share, wrong, questions, answers, bool(faults) or bool(questions))
    return Outcome(
        entry["id"],
        entry.get("expect", ""),
        verdict,
        share,
        answers,
        tuple(wrong),
        (*faults, *questions),
        tuple(missing),
    )


def _verdict(
    entry: Entry,
    share: float,
    wrong: Sequence[str],
    questions: Sequence[str],
    answers: int,
    told: bool,
) -> str:
    if wrong:
        return "WRONG"
    if not any(entry["truth"].values()):
        return "refused" if told else "silent"
    if share >= NEARLY_ALL:
        return "after one answer" if answers else "goes in"
    if questions:
        return "asked"
    if share > 0.0:
        return "part in" if told else "part in, unsaid"
    return "refused" if told else "silent"


def _key(sheet: str, row: Mapping[str, Any], entry: Entry) -> tuple[object, ...]:
    form = SHEETS[sheet]
    names = [name for name in form.key if name != "tasting_id" or _tells_tasting(entry)]
    if sheet == "readings":
        names = ["batch_id", "read_at", "hours"]
    return tuple(
        _plain(row.get(name, form.column(name).default), form.column(name), entry) for name in names
    )


def _tells_tasting(entry: Entry) -> bool:
    return any("tasting_id" in row for row in entry["truth"].get("scores", ()))


def _by_key(sheet: str, frame: pd.DataFrame, entry: Entry) -> dict[tuple[object, ...], Entry]:
    rows: list[Entry] = [
        dict(zip(map(str, frame.columns), row, strict=True))
        for row in frame.itertuples(index=False)
    ]
    return {_key(sheet, row, entry): row for row in rows}


def _plain(value: Any, column: Column, entry: Entry) -> object:
    if _is_missing(value):
        return None
    if column.kind == "moment":
        return _moment(value, entry)
    if column.kind == "date":
        return pd.Timestamp(value).date().isoformat()
    if column.kind == "count":
        return int(float(value))
    if isinstance(value, int | float):
        return round(float(value), 3) if column.kind != "key" else str(value)
    text = str(value)
    return text.casefold() if column.name in ("attribute", "compound") else text


def _moment(value: Any, entry: Entry) -> str:
    zone = (entry.get("rules") or {}).get("time_zone", "UTC")
    when = pd.Timestamp(value)
    when = when.tz_localize(zone) if when.tzinfo is None else when
    return when.tz_convert("UTC").floor("s").isoformat()


def _same(got: Any, value: Any, column: Column, entry: Entry) -> bool:
    if _is_missing(got) or _is_missing(value):
        return _is_missing(got) and _is_missing(value)
    if column.kind in ("number", "temperature"):
        return math.isclose(float(got), float(value), rel_tol=0.002, abs_tol=0.051)
    if column.kind == "gravity":
        return abs(float(got) - float(value)) <= 0.0003
    if column.kind == "text":
        return str(got).casefold().split() == str(value).casefold().split()
    return _plain(got, column, entry) == _plain(value, column, entry)


def _is_missing(value: Any) -> bool:
    return (
        value is None
        or value is pd.NaT
        or value is pd.NA
        or (isinstance(value, float) and math.isnan(value))
    )


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="numbers of cases, with commas")
    parser.add_argument("--verbose", action="store_true")
    given = parser.parse_args(arguments)
    wanted = set(filter(None, given.only.split(",")))
    counts: Counter[str] = Counter()
    for folder, entry in cases():
        if wanted and entry["id"].split()[0] not in wanted:
            continue
        began = time.process_time()
        try:
            one = run(folder, entry)
        except Exception as error:  # a crash is a finding as well
            if given.verbose:
                raise
            one = Outcome(entry["id"], entry.get("expect", ""), "CRASH", 0.0, 0, (repr(error),))
        counts[one.verdict] += 1
        print(
            f"{one.verdict:16} {one.share:6.1%} {one.answers:3d}  {one.case}  "
            f"[{one.expect}]  {time.process_time() - began:.1f}s",
            flush=True,
        )
        most = 6 if given.verbose else 1
        for text in (
            *one.wrong[:most],
            *(one.told if given.verbose else ())[:8],
            *(one.missing[:4] if given.verbose else ()),
        ):
            print(f"      {text}")
    print(", ".join(f"{name} {number}" for name, number in counts.most_common()))
    return 1 if counts["WRONG"] or counts["CRASH"] else 0


if __name__ == "__main__":
    sys.exit(main())
