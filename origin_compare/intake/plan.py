"""What taking files in would do: clean sheets, faults, rows set aside, every row accounted for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from graphlib import TopologicalSorter

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.house import HouseRules
from origin_compare.intake.asking.open_questions import Question
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.blocks.block import Left, Step
from origin_compare.intake.checks.batch_times import (
    batch_times,
    check_reading_times,
    check_run_days,
)
from origin_compare.intake.checks.clashes import DIFFERENCE, drop_repeats, hold_against_store
from origin_compare.intake.checks.links import check_links, keep_whole, names_aside, names_of
from origin_compare.intake.checks.spelling import check_spellings
from origin_compare.intake.clean import AT, blank_column, clean, raw_text, set_aside
from origin_compare.intake.files.readers import Sources, read_sources
from origin_compare.intake.findings import finding, short, told
from origin_compare.intake.known import Known
from origin_compare.intake.ledger import ASIDE, GOOD, REPEATED, THERE, Ledger, open_ledger
from origin_compare.intake.raw_table import RawTable, SourceFile
from origin_compare.intake.recognise import Guess, Verdict
from origin_compare.intake.tables_read import WAITS, once_each, questions_of, read_tables
from origin_compare.intake.unplaced import Offer, offer, offer_rest
from origin_compare.sheets.catalogue import SHEETS, Sheet
from origin_compare.sheets.faults import Fault, fault_table
from origin_compare.sheets.fingerprint import key_prints

Progress = Callable[[float, str], None]
NOT_USED = ["file", "row", "column", "text", "why"]
ACCOUNT = ["file", "sheet", "read", "good", "set_aside", "already_there", "repeated", "blank"]


@dataclass(frozen=True)
class IntakePlan:
    """What an intake would do; nothing is stored until the store is given this plan.

    `sheets`: clean frames of new rows by sheet, every column of the sheet plus `_file, _tab,
        _row`; counts are Int64, days datetime64[us], moments datetime64[us, UTC];
    `faults`: everything found, faults and warnings; `set_aside`: per table (file, or file and
        tab) the rows with faults as they stood, indexed by row number, with what to mend;
    `left_alone`: (file, why) of files that are no tables; `already_there`: rows per sheet the
        store has in the same words; `files`: every file brought in; `offers`: tables to be
        mapped by hand; `account`: one row per table, columns `ACCOUNT` plus `warnings`;
    `contradictions`: one row per cell that says something else than the store: sheet, key,
        column, in_store, in_file, file, file_row (those rows are set aside);
    `tables`: what was read, for the rows' cells as written (`raw_texts`); `left_out`: tables of
        which some columns were left out, to be mapped by hand as well;
    `questions`: what is open, to be answered once per kind of table; a table whose question
        `holds` it is set aside until then; `did`: (table, step): what the layouts did to it;
    `not_used`: what was read and not used: file, row, column, text, why.
    """

    sheets: Mapping[str, pd.DataFrame]
    faults: tuple[Fault, ...]
    set_aside: Mapping[str, pd.DataFrame]
    left_alone: tuple[tuple[str, str], ...]
    already_there: Mapping[str, int]
    files: tuple[SourceFile, ...]
    offers: tuple[Offer, ...]
    account: pd.DataFrame
    contradictions: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=DIFFERENCE))
    tables: tuple[RawTable, ...] = field(default=(), repr=False)
    left_out: tuple[Offer, ...] = ()
    questions: tuple[Question, ...] = ()
    did: tuple[tuple[str, Step], ...] = ()
    not_used: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=NOT_USED))

    @property
    def is_clean(self) -> bool:
        """No fault was found; warnings do not count."""
        return not any(fault.is_to_mend for fault in self.faults)

    def sentence(self) -> str:
        """What would be taken in and what was set aside, in a sentence or two."""
        totals = self.account[ACCOUNT[2:]].sum()
        taken = [
            count(len(frame), _one_row(name)) for name, frame in self.sheets.items() if len(frame)
        ]
        said = [f"Takes in {listed(taken, 12)}." if taken else "Takes in nothing new."]
        if totals["set_aside"]:
            verb = "is" if totals["set_aside"] == 1 else "are"
            said.append(f"{count(int(totals['set_aside']), 'row')} {verb} set aside to be mended.")
        cells = sum(fault.weight == "cell" for fault in self.faults)
        if cells:
            verb, their = ("is", "its row goes") if cells == 1 else ("are", "their rows go")
            said.append(f"{count(cells, 'cell')} {verb} set aside; {their} in without.")
        if totals["already_there"]:
            said.append(
                f"{count(int(totals['already_there']), 'row')} already in the store: nothing "
                "changes there."
            )
        said += self.left_out_sentences()
        refused = [
            fault.file for fault in self.faults if not fault.sheet and fault.weight == "fault"
        ]
        if refused:
            said.append(f"Not read as a sheet: {listed(list(dict.fromkeys(refused)))}.")
        return " ".join(said)

    def left_out_sentences(self) -> list[str]:
        """What was read and not used, in a sentence; empty where all was used."""
        columns = [f"{name} of {one.label}" for one in self.left_out for name in one.left_out]
        if not columns:
            return []
        verb = "is" if len(columns) == 1 else "are"
        return [f"{listed(columns, 6)} {verb} left out: no such column is known."]

    def besides(self) -> list[str]:
        """What was taken for granted and what was read and not used, a sentence each."""
        said = [
            f"{one.what} Until it is said, {one.default} is taken for granted."
            for one in self.questions
            if not one.holds and one.default
        ]
        if len(self.not_used):
            texts = [f'"{short(text)}"' for text in self.not_used["text"]]
            said.append(f"Read and not used: {listed(texts, 4)}.")
        return said

    def table(self) -> pd.DataFrame:
        """Per table: its sheet, the rows read, what became of them, and how many warnings."""
        return self.account

    def changes(self) -> pd.DataFrame:
        """What the store would see, per sheet: sheet, new, already_there, contradicting (rows)."""
        rows = self.contradictions.drop_duplicates(["sheet", "key", "file", "file_row"])
        against = rows["sheet"].value_counts()
        lines = [
            (name, len(frame), self.already_there.get(name, 0), int(against.get(name, 0)))
            for name, frame in self.sheets.items()
        ]
        table = pd.DataFrame(lines, columns=["sheet", "new", "already_there", "contradicting"])
        return table[table.iloc[:, 1:].sum(axis=1) > 0].reset_index(drop=True)

    def fault_table(self) -> pd.DataFrame:
        """One row per fault or warning."""
        return fault_table(self.faults)

    def raw_texts(self, rows: pd.DataFrame) -> pd.Series:
        """The cells as written of rows of `sheets`, a JSON object by header each.

        `rows` needs `_file, _tab, _row`; the series has its index.
        """
        texts = rows["_raw"].fillna("") if "_raw" in rows else pd.Series("", rows.index, "str")
        for raw in (one for one in self.tables if one.places is None):
            here = (rows["_file"] == raw.file) & (rows["_tab"] == raw.tab) & (texts == "")
            mine = here.to_numpy(dtype=bool)
            if mine.any():
                at = np.searchsorted(raw.rows, rows["_row"].to_numpy(dtype="int64")[mine])
                told = raw_text(raw, at)
                texts[mine] = told.to_numpy()
        return texts

    def rests_on(self) -> str:
        """The files and rows behind the plan, and what was left alone."""
        rows = int(self.account["read"].sum())
        text = f"{count(len(self.files), 'file')}, {count(rows, 'row')} read"
        if self.left_alone:
            text += f"; left alone: {listed([name for name, _ in self.left_alone])}"
        return text + "."


def plan_intake(
    sources: Sources | Iterable[tuple[str, bytes]],
    rules: HouseRules,
    plans: Sequence[ReadingPlan] = (),
    known: Known | None = None,
    progress: Progress | None = None,
) -> IntakePlan:
    """Read, understand and check files, without storing anything.

    `plans`: what was said about kinds of files. `known`: what stands already, None where
    there is no store. Without a store, links to a sheet that is wholly absent are not checked
    but said in a warning. `progress` is told how far it is (0 to 1) and at what.

    Raises `RefusedFile` if no file was brought in.
    """
    tell = progress or _silent
    tell(0.0, "opening the files")
    brought = sources if isinstance(sources, Sources) else read_sources(sources)
    tell(0.1, "looking where the tables lie")
    read = read_tables(brought, plans, known, rules.time_zone)
    total, done = max(sum(table.raw.rows_read for table in read.tables), 1), 0
    faults = [*brought.faults, *read.faults]
    asked: list[Question] = []
    ledgers: list[Ledger] = []
    strays: list[tuple[RawTable, Verdict]] = []
    for table in read.tables:
        raw, guess = table.raw, table.guess
        tell(0.15 + 0.6 * done / total, f"reading every cell of {raw.label}")
        done += raw.rows_read
        if guess is None:
            strays.append((raw, _waiting(*table.held) if table.held else table.verdict))
            continue
        cleaned = clean(raw, guess, rules)
        points = questions_of(raw, cleaned.open_points)
        asked.extend(points)
        held = next((one for one in points if one.holds), None)
        if held is not None:
            strays.append((raw, _waiting(held, guess)))
            continue
        ledgers.append(open_ledger(len(ledgers), cleaned))
        faults.extend(_header_warnings(raw, guess))
    tell(0.75, "holding rows against one another and the store")
    there, absent = _hold_against(ledgers, known, rules)
    faults.extend(absent)
    for one in ledgers:
        faults.extend(told(one.findings, one.label, one.sheet, one.rows))
    faults.extend(_stray(raw, verdict) for raw, verdict in strays)
    return IntakePlan(
        _sheets(ledgers),
        tuple(faults),
        _set_aside(ledgers, strays),
        brought.left_alone,
        there,
        brought.files,
        tuple(offer(raw, verdict) for raw, verdict in strays),
        _account(ledgers, strays, faults),
        _contradictions(ledgers),
        tuple(one.cleaned.raw for one in ledgers),
        tuple(
            offer_rest(one.cleaned.raw, one.cleaned.guess)
            for one in ledgers
            if one.cleaned.guess.unknown
        ),
        once_each((*read.questions, *asked)),
        tuple((table.raw.label, step) for table in read.tables for step in table.steps),
        _not_used(read.left),
    )


def _waiting(held: Question, guess: Guess | None = None) -> Verdict:
    """The verdict on a table that waits for an answer: nothing of it goes in."""
    wrong = f"{WAITS}: {held.what[:1].lower()}{held.what[1:].rstrip('?')}"
    choices = f" Say one of: {', '.join(held.choices)}." if held.choices else ""
    default = f" Likeliest: {held.default}." if held.default else ""
    mend = f"{held.evidence}{choices}{default} Answer it once for files of this kind.".strip()
    return Verdict(None, (guess,) if guess else (), wrong, mend)


def _not_used(left: Sequence[tuple[str, Left]]) -> pd.DataFrame:
    """What was read and not used, a line each: `NOT_USED`."""
    lines = [(label, one.row, one.column, one.text, one.why) for label, one in left]
    return pd.DataFrame(lines, columns=NOT_USED)


def _silent(share: float, what: str) -> None:
    pass


def _contradictions(ledgers: Sequence[Ledger]) -> pd.DataFrame:
    found = [part for one in ledgers for part in one.against_store]
    return pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=DIFFERENCE)


def sheets_in_order() -> tuple[Sheet, ...]:
    """All sheets, each after those its rows point to."""
    links = {
        name: {column.links_to for column in sheet.columns if column.links_to}
        for name, sheet in SHEETS.items()
    }
    return tuple(SHEETS[name] for name in TopologicalSorter(links).static_order())


def _hold_against(
    ledgers: list[Ledger], known: Known | None, rules: HouseRules
) -> tuple[dict[str, int], list[Fault]]:
    """Repeats, store and links, sheet by sheet so that causes travel down the chain."""
    held: dict[str, set[str]] = {}
    aside: dict[str, Mapping[str, str]] = {}
    there: dict[str, int] = {}
    times = batch_times([])
    absent: list[Fault] = []
    for sheet in sheets_in_order():
        mine = [one for one in ledgers if one.sheet == sheet.name]
        drop_repeats(mine, sheet)
        if known and mine and known.holds(sheet.name):
            there[sheet.name] = hold_against_store(mine, sheet, known)
        lacking = check_links(mine, sheet, held, aside, strict=known is not None)
        if sheet.name in ("malts", "mashes"):
            keep_whole(mine, sheet)
        check_spellings(mine, sheet, partial(known.ways, sheet.name) if known else None)
        if sheet.name == "fermentations":
            times = batch_times(mine, _stored_batches(ledgers, known), rules.hour_zero)
        elif sheet.name == "readings":
            check_reading_times(mine, times)
        elif sheet.name == "spirits":
            check_run_days(mine, times)
        absent.extend(_absent(one, parent) for one in mine for parent in dict.fromkeys(lacking))
        new = [names_of(one.frame, sheet.name) for one in mine]
        standing = known.names(sheet.name) if known and sheet.name in _POINTED_TO else set()
        held[sheet.name] = standing.union(*new)
        aside[sheet.name] = names_aside(mine, sheet.name)
    return {name: number for name, number in there.items() if number}, absent


_POINTED_TO = {
    column.links_to for sheet in SHEETS.values() for column in sheet.columns if column.links_to
}


def _stored_batches(ledgers: Sequence[Ledger], known: Known | None) -> pd.DataFrame | None:
    """The stored fermentations that rows with a time belong to."""
    timed = [one.frame["batch_id"] for one in ledgers if one.sheet in ("readings", "spirits")]
    if known is None or not timed:
        return None
    batches = pd.concat([one.drop_duplicates() for one in timed]).to_frame()
    return known.rows("fermentations", key_prints("fermentations", batches))


def _absent(one: Ledger, parent: str) -> Fault:
    return Fault(
        one.label,
        one.sheet,
        None,
        "",
        "",
        f"points to {parent}, of which there is no sheet, so these links are not checked",
        f"Bring the {parent} sheet as well.",
        "warning",
    )


def _header_warnings(raw: RawTable, guess: Guess) -> list[Fault]:
    """Columns left out, by name: nothing of a file goes missing unsaid."""
    name = guess.sheet.name
    said = [
        Fault(
            raw.label,
            name,
            raw.header_row,
            header,
            "",
            f"is no column of {name} and is left out",
            "Map it once if it is wanted.",
            "warning",
        )
        for header in guess.unknown
    ]
    said += [
        Fault(
            raw.label,
            name,
            raw.header_row,
            header,
            unit,
            "is a unit that is not known for this column, which is left out",
            "Convert the column, or correct the unit in the header.",
            "warning",
        )
        for header, unit in guess.units_refused
    ]
    return said


def _stray(raw: RawTable, verdict: Verdict) -> Fault:
    return Fault(raw.label, "", None, "", "", verdict.wrong, verdict.mend)


def _sheets(ledgers: Sequence[Ledger]) -> dict[str, pd.DataFrame]:
    """New rows of all tables by sheet, in the order of `SHEETS`; every sheet is there."""
    frames: dict[str, pd.DataFrame] = {}
    for name, sheet in SHEETS.items():
        parts = [one.frame.drop(columns=AT) for one in ledgers if one.sheet == name]
        filled = [part for part in parts if len(part)]
        if len(filled) > 1:
            frames[name] = pd.concat(filled, ignore_index=True)
        else:
            frames[name] = filled[0].reset_index(drop=True) if filled else empty_sheet(sheet)
    return frames


def empty_sheet(sheet: Sheet) -> pd.DataFrame:
    """A sheet without rows: every column with its type, and the provenance columns."""
    columns = {column.name: blank_column(column, 0) for column in sheet.columns}
    for name, dtype in (("_file", "str"), ("_tab", "str"), ("_row", "int64")):
        columns[name] = pd.Series([], dtype=dtype)
    return pd.DataFrame(columns)


def _set_aside(
    ledgers: Sequence[Ledger], strays: Sequence[tuple[RawTable, Verdict]]
) -> dict[str, pd.DataFrame]:
    frames: dict[str, pd.DataFrame] = {}
    for one in ledgers:
        bad = one.state == ASIDE
        if bad.any():
            frames[one.label] = set_aside(one.cleaned.raw, one.findings, bad)
    for raw, verdict in strays:
        everything = np.arange(len(raw.rows))
        cause = finding(everything, "", "", verdict.wrong, verdict.mend)
        frames[raw.label] = set_aside(raw, [cause], np.ones(len(raw.rows), dtype=bool))
    return frames


def _account(
    ledgers: Sequence[Ledger],
    strays: Sequence[tuple[RawTable, Verdict]],
    faults: Sequence[Fault],
) -> pd.DataFrame:
    warnings = pd.Series(
        [fault.file for fault in faults if fault.weight == "warning"], dtype="str"
    ).value_counts()
    rows = [
        (
            one.label,
            one.sheet,
            one.cleaned.raw.rows_read,
            one.count(GOOD),
            one.count(ASIDE),
            one.count(THERE),
            one.count(REPEATED),
            one.cleaned.raw.blank,
        )
        for one in ledgers
    ]
    rows += [(raw.label, "", raw.rows_read, 0, len(raw.rows), 0, 0, raw.blank) for raw, _ in strays]
    table = pd.DataFrame(rows, columns=ACCOUNT)
    return table.assign(warnings=[int(warnings.get(file, 0)) for file in table["file"]])


def _one_row(sheet: str) -> str:
    return {"malts": "malt row", "mashes": "mash row"}.get(sheet, sheet.removesuffix("s"))
