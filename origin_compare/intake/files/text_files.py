"""Text files: encoding, separator and header found out, every cell kept as text."""

from __future__ import annotations

import csv
import io
import re
import warnings
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
import pyarrow as pa  # type: ignore[import-untyped]
from pyarrow import csv as arrow_csv

from origin_compare.errors import RefusedFile
from origin_compare.intake.findings import Finding, finding
from origin_compare.intake.grid import Grid, grid_of
from origin_compare.intake.headers import HEADER_WITHIN, find_header, is_known, units_row
from origin_compare.intake.raw_table import RawTable
from origin_compare.sheets.formula_signs import as_it_was, text_as_it_was

SEPARATORS = (",", ";", "\t", "|")
WIDEST = 2000
_TOP = 400_000
_ROWS_AT_ONCE = 100_000
_LARGEST_BLOCK = 2**31 - 1
_LABEL_LINE = re.compile(r"\s*(?P<label>[^:;\t|]{2,40}?)[\s.]*:\s+(?P<value>[^;\t|]*\S)\s*$")
LEAST_LABEL_LINES = 5


class NoHeader(RefusedFile):
    """No row among the first ones can be a header; a layout may make a table of it all the same."""


def read_text(name: str, content: bytes, source: str = "") -> RawTable:
    """The table of a CSV or other separated text file.

    Raises `RefusedFile` if the bytes are no text, no header row is found or a quotation mark is
    never closed. Line ends inside quotes stay in their cell and make no new row, as in a
    spreadsheet.
    """
    text = decode(name, content)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    text, skipped = _without_separator_line(text)
    top = _top(text)
    separator = skipped or find_separator(top)
    head = list(_records(name, top, separator, HEADER_WITHIN))
    at = find_header([record for record, _ in head])
    if at is None:
        raise NoHeader(
            f"{name}: no header row was found in its first {HEADER_WITHIN} rows. Give each column "
            "a name in the first row, such as batch_id, read_at, sg."
        )
    headers = [cell.strip() for cell in head[at][0]]
    body = _after_lines(text, head[at][1])
    first = at + 2 + (1 if skipped else 0)
    cells, extra = _cells(name, body, separator, len(headers), first)
    return assemble(name, "", headers, cells, extra, first, source)


def read_grid(name: str, content: bytes, source: str = "", *, whole: bool = True) -> Grid:
    """Every cell of a text file, or of its top, with its place; rows as a spreadsheet numbers them.

    Raises `RefusedFile` as `read_text` does, but not for want of a header.
    """
    text = decode(name, content).replace("\r\n", "\n").replace("\r", "\n").replace("\f", "")
    text, skipped = _without_separator_line(text)
    top = _top(text)
    separator = skipped or find_separator(top)
    told = text if whole else top
    records = _label_lines(told) or [record for record, _ in _records(name, told, separator)]
    if skipped:
        records.insert(0, [])
    return grid_of(name, "", [[_as_in_cell(cell) for cell in record] for record in records], source)


def _label_lines(text: str) -> list[list[str]]:
    """A letter of lines such as `Moisture ......: 4.9 %`, each label and value a cell."""
    lines = text.split("\n")
    split = [_LABEL_LINE.match(line) for line in lines]
    said = sum(one is not None for one in split)
    if said < LEAST_LABEL_LINES or said * 2 < sum(bool(line.strip()) for line in lines):
        return []
    return [
        [one["label"], one["value"]] if one else [line.strip()]
        for one, line in zip(split, lines, strict=True)
    ]


def _as_in_cell(cell: str) -> str:
    """A cell without outer blanks and without the sign an export put before a formula."""
    return text_as_it_was(cell.strip()).strip()


