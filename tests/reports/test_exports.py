"""Exports no spreadsheet will run."""

import io
import re
import zipfile

import numpy as np
import pandas as pd
import pytest

from origin_compare.front import parts
from origin_compare.reports import exports, safe_csv, safe_xlsx

RISKY = ["=1+1", "+2", "-3", "@SUM(A1)", "\tx", "\rx", "\n=x", " =1", "＝1"]


@pytest.mark.parametrize("text", RISKY)
def test_text_that_would_run_gets_an_apostrophe(text: str) -> None:
    for column in (
        pd.Series([text, "ok"]),
        pd.Series([text, "ok"], dtype="object"),
        pd.Series(pd.Categorical([text, "ok"])),
        pd.Series([text, 3.5], dtype="object"),
    ):
        back = _read(safe_csv(pd.DataFrame({"note": column})))
        assert back["note"][0] == "'" + text


def test_figures_dates_and_gaps_stay_as_they_are() -> None:
    table = pd.DataFrame(
        {
            "number": [-1.5, np.nan],
            "whole": pd.array([-2, None], dtype="Int64"),
            "mixed": pd.Series([-2.5, None], dtype="object"),
            "day": pd.to_datetime(["2025-03-01", None]),
            "text": ["a-b", None],
        }
    )
    assert safe_csv(table) == (
        b"\xef\xbb\xbfnumber,whole,mixed,day,text\r\n-1.5,-2,-2.5,2025-03-01,a-b\r\n,,,,\r\n"
    )


def test_headers_and_twice_named_columns_are_made_harmless_too() -> None:
    table = pd.DataFrame([["=a", "=b"]], columns=["=cmd", "=cmd"])
    assert safe_csv(table) == b"\xef\xbb\xbf'=cmd,'=cmd\r\n'=a,'=b\r\n"


def test_the_table_given_is_not_changed() -> None:
    table = pd.DataFrame({"note": ["=1"]})
    safe_csv(table)
    safe_xlsx(table)
    assert table["note"].tolist() == ["=1"]


def test_pages_use_the_same_one() -> None:
    assert parts.safe_csv is safe_csv


def test_a_workbook_holds_texts_as_texts_and_figures_as_figures() -> None:
    table = pd.DataFrame(
        {
            "=head": ["=1+1", "http://example.org"],
            "n": [-1.5, np.nan],
            "at": pd.to_datetime(["2025-03-30 01:30", None], utc=True),
        }
    )
    written = safe_xlsx(table, "lots: [2025]")
    parts = zipfile.ZipFile(io.BytesIO(written))
    sheet = parts.read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in sheet
    assert "hyperlink" not in sheet
    back = pd.read_excel(io.BytesIO(written), engine="openpyxl", sheet_name="lots   2025")
    assert list(back.columns) == ["=head", "n", "at (UTC)"]
    assert back["=head"].tolist() == ["=1+1", "http://example.org"]
    assert back["n"][0] == -1.5
    assert back["at (UTC)"][0] == pd.Timestamp("2025-03-30 01:30")


def test_the_same_table_gives_the_same_bytes_and_an_empty_one_is_a_table_too() -> None:
    table = pd.DataFrame({"a": ["x"], "b": [1.0]})
    written = safe_xlsx(table)
    assert written == safe_xlsx(table)
    # two files of one second are alike by themselves: nothing in them may tell the clock
    parts = zipfile.ZipFile(io.BytesIO(written))
    assert {part.date_time for part in parts.infolist()} == {(1980, 1, 31, 0, 0, 0)}
    said = parts.read("docProps/core.xml").decode()
    assert set(re.findall(r"\d{4}-\d\d-\d\dT[\d:]+Z", said)) == {"2000-01-01T00:00:00Z"}
    assert pd.read_excel(io.BytesIO(safe_xlsx(pd.DataFrame())), engine="openpyxl").empty


def test_too_many_rows_for_a_sheet_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exports, "XLSX_ROWS", 2)
    with pytest.raises(ValueError, match=r"^3 rows: a worksheet holds 2\. Write CSV\.$"):
        safe_xlsx(pd.DataFrame({"a": [1, 2, 3]}))


def _read(written: bytes) -> pd.DataFrame:
    return pd.read_csv(io.StringIO(written.decode("utf-8-sig"), newline=""), keep_default_na=False)
