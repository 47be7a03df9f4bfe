"""Files to raw tables: what kind a file is, what is inside it, and what is left alone."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from origin_compare.errors import RefusedFile
from origin_compare.intake.files.plain_tables import plain_table
from origin_compare.intake.files.text_files import NoHeader, decode, read_grid, read_text
from origin_compare.intake.files.web_tables import web_grids
from origin_compare.intake.files.workbooks import older_workbook_grids, workbook_grids
from origin_compare.intake.grid import Grid
from origin_compare.intake.layouts.laying import is_plain
from origin_compare.intake.raw_table import RawTable, SourceFile
from origin_compare.sheets.faults import Fault

TABLE_ENDINGS = frozenset(
    {".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".xlsb", ".ods", ".htm", ".html", ".zip"}
)
OTHER_ENDINGS = frozenset({".numbers"})
"""Workbooks that are named as such when they are refused."""
MOST_UNPACKED = 256 * 2**20
MOST_RATIO = 200
MOST_MEMBERS = 1_000
GRID_BYTES = 400_000
"""A text file up to this length is held cell by cell; of a longer one the top is looked at."""

_MAGIC: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"BM", "a picture"),
    (b"II*\x00", "a picture"),
    (b"MM\x00*", "a picture"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"SQLite format 3", "a database"),
    (b"PAR1", "a Parquet file"),
)


@dataclass(frozen=True)
class Tab:
    """A tab of a workbook, or a text file, as it was read.

    `grid`: its cells with their places, None for a large text file that is one plain table;
    `table`: the rows below its first header row, None where it has no header row; `why`: the
    refusal in words where it has none.
    """

    file: str
    grid: Grid | None
    table: RawTable | None
    why: str = ""


@dataclass(frozen=True)
class Sources:
    """What was brought in: its tabs, and every file with what became of it.

    `left_alone`: (name, why) of files that are no tables; `faults`: files refused.
    """

    tabs: tuple[Tab, ...]
    files: tuple[SourceFile, ...]
    left_alone: tuple[tuple[str, str], ...] = ()
    faults: tuple[Fault, ...] = ()

    @property
    def tables(self) -> tuple[RawTable, ...]:
        """The tabs read as plain tables, each the rows below its first header row."""
        return tuple(tab.table for tab in self.tabs if tab.table is not None)


def read_tables(name: str, content: bytes) -> list[RawTable]:
    """All plain tables of one file: one for a text file, one per tab, those of an archive.

    Raises `RefusedFile`, with a sentence for the user, for what cannot be read as a table.
    """
    tabs = _read(name, content, name, inside=False)
    found = [tab.table for tab in tabs if tab.table is not None]
    if not found:
        raise RefusedFile(next((tab.why for tab in tabs), f"{name}: it holds no table."))
    return found


def told_apart(sources: Iterable[tuple[str, bytes]]) -> list[tuple[str, bytes]]:
    """The files under names of their own: a second `log.csv` of other content is `log (2).csv`.

    The same name with the same content is one file. Files told apart already stay as they are.
    """
    named: dict[str, bytes] = {}
    for name, content in sources:
        if named.get(name) != content:
            named[_free_name(name, named)] = content
    return list(named.items())


def _free_name(name: str, taken: Container[str]) -> str:
    ending, number, free = PurePosixPath(name).suffix, 2, name
    while free in taken:
        free, number = f"{name.removesuffix(ending)} ({number}){ending}", number + 1
    return free


def read_sources(sources: Iterable[tuple[str, bytes]]) -> Sources:
    """Tables of several files; a refused file becomes a fault and does not stop the others.

    Files of one name are told apart (`told_apart`); one that holds the same as another is left
    alone. Raises `RefusedFile` if nothing was brought in at all.
    """
    tabs: list[Tab] = []
    files: list[SourceFile] = []
    left: list[tuple[str, str]] = []
    faults: list[Fault] = []
    prints: dict[str, str] = {}
    for given, content in sources:
        sha256 = hashlib.sha256(content).hexdigest()
        if prints.get(given) == sha256:
            continue
        name = _free_name(given, prints)
        again = next((f"holds the same as {one}" for one in prints if prints[one] == sha256), "")
        prints[name] = sha256
        files.append(SourceFile(name, sha256, len(content)))
        why = _no_table(name) or again
        if why:
            left.append((name, why))
            continue
        try:
            tabs.extend(_read(name, content, name, inside=False, left=left, faults=faults))
        except RefusedFile as refusal:
            faults.append(_refused(name, refusal))
    if not files:
        raise RefusedFile("No files were brought in. Choose the sheets of a season: CSV or XLSX.")
    return Sources(tuple(tabs), tuple(files), tuple(left), tuple(faults))


def read_folder(path: str | Path) -> Sources:
    """Tables of every file below `path`, hidden files apart; names are relative to it.

    Raises `RefusedFile` if the folder is missing or holds no table at all.
    """
    folder = Path(path)
    if not folder.is_dir():
        raise RefusedFile(f"{folder}: there is no such folder. Check the path.")
    inside = (file for file in sorted(folder.rglob("*")) if _visible(file, folder))
    found = read_sources_lazily(folder, inside)
    if found is None or not (found.tabs or found.faults):
        raise RefusedFile(
            f"{folder}: no table was found in this folder. Put the season's sheets there as CSV "
            "or XLSX."
        )
    return found


def read_sources_lazily(folder: Path, files: Iterable[Path]) -> Sources | None:
    """As `read_sources`, opening one file at a time; None if there is no file."""
    try:
        return read_sources(
            (file.relative_to(folder).as_posix(), file.read_bytes()) for file in files
        )
    except RefusedFile:
        return None


def _visible(file: Path, folder: Path) -> bool:
    parts = file.relative_to(folder).parts
    hidden = any(part.startswith((".", "~$", "__")) for part in parts)
    return file.is_file() and not hidden


def _no_table(name: str) -> str:
    """Why a file is left alone, "" if it is to be read."""
    ending = PurePosixPath(name.replace("\\", "/")).suffix.casefold()
    if ending in TABLE_ENDINGS | OTHER_ENDINGS:
        return ""
    return f"{ending or 'a file without ending'} is not a table"


def _refused(name: str, refusal: RefusedFile) -> Fault:
    """The refusal's sentences as a fault of the whole file."""
    said = str(refusal).removeprefix(f"{name}: ").removeprefix(name).strip()
    wrong, _, mend = said.partition(". ")
    return Fault(name, "", None, "", "", wrong.rstrip("."), mend or "Save it again as CSV.")