def decode(name: str, content: bytes) -> str:
    """Text from UTF-8 or UTF-16 with or without byte order mark, else Windows-1252."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = _try(content, "utf-16")
    elif b"\x00" in content[:4096]:
        sample = content[:4096]
        little = sample[1::2].count(0) > sample[::2].count(0)
        text = _try(content, "utf-16-le" if little else "utf-16-be")
    else:
        text = _try(content, "utf-8-sig")
        text = _try(content, "cp1252") if text is None else text
    if text is None or _is_noise(text):
        raise RefusedFile(
            f"{name}: its bytes are no text that can be read. Save it again as CSV (UTF-8) or XLSX."
        )
    if not text.strip(" \t\r\n,;|\ufeff"):
        raise RefusedFile(f"{name}: the file is empty. Export it again and check the export.")
    return text


def find_separator(text: str) -> str:
    """The separator that yields most known headers, then the steadiest width above one."""

    def merit(separator: str) -> tuple[int, int, int]:
        try:
            records = [
                record for record, _ in _records("", text, separator, HEADER_WITHIN) if any(record)
            ]
        except RefusedFile:
            return (0, 0, 0)
        known = max((sum(map(_known_cell, record)) for record in records), default=0)
        widths = [len(record) for record in records]
        usual = max(set(widths), key=widths.count) if widths else 0
        return (known, widths.count(usual) if usual > 1 else 0, usual)

    return max(SEPARATORS, key=merit)


def assemble(
    name: str,
    tab: str,
    headers: list[str],
    cells: pd.DataFrame,
    extra: np.ndarray,
    first: int,
    source: str,
    findings: tuple[Finding, ...] = (),
    rows: np.ndarray | None = None,
) -> RawTable:
    """A raw table without blank rows, blank columns and repeated headers.

    `extra`: per row the text that stood right of the last header; `first`: row number of the
    first row below the header; `findings` refer to positions in `cells`.
    """
    numbers = np.arange(first, first + len(cells)) if rows is None else rows
    headers, cells, numbers, taken = _join_units(headers, cells, numbers)
    extra = extra[taken:]
    empty = _blank_rows(cells) & (extra == "")
    again = _header_again(headers, cells)
    keep = ~(empty | again)
    moved = np.cumsum(keep) - 1
    kept = tuple(_shifted(one, taken, keep, moved) for one in findings)
    over = np.flatnonzero(extra[keep] != "")
    if len(over):
        kept += (_too_wide(over, extra[keep][over], len(headers)),)
    cells = cells[keep].reset_index(drop=True)
    used = [i for i, header in enumerate(headers) if header or bool((cells[i] != "").any())]
    names = tuple(headers[i] or f"column {i + 1}" for i in used)
    cells = cells[used].set_axis(range(len(used)), axis=1)
    return RawTable(
        name,
        tab,
        names,
        cells,
        numbers[keep],
        first - 1,
        int((~keep).sum()),
        tuple(one for one in kept if len(one.at)),
        source or name,
    )


def _known_cell(cell: str) -> bool:
    return 0 < len(cell) < 80 and is_known(cell.strip())


def _try(content: bytes, encoding: str) -> str | None:
    try:
        return content.decode(encoding).removeprefix("\ufeff")
    except UnicodeDecodeError:
        return None


def _is_noise(text: str) -> bool:
    """Control characters are no part of a table; one in a thousand says another kind of file."""
    sample = text[:200_000]
    bad = sum(sample.count(chr(code)) for code in range(32) if chr(code) not in "\t\n\r\f\x0b")
    return "\x00" in text or bad * 1000 > len(sample)


def _without_separator_line(text: str) -> tuple[str, str]:
    """Spreadsheets may write `sep=;` as the first line: then that is the separator."""
    line, _, rest = text.partition("\n")
    line = line.strip().strip('"').casefold()
    if line.startswith("sep=") and len(line) == 5 and line[-1] in SEPARATORS:
        return rest, line[-1]
    return text, ""


def _records(
    name: str, text: str, separator: str, most: int | None = None
) -> Iterator[tuple[list[str], int]]:
    """Records and how many lines were used up to their end."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        for at, record in enumerate(reader):
            if most is not None and at >= most:
                return
            yield record, reader.line_num
    except csv.Error as error:
        raise RefusedFile(
            f"{name} line {reader.line_num}: the line cannot be taken apart into cells ({error}). "
            "Look for a quotation mark that is opened and never closed."
        ) from error


def _top(text: str) -> str:
    """Enough of the file to find separator and header in, whole lines."""
    if len(text) <= _TOP:
        return text
    end = text.rfind("\n", 0, _TOP)
    return text[: end + 1] if end >= 0 else text


def _after_lines(text: str, lines: int) -> str:
    at = 0
    for _ in range(lines):
        found = text.find("\n", at)
        if found < 0:
            return ""
        at = found + 1
    return text[at:]


def _cells(
    name: str, body: str, separator: str, width: int, first: int
) -> tuple[pd.DataFrame, np.ndarray]:
    """Cells as text and, per row, what stood right of the last header."""
    if not body:
        return pd.DataFrame({i: pd.Series(dtype="str") for i in range(width)}), np.array([], object)
    if width > WIDEST:
        raise RefusedFile(
            f"{name}: its header has {width:,} columns, more than the {WIDEST:,} a sheet may have. "
            "Check which separator the file was saved with."
        )
    plain = _plain(body, separator, width)
    if plain is not None:
        return plain, np.full(len(plain), "", dtype=object)
    try:
        frame = _fast(body, separator, width + 1)
    except (pd.errors.ParserError, pd.errors.ParserWarning, ValueError):
        return _slow(name, body, separator, width, first)
    extra = frame[width].to_numpy(dtype=object)
    frame = frame.drop(columns=width)
    if bool(frame[width - 1].str.contains("\n", regex=False).any()):
        _refuse_unclosed(name, body, separator, first)
    return frame, extra


