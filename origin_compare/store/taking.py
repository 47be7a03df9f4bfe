"""Taking an intake into the store, in one transaction."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd
from sqlalchemy.engine import Connection

from origin_compare.answers import count, listed
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.faults import Fault
from origin_compare.store.books.intakes import keep_aside, keep_faults, new_intake
from origin_compare.store.books.originals import Original, keep_files, kept_whole, known_files
from origin_compare.store.new_rows import Sifted, sift
from origin_compare.store.revision import bump, revision
from origin_compare.store.rows import RawOf, insert_frame

if TYPE_CHECKING:
    from origin_compare.intake.plan import IntakePlan, Progress

TAKEN_COLUMNS = ["sheet", "new", "already_there", "contradicting"]


@dataclass(frozen=True)
class Taken:
    """What one intake changed.

    `intake_id` is None where nothing was new; `rows` holds `TAKEN_COLUMNS`, one line per sheet
    that came; `faults` are those of the plan and of the rows contradicting the store.
    """

    intake_id: int | None
    rows: pd.DataFrame
    faults: tuple[Fault, ...]
    files: tuple[str, ...]
    revision: int

    def sentence(self) -> str:
        """What came in, in one sentence."""
        there = int(self.rows["already_there"].sum())
        standing = f"; {count(there, 'row')} stood there already" if there else ""
        if self.intake_id is None:
            return f"Nothing was new{standing}."
        parts = [f"{count(new, 'row')} of {sheet}" for sheet, new in _brought(self.rows)]
        return f"Intake {self.intake_id} brought {listed(parts, most=20) or 'no rows'}{standing}."

    def table(self) -> pd.DataFrame:
        return self.rows

    def rests_on(self) -> str:
        """How many files it came from and how many faults they had."""
        wrong = sum(fault.is_to_mend for fault in self.faults)
        return f"{count(len(self.files), 'file')}, {count(wrong, 'fault')}."


def take_in(
    link: Connection,
    plan: IntakePlan,
    files: Sequence[Original],
    who: str,
    progress: Progress | None = None,
) -> Taken:
    """Write what of the plan is new; `files` are those it was made of, and any besides.

    `progress` is told how far it is (0 to 1) and at what. The cells as written are kept with the
    rows of a file whose bytes the store does not keep, and read from the file again where it does.

    Nothing new, and no file that had faults for the first time: no intake.
    """
    sifted = {
        name: sift(link, name, plan.sheets[name])
        for name in SHEETS
        if name in plan.sheets and len(plan.sheets[name])
    }
    told = [*plan.faults, *(fault for one in sifted.values() for fault in one.faults)]
    aside = {**plan.set_aside, **_contradicting(sifted, RawTexts(plan.raw_texts, ()))}
    rows = _taken_rows(sifted, plan.already_there)
    names = tuple(file.name for file in files)
    prints = {file.sha256 for file in files}
    unseen = prints - known_files(link, prints)
    if not rows["new"].sum() and not (unseen and (told or aside)):
        return Taken(None, rows, tuple(told), names, revision(link))
    intake_id = _new_intake(link, who, rows, names)
    keep_files(link, intake_id, files)
    raw_of = RawTexts(plan.raw_texts, kept_whole(link, intake_id))
    _write_fresh(link, intake_id, sifted, raw_of, progress)
    keep_faults(link, intake_id, told)
    keep_aside(link, intake_id, aside)
    return Taken(intake_id, rows, tuple(told), names, bump(link))


def _write_fresh(
    link: Connection,
    intake_id: int,
    sifted: dict[str, Sifted],
    raw_of: RawOf,
    progress: Progress | None,
) -> None:
    """Write the new rows sheet by sheet; `sifted` is emptied on the way."""
    total, done = max(sum(len(one.fresh) for one in sifted.values()), 1), 0
    while sifted:
        name, one = next(iter(sifted.items()))
        what = f"writing {count(len(one.fresh), 'row')} of {name}"
        written = _moved_on(progress, done, total, what)
        if written:
            written(0)
        insert_frame(link, name, one.fresh, intake_id, raw_of, written)
        done += len(one.fresh)
        del sifted[name]  # its memory is free before the next sheet is turned into rows


def _taken_rows(sifted: Mapping[str, Sifted], left_out: Mapping[str, int]) -> pd.DataFrame:
    lines = [
        (name, len(one.fresh), one.already_there + left_out.get(name, 0), len(one.contradicting))
        for name, one in sifted.items()
    ]
    lines += [(name, 0, number, 0) for name, number in left_out.items() if name not in sifted]
    frame = pd.DataFrame(lines, columns=TAKEN_COLUMNS)
    return frame.astype({"sheet": "str"} | dict.fromkeys(TAKEN_COLUMNS[1:], "int64"))


def _brought(rows: pd.DataFrame) -> list[tuple[str, int]]:
    new = zip(rows["sheet"].tolist(), rows["new"].tolist(), strict=True)
    return [(sheet, number) for sheet, number in new if number]


@dataclass(frozen=True)
class RawTexts:
    """The cells as written of some rows, or None where all their files are kept `whole`."""

    given: Callable[[pd.DataFrame], pd.Series]
    whole: tuple[str, ...]

    def __call__(self, rows: pd.DataFrame) -> pd.Series | None:
        own = rows["_raw"].fillna("") if "_raw" in rows else None
        kept = {file: self._is_kept(file) for file in rows["_file"].unique()}
        if all(kept.values()):
            return own
        texts = self.given(rows).mask(rows["_file"].map(kept).astype(bool), "")
        return texts if own is None else own.where(own != "", texts)

    def _is_kept(self, file: str) -> bool:
        """Whether the file, or the archive it lies in, is kept."""
        return any(file == name or file.startswith(f"{name}/") for name in self.whole)


def _moved_on(
    progress: Progress | None, done: int, total: int, what: str
) -> Callable[[int], None] | None:
    if progress is None:
        return None
    return lambda rows: progress((done + rows) / total, what)


def _contradicting(sifted: Mapping[str, Sifted], raw_of: RawTexts) -> dict[str, pd.DataFrame]:
    frames: dict[str, pd.DataFrame] = {}
    for name, one in sifted.items():
        if len(one.contradicting):
            rows = one.contradicting.drop(columns=["_key", "_content"])
            raw = raw_of(rows)
            frames[f"{name}, contradicting"] = rows.assign(_raw="" if raw is None else raw)
    return frames


def _new_intake(link: Connection, who: str, rows: pd.DataFrame, files: tuple[str, ...]) -> int:
    parts = [f"{new:,} {sheet}" for sheet, new in _brought(rows)]
    what = f"{listed(parts, most=20) or 'nothing new'} from {listed(files, most=3) or 'no file'}"
    return new_intake(link, who, what)
