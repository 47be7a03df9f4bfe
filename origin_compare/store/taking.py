"""Taking an intake into the store, and taking it back again, each in one transaction."""

from __future__ import annotations

import hashlib
import io
import time
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass

import pandas as pd
import pyarrow as pa  # type: ignore[import-untyped]
from sqlalchemy import delete, insert, select, update
from sqlalchemy.engine import Connection

from origin_compare.answers import count, listed
from origin_compare.errors import StoreFault
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.faults import FAULT_COLUMNS, Fault
from origin_compare.store.new_rows import Sifted, sift
from origin_compare.store.rows import insert_frame, insert_rows
from origin_compare.store.schema import (
    FAULTS,
    INTAKE_FILES,
    INTAKES,
    ORIGINALS,
    REVISION,
    SET_ASIDE,
    SHEET_TABLES,
)

LARGE = 2**22
_ZSTANDARD = b"\x28\xb5\x2f\xfd"
"""How a Zstandard frame begins (RFC 8878, 3.1.1); no zlib stream begins so (RFC 1950, 2.2)."""
TAKEN_COLUMNS = ["sheet", "new", "already_there", "contradicting"]
ORPHAN_COLUMNS = ["sheet", "key", "intake_id", "missing_sheet", "missing_key"]


@dataclass(frozen=True, slots=True)
class Original:
    """A file as brought in: name, SHA-256 in hex, length, and its bytes if they are at hand."""

    name: str
    sha256: str
    size: int
    content: bytes | None = None

    @classmethod
    def of(cls, name: str, content: bytes) -> Original:
        return cls(name, hashlib.sha256(content).hexdigest(), len(content), content)


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
        wrong = sum(fault.weight == "fault" for fault in self.faults)
        return f"{count(len(self.files), 'file')}, {count(wrong, 'fault')}."


@dataclass(frozen=True)
class TakenBack:
    """What left the store with an intake: `rows` per sheet, and the `orphans` it left behind.

    `orphans` (`ORPHAN_COLUMNS`): rows of other intakes that stay in the store but hang on rows
    which are gone; they join again when their partners come back.
    """

    intake_id: int
    rows: pd.DataFrame
    orphans: pd.DataFrame
    revision: int

    def sentence(self) -> str:
        """What left, in one sentence."""
        gone = count(int(self.rows["gone"].sum()), "row")
        left = f"; {count(len(self.orphans), 'row')} of other intakes lost a partner"
        said = f"Intake {self.intake_id} was taken back with {gone}"
        return f"{said}{left if len(self.orphans) else ''}."

    def table(self) -> pd.DataFrame:
        return self.rows

    def rests_on(self) -> str:
        return f"Intake {self.intake_id}."


def take_in(
    link: Connection,
    sheets: Mapping[str, pd.DataFrame],
    faults: Iterable[Fault],
    set_aside: Mapping[str, pd.DataFrame],
    already_there: Mapping[str, int],
    files: Sequence[Original],
    who: str,
    progress: Callable[[float, str], None] | None = None,
    raw_texts: Callable[[pd.DataFrame], pd.Series] | None = None,
) -> Taken:
    """Write what is new; `already_there` counts rows the plan left out for standing there.

    `progress` is told how far it is (0 to 1) and at what. `raw_texts` gives the cells as written
    of rows; they are kept with the rows of a file whose bytes the store does not keep, and read
    from the file again where it does.

    Nothing new, and no file that had faults for the first time: no intake.
    """
    sifted = {
        name: sift(link, name, sheets[name])
        for name in SHEETS
        if name in sheets and len(sheets[name])
    }
    told = [*faults, *(fault for one in sifted.values() for fault in one.faults)]
    raw_of = RawTexts(raw_texts, ())
    aside = {**set_aside, **_contradicting(sifted, raw_of)}
    rows = _taken_rows(sifted, already_there)
    names = tuple(file.name for file in files)
    prints = {file.sha256 for file in files}
    unseen = prints - _known_files(link, prints)
    if not rows["new"].sum() and not (unseen and (told or aside)):
        return Taken(None, rows, tuple(told), names, revision(link))
    intake_id = _new_intake(link, who, rows, names)
    total, done = max(sum(len(one.fresh) for one in sifted.values()), 1), 0
    _keep_files(link, intake_id, files)
    raw_of = RawTexts(raw_texts, _kept_whole(link, intake_id))
    while sifted:
        name, one = next(iter(sifted.items()))
        what = f"writing {count(len(one.fresh), 'row')} of {name}"
        written = _moved_on(progress, done, total, what)
        if written:
            written(0)
        insert_frame(link, name, one.fresh, intake_id, raw_of, written)
        done += len(one.fresh)
        del sifted[name]  # its memory is free before the next sheet is turned into rows
    _keep_faults(link, intake_id, told)
    _keep_aside(link, intake_id, aside)
    return Taken(intake_id, rows, tuple(told), names, bump(link))


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

    given: Callable[[pd.DataFrame], pd.Series] | None
    whole: tuple[str, ...]

    def __call__(self, rows: pd.DataFrame) -> pd.Series | None:
        if "_raw" in rows:
            return rows["_raw"]
        if self.given is None:
            return None
        kept = {file: self._is_kept(file) for file in rows["_file"].unique()}
        if all(kept.values()):
            return None
        return self.given(rows).mask(rows["_file"].map(kept).astype(bool), "")

    def _is_kept(self, file: str) -> bool:
        """Whether the file, or the archive it lies in, is kept."""
        return any(file == name or file.startswith(f"{name}/") for name in self.whole)