def _plain(body: str, separator: str, width: int) -> pd.DataFrame | None:
    """A body without quotation marks, every row as wide as the header; None for any other.

    Such a body can be taken apart in one way only, so the fastest parser at hand may do it.
    """
    try:
        content = b"" if '"' in body else body.encode()
    except UnicodeEncodeError:
        return None
    if not content:
        return None
    names = [str(at) for at in range(width)]
    try:
        table = arrow_csv.read_csv(
            pa.BufferReader(content),
            # In one block, so that no column has to be put together from pieces.
            arrow_csv.ReadOptions(
                use_threads=False,
                block_size=min(len(content) + 1, _LARGEST_BLOCK),
                column_names=names,
            ),
            arrow_csv.ParseOptions(delimiter=separator, quote_char=False, ignore_empty_lines=False),
            arrow_csv.ConvertOptions(
                check_utf8=False, column_types=dict.fromkeys(names, pa.large_string())
            ),
        )
    except pa.ArrowInvalid:
        return None
    text = pd.StringDtype("pyarrow", na_value=np.nan)
    columns = (
        text.__from_arrow__(table.column(name).combine_chunks())  # type: ignore[attr-defined]
        for name in names
    )
    return _tidy(pd.DataFrame(dict(enumerate(columns))))


def _fast(body: str, separator: str, width: int) -> pd.DataFrame:
    if len(next(_records("", _top(body), separator), ([], 0))[0]) > width:
        raise pd.errors.ParserError  # the first row sets the width the parser cuts the others to
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        chunks = pd.read_csv(
            io.BytesIO(body.encode("utf-8", "surrogatepass")),
            sep=separator,
            header=None,
            names=range(width),
            dtype="str",
            keep_default_na=False,
            na_filter=False,
            skip_blank_lines=False,
            index_col=False,
            engine="c",
            chunksize=_ROWS_AT_ONCE,  # bounds the Python strings alive at once
        )
        parts = [_tidy(chunk) for chunk in chunks]
    return pd.concat(parts, ignore_index=True) if len(parts) > 1 else parts[0]


def _slow(
    name: str, body: str, separator: str, width: int, first: int
) -> tuple[pd.DataFrame, np.ndarray]:
    """Row by row, for files whose rows differ in width."""
    _refuse_unclosed(name, body, separator, first)
    records = [record for record, _ in _records(name, body, separator)]
    extra = np.array(
        [separator.join(record[width:]).strip(f"{separator} ") for record in records], dtype=object
    )
    padded = [record[:width] + [""] * (width - len(record)) for record in records]
    return _tidy(pd.DataFrame(padded, columns=range(width), dtype="str")), extra


def _refuse_unclosed(name: str, body: str, separator: str, first: int) -> None:
    """A quotation mark left open swallows the rest of the file into one cell: refuse it."""
    if body.count('"') % 2 == 0:
        return
    for at, (record, _) in enumerate(_records(name, body, separator)):
        swallowed = next((cell for cell in record if cell.count("\n") > 20), None)
        if swallowed is not None:
            raise RefusedFile(
                f"{name}: a quotation mark opened in row {at + first} is "
                "never closed and swallows the rows after it. Close or remove it."
            )


def _tidy(frame: pd.DataFrame) -> pd.DataFrame:
    """Outer blanks off; the sign that an export put before a formula off again."""
    return frame.apply(_tidy_column)


def _tidy_column(column: pd.Series) -> pd.Series:
    tidy = column.fillna("").str.strip()
    read = as_it_was(tidy)
    return tidy if read is tidy else read.str.strip()


def _blank_rows(cells: pd.DataFrame) -> np.ndarray:
    blank = np.ones(len(cells), dtype=bool)
    for column in cells:
        blank &= (cells[column] == "").to_numpy()
    return blank


def _header_again(headers: list[str], cells: pd.DataFrame) -> np.ndarray:
    again = np.ones(len(cells), dtype=bool)
    for column, header in zip(cells, headers, strict=True):
        again &= (cells[column] == header).to_numpy()
    return again & bool(headers)


def _join_units(
    headers: list[str], cells: pd.DataFrame, rows: np.ndarray
) -> tuple[list[str], pd.DataFrame, np.ndarray, int]:
    """A row of units right below the header belongs to the header."""
    joined = units_row(headers, list(cells.iloc[0])) if len(cells) else None
    if joined is None:
        return headers, cells, rows, 0
    return list(joined), cells.iloc[1:].reset_index(drop=True), rows[1:], 1


def _shifted(one: Finding, taken: int, keep: np.ndarray, moved: np.ndarray) -> Finding:
    """The finding at the positions its rows have once units and blank rows are out."""
    at = one.at - taken
    inside = (at >= 0) & np.append(keep, False)[np.clip(at, -1, len(keep))]
    return replace(one.only(inside), at=moved[at[inside]])


def _too_wide(at: np.ndarray, extra: np.ndarray, width: int) -> Finding:
    return finding(
        at,
        "",
        [str(text) for text in extra],
        "stands right of the last header" if width > 1 else "stands right of the only header",
        "A decimal comma in a file separated by commas? Put the cell in quotation marks, or "
        "separate by semicolons.",
    )