def _read(
    name: str,
    content: bytes,
    source: str,
    inside: bool,
    left: list[tuple[str, str]] | None = None,
    faults: list[Fault] | None = None,
) -> Sequence[Tab]:
    if not content:
        raise RefusedFile(f"{name}: the file is empty. Export it again and check the export.")
    for magic, kind in _MAGIC:
        if content.startswith(magic) and not (magic == b"BM" and _is_text(content)):
            raise RefusedFile(
                f"{name}: this is {kind}, not a table. Bring the sheet as CSV or XLSX."
            )
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        _refuse_locked(name, content)
        return _tabs(name, older_workbook_grids(name, content, source))
    if content.startswith(b"PK\x03\x04") or content.startswith(b"PK\x05\x06"):
        return _packed(name, content, source, inside, left, faults)
    if content.lstrip()[:200].lower().startswith((b"<!doctype", b"<html", b"<?xml", b"<table")):
        return _tabs(name, web_grids(name, decode(name, content), source))
    return (_text_tab(name, content, source),)


def _tabs(name: str, grids: Sequence[Grid]) -> tuple[Tab, ...]:
    """The tabs of a workbook; `RefusedFile` where none of them holds a cell."""
    if not grids:
        raise RefusedFile(
            f"{name}: none of its tabs holds a cell: a picture or a chart is no table. Bring the "
            "figures themselves as CSV or XLSX."
        )
    why = (
        f"{name}: none of its {len(grids)} tabs holds a table with a header row. Give each "
        "column a name in the first row, such as batch_id, read_at, sg."
    )
    return tuple(Tab(name, grid, plain_table(grid), why) for grid in grids)


def _text_tab(name: str, content: bytes, source: str) -> Tab:
    """A text file; a large one whose top is one plain table is not held cell by cell."""
    try:
        table, why = read_text(name, content, source), ""
    except NoHeader as refusal:
        table, why = None, str(refusal)
    whole = len(content) <= GRID_BYTES
    grid = read_grid(name, content, source, whole=whole)
    if not whole and table is not None and is_plain(grid):
        return Tab(name, None, table)
    return Tab(name, grid if whole else read_grid(name, content, source, whole=True), table, why)


def _is_text(content: bytes) -> bool:
    return all(byte >= 32 or byte in (9, 10, 13) for byte in content[:64])


def _refuse_locked(name: str, content: bytes) -> None:
    if "EncryptedPackage".encode("utf-16-le") in content:
        raise RefusedFile(
            f"{name}: the workbook is locked by a password. Save a copy without the password."
        )