def _kept_whole(link: Connection, intake_id: int) -> tuple[str, ...]:
    """The names of an intake's files whose bytes are kept."""
    kept = (
        select(INTAKE_FILES.c.file)
        .join(ORIGINALS, INTAKE_FILES.c.sha256 == ORIGINALS.c.sha256)
        .where(INTAKE_FILES.c.intake_id == intake_id, ORIGINALS.c.packed.is_not(None))
    )
    return tuple(link.execute(kept).scalars())


def _moved_on(
    progress: Callable[[float, str], None] | None, done: int, total: int, what: str
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


def _known_files(link: Connection, prints: Iterable[str]) -> set[str]:
    known = select(ORIGINALS.c.sha256).where(ORIGINALS.c.sha256.in_(list(prints)))
    return set(link.execute(known).scalars())


def _new_intake(link: Connection, who: str, rows: pd.DataFrame, files: tuple[str, ...]) -> int:
    parts = [f"{new:,} {sheet}" for sheet, new in _brought(rows)]
    what = f"{listed(parts, most=20) or 'nothing new'} from {listed(files, most=3) or 'no file'}"
    made = insert(INTAKES).values(taken_at=now(), who=who, what=what)
    return int(link.execute(made.returning(INTAKES.c.intake_id)).scalar_one())


def _keep_files(link: Connection, intake_id: int, files: Sequence[Original]) -> None:
    known = _known_files(link, {file.sha256 for file in files})
    for file in files:
        packed = None if file.content is None else _packed(file.content)
        if file.sha256 not in known:
            known.add(file.sha256)
            kept = insert(ORIGINALS).values(sha256=file.sha256, size=file.size, packed=packed)
            link.execute(kept)
        elif packed is not None:
            without = (ORIGINALS.c.sha256 == file.sha256) & ORIGINALS.c.packed.is_(None)
            link.execute(update(ORIGINALS).where(without).values(packed=packed))
        named = {"intake_id": intake_id, "file": file.name, "sha256": file.sha256}
        link.execute(insert(INTAKE_FILES).values(**named))


def _packed(content: bytes) -> bytes:
    """A file packed; a large one by Zstandard, which takes a third of the time and less room."""
    if len(content) > LARGE:
        return bytes(pa.compress(content, codec="zstd", asbytes=True))
    return zlib.compress(content, 6)


def unpacked(packed: bytes, size: int) -> bytes:
    """A file of `size` bytes as it was brought in."""
    if packed.startswith(_ZSTANDARD):
        return bytes(pa.decompress(packed, size, codec="zstd", asbytes=True))
    return zlib.decompress(packed)


def _keep_faults(link: Connection, intake_id: int, faults: list[Fault]) -> None:
    names = ["intake_id", *FAULT_COLUMNS]
    insert_rows(link, FAULTS, names, ((intake_id, *astuple(fault)) for fault in faults))


def _keep_aside(link: Connection, intake_id: int, aside: Mapping[str, pd.DataFrame]) -> None:
    for name, frame in aside.items():
        packed = zlib.compress(frame.to_csv(index=False).encode(), 6)
        link.execute(
            insert(SET_ASIDE).values(intake_id=intake_id, name=name, rows=len(frame), packed=packed)
        )


def unpacked_aside(packed: bytes) -> pd.DataFrame:
    """A table of rows set aside, as text."""
    return pd.read_csv(
        io.BytesIO(zlib.decompress(packed)), dtype="str", keep_default_na=False, index_col=False
    )


def take_back(link: Connection, intake_id: int, *, with_dependants: bool) -> TakenBack:
    """Remove what an intake brought; rows of others that hang on it stop it unless waved on."""
    if link.execute(select(INTAKES).where(INTAKES.c.intake_id == intake_id)).first() is None:
        raise StoreFault(
            f"There is no intake {intake_id} in the store. List the intakes to see their numbers."
        )
    orphans = orphans_of(link, intake_id)
    if len(orphans) and not with_dependants:
        raise StoreFault(_refusal(intake_id, orphans))
    gone = {
        name: link.execute(delete(table).where(table.c.intake_id == intake_id)).rowcount
        for name, table in SHEET_TABLES.items()
    }
    for table in (FAULTS, SET_ASIDE, INTAKE_FILES, INTAKES):
        link.execute(delete(table).where(table.c.intake_id == intake_id))
    link.execute(delete(ORIGINALS).where(ORIGINALS.c.sha256.not_in(select(INTAKE_FILES.c.sha256))))
    rows = pd.DataFrame([(name, n) for name, n in gone.items() if n], columns=["sheet", "gone"])
    return TakenBack(intake_id, rows.astype({"gone": "int64"}), orphans, bump(link))


def orphans_of(link: Connection, intake_id: int) -> pd.DataFrame:
    """Rows of other intakes whose partner only this intake brought: `ORPHAN_COLUMNS`."""
    lines: list[tuple[object, ...]] = []
    for name, sheet in SHEETS.items():
        for column in sheet.columns:
            if column.links_to:
                lines.extend(_orphans_by(link, name, column.name, column.links_to, intake_id))
    return pd.DataFrame(lines, columns=ORPHAN_COLUMNS)


def _orphans_by(
    link: Connection, name: str, column: str, target: str, intake_id: int
) -> list[tuple[object, ...]]:
    here, there = SHEET_TABLES[name], SHEET_TABLES[target]
    brought = select(there.c[column]).where(there.c.intake_id == intake_id)
    elsewhere = select(there.c[column]).where(
        there.c.intake_id != intake_id, there.c[column].is_not(None)
    )
    key = SHEETS[name].key
    found = link.execute(
        select(here.c.intake_id, here.c[column], *(here.c[part].label(f"_{part}") for part in key))
        .where(here.c.intake_id != intake_id)
        .where(here.c[column].in_(brought), here.c[column].not_in(elsewhere))
        .order_by(here.c.row_id)
    )
    return [
        (
            name,
            " / ".join(str(part) for part in row[2:] if part is not None),
            row[0],
            target,
            row[1],
        )
        for row in found
    ]


def _refusal(intake_id: int, orphans: pd.DataFrame) -> str:
    parts = []
    for sheet, rows in orphans.groupby("sheet", sort=False):
        names = listed(list(dict.fromkeys(rows["missing_key"].astype(str))))
        target = rows["missing_sheet"].iloc[0]
        intakes = listed([str(number) for number in sorted(rows["intake_id"].unique())])
        parts.append(
            f"{count(len(rows), 'row')} of {sheet} (intake {intakes}) hang on its {target} {names}"
        )
    later = listed([str(number) for number in sorted(orphans["intake_id"].unique())])
    return (
        f"Intake {intake_id} cannot be taken back alone: {'; '.join(parts)}. Take intake {later} "
        "back first, or take it back all the same and let those rows stand without their partner."
    )


def revision(link: Connection) -> int:
    """The store's revision: another number whenever its content is another."""
    return int(link.execute(select(REVISION.c.number)).scalar_one())


def bump(link: Connection) -> int:
    """The next revision, in the transaction of the change itself."""
    link.execute(update(REVISION).values(number=REVISION.c.number + 1))
    return revision(link)


def now() -> int:
    """Microseconds since 1970, UTC."""
    return time.time_ns() // 1000
