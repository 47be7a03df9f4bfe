"""Files as they come: encodings, separators, titles, workbooks, archives, and what is refused."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path

import openpyxl
import pytest

from origin_compare.errors import RefusedFile
from origin_compare.intake.files.readers import read_folder, read_sources, read_tables
from origin_compare.intake.raw_table import RawTable
from tests.intake.helpers import SEASON, plan, said


def only(name: str, content: bytes) -> RawTable:
    (table,) = read_tables(name, content)
    return table


def refusal(name: str, content: bytes) -> str:
    with pytest.raises(RefusedFile) as refused:
        read_tables(name, content)
    return str(refused.value)


def zipped(members: Mapping[str, str | bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return packed.getvalue()


def workbook(tabs: Mapping[str, Sequence[Sequence[object]]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in tabs.items():
        tab = book.create_sheet(name)
        for row in rows:
            tab.append(row)
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


ROWS = "batch_id{s}read_at{s}sg\nB1{s}2025-03-01 08:00{s}1.05\nB2{s}2025-03-01 16:00{s}1.04\n"


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_the_separator_is_found(separator: str) -> None:
    table = only("readings.csv", ROWS.format(s=separator).encode())
    assert table.headers == ("batch_id", "read_at", "sg")
    assert table.cells.iloc[1].tolist() == ["B2", "2025-03-01 16:00", "1.04"]
    assert table.rows.tolist() == [2, 3]


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
def test_the_encoding_is_found(encoding: str) -> None:
    text = "batch_id;temp (°C);note\nB1;21,5;Gärung läuft\n"
    table = only("readings.csv", text.encode(encoding))
    assert table.headers == ("batch_id", "temp (°C)", "note")
    assert table.cells.iloc[0].tolist() == ["B1", "21,5", "Gärung läuft"]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_rows_are_numbered_as_a_spreadsheet_does(end: str) -> None:
    text = 'Back house 2025\n\nbatch_id,sg,note\nB1,1.05,"two\nlines"\n\nB2,1.04,\n'
    table = only("readings.csv", text.replace("\n", end).encode())
    assert table.header_row == 3
    assert table.rows.tolist() == [4, 6]
    assert (table.blank, table.rows_read) == (1, 3)
    assert table.cells[2].tolist() == ["two\nlines", ""]


def test_a_separator_line_counts_as_a_row() -> None:
    table = only("readings.csv", b"sep=;\nbatch_id;sg\nB1;1,05\n")
    assert table.headers == ("batch_id", "sg") and table.rows.tolist() == [3]


def test_rows_of_another_width_are_kept_and_said() -> None:
    text = "batch_id,read_at,sg\nB1,2025-03-01 08:00,1,05\nB2\nB3,2025-03-01 08:00,1.05,,\n"
    planned = plan({**SEASON, "readings.csv": text})
    assert said(planned) == [
        "readings.csv row 2: 05 stands right of the last header. A decimal comma in a "
        "file separated by commas? Put the cell in quotation marks, or separate by semicolons.",
        "readings.csv row 3: holds no read_at or hours. Fill in read_at or hours, or take the row "
        "out.",
        "readings.csv row 3: holds no sg, ph, temp_c or cooling_pct. Fill in sg, ph, temp_c or "
        "cooling_pct, or take the row out.",
        "readings.csv row 4, batch_id: B3 is not in fermentations. Add it to fermentations, or "
        "correct it here.",
    ]


@pytest.mark.parametrize("row", ["G1,x", "G1,x,y,z"])
def test_nothing_right_of_the_header_is_cut_off(row: str) -> None:
    planned = plan({"growers.csv": f"grower_id\n{row}\nG2\n"})
    assert said(planned) == [
        f"growers.csv row 2: {row[3:]} stands right of the only header. A decimal comma "
        "in a file separated by commas? Put the cell in quotation marks, or separate by semicolons."
    ]
    assert planned.sheets["growers"]["grower_id"].tolist() == ["G2"]


def test_a_units_row_joins_the_header() -> None:
    table = only("readings.csv", b"batch;temp;cooling\n;\xc2\xb0F;%\nB1;68;10\n")
    assert table.headers == ("batch", "temp (°F)", "cooling (%)")
    assert table.rows.tolist() == [3]


def test_a_repeated_header_is_no_row() -> None:
    table = only("readings.csv", b"batch_id,sg\nB1,1.05\nbatch_id,sg\nB2,1.04\n")
    assert table.rows.tolist() == [2, 4] and table.blank == 1


def test_trailing_separators_make_no_column() -> None:
    table = only("readings.csv", b"batch_id,sg,,\nB1,1.05,,\nB2,1.04,,\n")
    assert table.headers == ("batch_id", "sg")


def test_an_open_quotation_mark_is_refused() -> None:
    rows = "".join(f"B{i},1.05\n" for i in range(60))
    assert refusal("readings.csv", f'batch_id,sg\nB0,"1.05\n{rows}'.encode()) == (
        "readings.csv: a quotation mark opened in row 2 is never closed and swallows the rows "
        "after it. Close or remove it."
    )


PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(64))


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "f.csv: the file is empty. Export it again and check the export."),
        (b"\n \n,,\n", "f.csv: the file is empty. Export it again and check the export."),
        (b"\xef\xbb\xbf", "f.csv: the file is empty. Export it again and check the export."),
        (PNG, "f.csv: this is a picture, not a table. Bring the sheet as CSV or XLSX."),
        (b"%PDF-1.7\n", "f.csv: this is a PDF, not a table. Bring the sheet as CSV or XLSX."),
        (
            b"<!DOCTYPE html><table>",
            "f.csv: this is a web page, not a table. Save it as CSV or XLSX.",
        ),
        (
            bytes(range(1, 256)) * 4,
            "f.csv: its bytes are no text that can be read. Save it again as CSV (UTF-8) or XLSX.",
        ),
        (
            b"1,2\n3,4\n",
            "f.csv: no header row was found in its first 30 rows. Give each column a name in the "
            "first row, such as batch_id, read_at, sg.",
        ),
        (
            b"\xd0\xcf\x11\xe0" + b"\0" * 600,
            "f.csv: the workbook is damaged or locked and cannot be opened. Open it in a "
            "spreadsheet and save it again as XLSX without a password, or as CSV.",
        ),
        (
            b"\xd0\xcf\x11\xe0" + "EncryptedPackage".encode("utf-16-le"),
            "f.csv: the workbook is locked by a password. Save a copy without the password.",
        ),
        (
            b"PK\x03\x04 broken",
            "f.csv: the archive is damaged and cannot be unpacked. Pack it again.",
        ),
    ],
)
def test_what_is_no_table_is_refused_in_a_sentence(content: bytes, expected: str) -> None:
    assert refusal("f.csv", content) == expected


def test_every_tab_of_a_workbook_is_read_as_text() -> None:
    content = workbook(
        {
            "Lots": [
                ["Lots of 2025"],
                [],
                ["Lot", "Moisture", "Harvested"],
                ["0012", 14.5, dt.date(2025, 8, 14)],
                [17, 0.1 + 0.2, None],
            ],
            "Readings": [["batch", "time", "sg"], ["B1", dt.datetime(2025, 3, 1, 8), 1.065]],
            "Empty": [],
        }
    )
    lots, readings = read_tables("harvest.xlsx", content)
    assert (lots.label, readings.label) == ("harvest.xlsx tab Lots", "harvest.xlsx tab Readings")
    assert lots.rows.tolist() == [4, 5]
    assert lots.cells.iloc[0].tolist() == ["0012", "14.5", "2025-08-14"]
    assert lots.cells.iloc[1].tolist() == ["17", "0.3", ""]
    assert readings.cells.iloc[0].tolist() == ["B1", "2025-03-01 08:00:00", "1.065"]


def test_times_of_a_workbook_join_their_days() -> None:
    rows = [
        ["Batch", "Date", "Time", "SG"],
        ["B1", dt.date(2025, 3, 1), dt.time(16, 0), 1050],
        ["B1", dt.date(2025, 3, 1), dt.timedelta(days=1), 1040],
        ["B1", 45718, 0.5, 1030],
    ]
    planned = plan({**SEASON, "readings.csv": workbook({"log": [["Still house"], [], *rows]})})
    assert said(planned) == []
    read_at = planned.sheets["readings"]["read_at"].dt.strftime("%d %H:%M")
    assert read_at.tolist() == ["01 16:00", "02 00:00", "02 12:00"]


def test_a_percentage_keeps_its_sign() -> None:
    book = openpyxl.Workbook()
    tab = book.active
    assert tab is not None
    tab.append(["delivery_id", "viability_pct"])
    tab.append(["Y1", 0.985])
    tab["B2"].number_format = "0.0%"
    packed = io.BytesIO()
    book.save(packed)
    planned = plan({"yeasts.xlsx": packed.getvalue()})
    assert planned.sheets["yeasts"]["viability_pct"].tolist() == [98.5]


def test_a_formula_is_a_fault_with_its_cell() -> None:
    content = workbook(
        {"growers": [["grower_id", "grows_since"], ["G1", "=2000+5"], ["G2", 2010], ["G3", "#N/A"]]}
    )
    planned = plan({"growers.xlsx": content})
    assert said(planned) == [
        "growers.xlsx tab growers row 2, grows_since: =2000+5 is a formula in cell B2. Paste the "
        "column as values, then load the file again.",
        "growers.xlsx tab growers row 4, grows_since: #N/A is a spreadsheet's error in cell B4. "
        "Write the figure, or leave the cell empty.",
    ]
    growers = planned.sheets["growers"]
    assert growers["grower_id"].tolist() == ["G1", "G2", "G3"]
    assert growers["grows_since"].isna().tolist() == [True, False, True]


def test_a_workbook_may_lie_about_its_size() -> None:
    content = workbook({"growers": [["grower_id"], *[[f"G{i}"] for i in range(50)]]})
    lying = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(lying, "w") as new:
        for info in old.infolist():
            text = old.read(info)
            new.writestr(info, text.replace(b'<dimension ref="A1:A51"', b'<dimension ref="A1:A2"'))
    assert len(only("growers.xlsx", lying.getvalue()).rows) == 50


def test_an_archive_gives_its_members() -> None:
    packed = zipped({**SEASON, "__MACOSX/._lots.csv": b"\0\1", "notes.pdf": "%PDF", "a/.x.csv": ""})
    planned = plan({"season.zip": packed}, known={})
    assert planned.is_clean and len(planned.sheets["readings"]) == 3
    assert planned.left_alone == (("season.zip/notes.pdf", ".pdf is not a table"),)
    assert planned.table()["file"].iloc[0] == "season.zip/growers.csv"


def test_a_refused_member_does_not_stop_the_others() -> None:
    planned = plan({"season.zip": zipped({**SEASON, "photo.csv": PNG})})
    assert said(planned) == [
        "season.zip/photo.csv: this is a picture, not a table. Bring the sheet as CSV or XLSX."
    ]
    assert len(planned.sheets["lots"]) == 2


def test_archives_within_archives_are_not_opened() -> None:
    assert refusal("outer.zip", zipped({"inner.zip": zipped(SEASON)})) == (
        "outer.zip/inner.zip: an archive inside an archive is not opened. Unpack it once and "
        "bring the sheets themselves."
    )


def test_bombs_are_measured_before_they_are_opened() -> None:
    bomb = zipped({"readings.csv": b"0" * 40_000_000})
    assert refusal("bomb.zip", bomb) == (
        "bomb.zip: unpacked it would be 38 MiB from 0.0 MiB, past the 256 MiB or 200-fold that is "
        "opened. Bring the sheets themselves as CSV."
    )
    many = zipped({f"{i}.csv": "a" for i in range(1001)})
    assert refusal("many.zip", many) == (
        "many.zip: it holds 1,001 files, more than the 1,000 opened at once. Bring the sheets in "
        "parts."
    )
    big = zipped({"xl/workbook.xml": b"<x/>", "xl/worksheets/sheet1.xml": b" " * 40_000_000})
    assert refusal("big.xlsx", big).startswith("big.xlsx: unpacked it would be 38 MiB")


def test_a_member_larger_than_it_states_is_refused() -> None:
    packed = bytearray(zipped({"growers.csv": "grower_id\n" + "G1\n" * 500}))
    real = (1510).to_bytes(4, "little")
    assert packed.count(real) == 2
    lied = bytes(packed).replace(real, (20).to_bytes(4, "little"))
    assert refusal("season.zip", lied).startswith("season.zip/growers.csv: it is ")


def test_a_folder_is_walked(tmp_path: Path) -> None:
    (tmp_path / "2025").mkdir()
    (tmp_path / "2025" / "growers.csv").write_text(SEASON["growers.csv"])
    (tmp_path / "README.md").write_text("hello")
    (tmp_path / ".hidden.csv").write_text("x")
    sources = read_folder(tmp_path)
    assert [table.file for table in sources.tables] == ["2025/growers.csv"]
    assert sources.left_alone == (("README.md", ".md is not a table"),)
    assert [len(file.sha256) for file in sources.files] == [64, 64]


def test_an_empty_or_missing_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RefusedFile) as refused:
        read_folder(tmp_path)
    assert str(refused.value) == (
        f"{tmp_path}: no table was found in this folder. Put the season's sheets there as CSV or "
        "XLSX."
    )
    with pytest.raises(RefusedFile) as refused:
        read_folder(tmp_path / "no")
    assert str(refused.value) == f"{tmp_path / 'no'}: there is no such folder. Check the path."


def test_a_damaged_workbook_among_others_becomes_a_fault() -> None:
    sources = read_sources([("old.xls", b"\xd0\xcf\x11\xe0" + b"\0" * 600)])
    assert [str(fault) for fault in sources.faults] == [
        "old.xls: the workbook is damaged or locked and cannot be opened. Open it in a spreadsheet "
        "and save it again as XLSX without a password, or as CSV."
    ]
