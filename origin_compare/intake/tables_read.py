"""The tables of an intake: laid out, each with the sheet it is or with what it waits for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import pandas as pd

from origin_compare.intake.asking.open_questions import Question, Where
from origin_compare.intake.asking.reading_plan import IGNORE, ReadingPlan
from origin_compare.intake.blocks.as_table import as_raw
from origin_compare.intake.blocks.block import Block, Left, Step
from origin_compare.intake.blocks.labels import known_words
from origin_compare.intake.blocks.names import Names, Run
from origin_compare.intake.files.readers import Sources, Tab
from origin_compare.intake.known import Known
from origin_compare.intake.layouts.laying import Laid, laid
from origin_compare.intake.open_points import OpenPoint
from origin_compare.intake.raw_table import RawTable
from origin_compare.intake.recognise import Guess, Verdict, guess_sheet
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.faults import Fault
from origin_compare.sheets.fingerprint import key_prints

WAITS = "waits for an answer"


@dataclass(frozen=True, slots=True)
class Table:
    """One table and how it is understood; it `waits` where a question holds it back."""

    raw: RawTable
    verdict: Verdict
    questions: tuple[Question, ...] = ()
    steps: tuple[Step, ...] = ()

    @property
    def held(self) -> tuple[Question] | tuple[()]:
        """The first question that the table waits for, if it waits for one."""
        first = next((one for one in self.questions if one.holds), None)
        return () if first is None else (first,)

    @property
    def guess(self) -> Guess | None:
        """What it is read as; None while it is held for an answer."""
        return None if self.held else self.verdict.guess


@dataclass(frozen=True, slots=True)
class TablesRead:
    """All tables of an intake, what was read and not used, and the tabs without a table.

    `left`: (grid's label, what stands there and why it was left).
    """

    tables: tuple[Table, ...]
    left: tuple[tuple[str, Left], ...] = ()
    faults: tuple[Fault, ...] = field(default=())

    @property
    def questions(self) -> tuple[Question, ...]:
        """Every question once for each kind of table."""
        return once_each(one for table in self.tables for one in table.questions)


def once_each(questions: Iterable[Question]) -> tuple[Question, ...]:
    """Every question once for each kind of table."""
    once: dict[tuple[object, str], Question] = {}
    for one in questions:
        once.setdefault((one.kind, one.key), one)
    return tuple(once.values())


def questions_of(raw: RawTable, points: Iterable[OpenPoint]) -> tuple[Question, ...]:
    """What headers and cells of a table leave open, with its place and its kind."""
    return tuple(
        Question(
            one.key,
            one.what,
            one.evidence,
            one.choices,
            one.default,
            _where(raw, one.column),
            raw.kind,
            one.holds,
        )
        for one in points
    )


def _where(raw: RawTable, header: str) -> Where:
    column = raw.headers.index(header) + 1 if header in raw.headers else 0
    return Where(raw.file, raw.tab, raw.header_row, column if raw.places is None else 0)


def read_tables(
    brought: Sources,
    plans: Sequence[ReadingPlan] = (),
    known: Known | None = None,
    zone: str = "UTC",
) -> TablesRead:
    """Lay out every tab, and say of every table which sheet it is; `zone` is the site's clock."""
    gridded = [tab for tab in brought.tabs if tab.grid is not None]
    grids = [tab.grid for tab in gridded if tab.grid is not None]
    read = laid(grids, plans, partial(names_known, known, zone))
    of_grid = dict(zip((id(tab) for tab in gridded), range(len(gridded)), strict=True))
    tables: list[Table] = []
    for tab in brought.tabs:
        at = of_grid.get(id(tab))
        blocks = read.blocks[at] if at is not None else ()
        if blocks:
            tables.extend(_of_block(block, plans) for block in blocks)
        elif tab.table is not None:
            tables.append(_of_table(tab.table, plans))
    return TablesRead(
        tuple(tables),
        (*read.left, *_titles(gridded, read), *_empty_tabs(brought, read, of_grid)),
        tuple(_without_table(brought, read, of_grid)),
    )


def names_known(known: Known | None, zone: str) -> Names:
    """The names that stand in a store, by which columns and tabs are told."""
    names = Names(zone=zone)
    if known is None:
        return names
    for sheet in ("fermentations", "malts", "lots", "growers", "yeasts"):
        names = names.joined(sheet, known.names(sheet))
    vessels = known.ways("fermentations", "vessel").index
    assessors = known.ways("scores", "assessor_id").index
    names = replace(names, runs=_runs(known))
    return names.joined("vessel", map(str, vessels)).joined("assessor", map(str, assessors))


def _runs(known: Known) -> tuple[Run, ...]:
    """The batches on record in their vessels."""
    batches = pd.DataFrame({"batch_id": sorted(known.names("fermentations"))}, dtype="str")
    rows = known.rows("fermentations", key_prints("fermentations", batches))
    told = rows[rows["vessel"].notna() & rows["pitched_at"].notna()]
    columns = (told[name] for name in ("batch_id", "vessel", "pitched_at", "ended_at"))
    return tuple(
        Run(batch, vessel, began, None if pd.isna(ended) else ended)
        for batch, vessel, began, ended in zip(*columns, strict=True)
    )


def _of_block(block: Block, plans: Sequence[ReadingPlan]) -> Table:
    raw = as_raw(block)
    verdict = guess_sheet(raw, plans, block.sheet)
    questions = block.questions
    if not any(one.holds for one in questions):
        questions = (*questions, *_asked(raw, verdict))
    return Table(raw, verdict, questions, block.steps)


def _of_table(plain: RawTable, plans: Sequence[ReadingPlan]) -> Table:
    raw = replace(plain, kind=known_words(plain.headers))
    verdict = guess_sheet(raw, plans)
    return Table(raw, verdict, _asked(raw, verdict))


def _asked(raw: RawTable, verdict: Verdict) -> tuple[Question, ...]:
    """What would settle a table whose sheet is not clear, or what its left-out columns are."""
    where = Where(raw.file, raw.tab, raw.header_row)
    if verdict.guess is not None:
        return _columns_asked(raw, verdict.guess, f"It is no column of {verdict.guess.sheet.name}.")
    names = tuple(one.sheet.name for one in verdict.candidates)
    if not names or (len(names) > 1 and not verdict.candidates[0].missing):
        choices = (*names, *(name for name in SHEETS if name not in names))
        what = "Which sheet is this table?"
        return (
            Question(
                "sheet", what, f"It {verdict.wrong}.", choices, "", where, raw.kind, holds=False
            ),
        )
    return _columns_asked(raw, verdict.candidates[0], f"The table {verdict.wrong}.")


def _columns_asked(raw: RawTable, best: Guess, why: str) -> tuple[Question, ...]:
    """What each column is that the sheet has no column for."""
    where = Where(raw.file, raw.tab, raw.header_row)
    missing = [name for lack in best.missing for name in lack.split(" or ")]
    free = [
        name for name in best.sheet.names() if name not in {one.column.name for one in best.mapped}
    ]
    choices = tuple(dict.fromkeys((*missing, *free, IGNORE)))
    return tuple(
        Question(
            f"column: {header}",
            f"What is the column {header}?",
            f"{why} Its first cells are {_first_cells(raw, header)}.",
            choices,
            missing[0] if len(best.unknown) == len(best.missing) == 1 else "",
            where,
            raw.kind,
            holds=False,
        )
        for header in best.unknown
    )


def _first_cells(raw: RawTable, header: str) -> str:
    cells = raw.cells[raw.headers.index(header)]
    return ", ".join(str(text) for text in cells[cells != ""].head(4)) or "empty"


def _titles(gridded: Sequence[Tab], read: Laid) -> list[tuple[str, Left]]:
    """Lines above the header of plain tables: read, and not used."""
    found: list[tuple[str, Left]] = []
    for tab, plain in zip(gridded, read.plain, strict=True):
        if tab.grid is None or tab.table is None or not plain:
            continue
        for row in range(tab.table.header_row - 1):
            if row < tab.grid.height and any(tab.grid.row(row)):
                text = " | ".join(cell for cell in tab.grid.row(row) if cell)
                found.append((tab.grid.label, Left(row + 1, 1, text, "stands above the table")))
    return found


def _lacks_table(tab: Tab, read: Laid, of_grid: dict[int, int]) -> bool:
    at = of_grid.get(id(tab))
    return tab.table is None and (at is None or not read.blocks[at])


def _empty_tabs(brought: Sources, read: Laid, of_grid: dict[int, int]) -> list[tuple[str, Left]]:
    """Tabs in which no table was found, of files that have others."""
    lacking = [tab for tab in brought.tabs if _lacks_table(tab, read, of_grid)]
    whole = _files_without(brought, read, of_grid)
    return [
        (tab.grid.label, Left(1, 1, tab.grid.tab, "holds no table that could be found"))
        for tab in lacking
        if tab.grid is not None and tab.file not in whole
    ]


def _files_without(brought: Sources, read: Laid, of_grid: dict[int, int]) -> list[str]:
    held = {tab.file for tab in brought.tabs if not _lacks_table(tab, read, of_grid)}
    return list(dict.fromkeys(tab.file for tab in brought.tabs if tab.file not in held))


def _without_table(brought: Sources, read: Laid, of_grid: dict[int, int]) -> list[Fault]:
    """Files in which no table was found at all, refused in words."""
    whole = _files_without(brought, read, of_grid)
    why = {tab.file: tab.why for tab in brought.tabs if tab.why}
    found = []
    for name in whole:
        wrong, _, mend = why.get(name, "").removeprefix(f"{name}: ").partition(". ")
        found.append(Fault(name, "", None, "", "", wrong.rstrip("."), mend))
    return found