def _packed(
    name: str,
    content: bytes,
    source: str,
    inside: bool,
    left: list[tuple[str, str]] | None,
    faults: list[Fault] | None,
) -> Sequence[Tab]:
    """A workbook or an archive; both are measured before they are opened."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            infos = archive.infolist()
            _refuse_bomb(name, infos, len(content))
            names = {info.filename for info in infos}
            if "xl/workbook.xml" in names:
                return _tabs(name, workbook_grids(name, content, source))
            if "xl/workbook.bin" in names or "content.xml" in names:
                return _tabs(name, older_workbook_grids(name, content, source))
            _refuse_other_packed(name, names)
            if inside:
                raise RefusedFile(
                    f"{name}: an archive inside an archive is not opened. Unpack it once and bring "
                    "the sheets themselves."
                )
            return _members(name, archive, infos, source, left, faults)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, ValueError) as error:
        what = "workbook" if _is_workbook(name) else "archive"
        mend = "Save it again as XLSX" if what == "workbook" else "Pack it again"
        raise RefusedFile(
            f"{name}: the {what} is damaged and cannot be unpacked. {mend}."
        ) from error


def _is_workbook(name: str) -> bool:
    return PurePosixPath(name).suffix.casefold() in (".xlsx", ".xlsm", ".xlsb", ".ods")


def _refuse_bomb(name: str, infos: Sequence[zipfile.ZipInfo], packed: int) -> None:
    unpacked = sum(info.file_size for info in infos)
    if len(infos) > MOST_MEMBERS:
        raise RefusedFile(
            f"{name}: it holds {len(infos):,} files, more than the {MOST_MEMBERS:,} opened at "
            "once. Bring the sheets in parts."
        )
    if unpacked > MOST_UNPACKED or (unpacked > 2**24 and unpacked > MOST_RATIO * packed):
        raise RefusedFile(
            f"{name}: unpacked it would be {unpacked / 2**20:,.0f} MiB from {packed / 2**20:,.1f} "
            f"MiB, past the {MOST_UNPACKED // 2**20} MiB or {MOST_RATIO}-fold that is opened. "
            "Bring the sheets themselves as CSV."
        )


def _refuse_other_packed(name: str, names: set[str]) -> None:
    if "mimetype" in names or "Index/Document.iwa" in names:
        raise RefusedFile(
            f"{name}: this kind of workbook is not read. Open it in a spreadsheet and save it as "
            "XLSX."
        )
    if "[Content_Types].xml" in names:
        raise RefusedFile(
            f"{name}: this is a document, not a table. Bring the sheet as CSV or XLSX."
        )


def _members(
    name: str,
    archive: zipfile.ZipFile,
    infos: Sequence[zipfile.ZipInfo],
    source: str,
    left: list[tuple[str, str]] | None,
    faults: list[Fault] | None,
) -> Sequence[Tab]:
    """Tables of the archive's members; nothing is written to disk."""
    tabs: list[Tab] = []
    seen: set[str] = set()
    for info in infos:
        if info.is_dir() or _is_litter(info.filename):
            continue
        member = _free_name(f"{name}/{info.filename}", seen)
        seen.add(member)
        why = _no_table(info.filename)
        if why:
            if left is not None:
                left.append((member, why))
            continue
        try:
            tabs.extend(_read(member, _unpack(name, archive, info), source, inside=True))
        except RefusedFile as refusal:
            if faults is None:
                raise
            faults.append(_refused(member, refusal))
    if not seen:
        raise RefusedFile(f"{name}: the archive is empty. Pack the season's sheets into it.")
    return tabs


def _is_litter(name: str) -> bool:
    parts = PurePosixPath(name).parts
    return any(part == "__MACOSX" or part.startswith((".", "~$")) for part in parts if part != "..")


def _unpack(name: str, archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> bytes:
    """A member's bytes, never more than it states: the statement itself may be a lie."""
    if info.flag_bits & 1:
        raise RefusedFile(
            f"{name}/{info.filename}: it is locked by a password. Pack it again without one."
        )
    try:
        with archive.open(info) as stream:
            content = stream.read(info.file_size + 1)
    except Exception as error:  # zlib, lzma and bz2 each raise their own kind
        raise RefusedFile(
            f"{name}/{info.filename}: it is damaged and cannot be unpacked. Pack it again."
        ) from error
    if len(content) > info.file_size:
        raise RefusedFile(
            f"{name}/{info.filename}: it is larger than the archive states. Pack it again."
        )
    return content
