"""Whatever the bytes: tables, listed faults or a refusal, and every row accounted for."""

from __future__ import annotations

import csv
import io
import os
import zipfile

import openpyxl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from origin_compare.errors import RefusedFile
from origin_compare.intake.files.readers import read_tables
from origin_compare.intake.plan import IntakePlan, plan_intake
from origin_compare.reports.exports import safe_csv
from origin_compare.sheets.catalogue import SHEETS
from tests.intake.helpers import SEASON, balanced, plan, rules

EXAMPLES = int(os.environ.get("INTAKE_EXAMPLES", "20"))
"""More of them, and other ones each time, when the variable is set."""

quick = settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize="INTAKE_EXAMPLES" not in os.environ,
    suppress_health_check=list(HealthCheck),
)

CELLS = st.one_of(
    st.sampled_from(
        [
            "",
            "-",
            "n/a",
            "tr",
            "<5",
            "5",
            "4,4",
            "1.065",
            "1065.2",
            "15.9 °P",
            "68 °F",
            "25,000",
            "1.234.567,8",
            "2025-03-14",
            "14/03/2025 24:00",
            "03/04/2025",
            "45730.5",
            "02:30",
            "=1+1",
            "2025-10-26 02:30",
            "2025-03-30 02:30",
            "B1",
            "G1",
            "L1",
            "M1",
            "١٢",
            "1e400",
            "-0",
            "NaN",
            "9999-12-31",
            "0001-01-01 00:00",
            "2025-03-14T08:00+99:99",
            "2025-03-14 08:00:61",
            "'",
            "99999999",
            "20251340",
            "1/1/1",
            "79999",
            "1e-5",
            "0x10",
            "1_000",
            "∞",
            "½",
        ]
    ),
    st.text(max_size=8),
    st.floats(allow_nan=True, allow_infinity=True).map(str),
    st.datetimes().map(str),
)


def taken_or_refused(name: str, content: bytes) -> IntakePlan | None:
    """The plan of one file, None if it was refused; anything else is an error of ours."""
    try:
        read_tables(name, content)
    except RefusedFile as refusal:
        assert str(refusal).startswith(name) and str(refusal).endswith(".")
    planned = plan_intake([(name, content)], rules("Europe/Berlin"))
    assert balanced(planned)
    assert planned.sentence().endswith(".")
    return planned


@quick
@given(st.binary(max_size=400), st.sampled_from(["f.csv", "f.xlsx", "f.zip", "f.txt"]))
def test_any_bytes(content: bytes, name: str) -> None:
    taken_or_refused(name, content)


@quick
@given(st.text(max_size=400), st.sampled_from(["utf-8", "utf-16", "utf-8-sig"]))
def test_any_text(text: str, encoding: str) -> None:
    taken_or_refused("f.csv", text.encode(encoding, "replace"))


@quick
@given(st.data())
def test_any_cells_under_any_known_headers(data: st.DataObject) -> None:
    sheet = SHEETS[data.draw(st.sampled_from(list(SHEETS)))]
    names = data.draw(st.lists(st.sampled_from(sheet.names()), min_size=1, max_size=8, unique=True))
    rows = data.draw(st.lists(st.lists(CELLS, max_size=9), max_size=12))
    separator = data.draw(st.sampled_from([",", ";", "\t"]))
    text = "\n".join(separator.join(cells) for cells in [list(names), *rows])
    taken_or_refused(f"{sheet.name}.csv", text.encode("utf-8", "replace"))


@quick
@given(
    st.integers(0, 10_000),
    st.integers(0, 255),
    st.integers(1, 30),
    st.sampled_from(["xlsx", "zip"]),
)
def test_damaged_archives(at: int, byte: int, length: int, kind: str) -> None:
    whole = bytearray(_workbook() if kind == "xlsx" else _archive())
    start = at % len(whole)
    whole[start : start + length] = bytes([byte]) * length
    taken_or_refused(f"f.{kind}", bytes(whole))


@quick
@given(st.data())
def test_every_row_of_a_disturbed_season_is_accounted_for(data: st.DataObject) -> None:
    """Rows dropped, doubled and altered anywhere in the season: the account still balances."""
    files = {}
    for name, text in SEASON.items():
        head, *rows = text.splitlines()
        picked = data.draw(st.lists(st.sampled_from([*rows, ""]), max_size=6))
        altered = [
            row.replace("1", data.draw(st.sampled_from(["1", "2", "44"])), 1) for row in picked
        ]
        files[name] = "\n".join([head, *altered]) + "\n"
    known = plan(SEASON).sheets if data.draw(st.booleans()) else None
    planned = plan(files, known=known)
    assert balanced(planned)
    aside = sum(len(frame) for frame in planned.set_aside.values())
    assert aside == planned.account["set_aside"].sum()
    for name, sheet in SHEETS.items():
        assert not planned.sheets[name].duplicated(list(sheet.key)).any()
    for name, frame in planned.sheets.items():
        good = planned.account.loc[planned.account["sheet"] == name, "good"].sum()
        assert len(frame) == good
    for frame in planned.set_aside.values():
        assert (frame["what to mend"] != "").all()


@quick
@given(st.lists(st.text(alphabet="=+-@\t'ab1,;\"\n ", max_size=6), min_size=1, max_size=6))
def test_exported_rows_run_nothing_and_read_back(notes: list[str]) -> None:
    rows = "".join(
        f'B{i},2025-03-01 08:{i:02d},bad,"{note.replace(chr(34), chr(34) * 2)}"\n'
        for i, note in enumerate(notes)
    )
    planned = plan({"readings.csv": "batch_id,read_at,sg,note\n" + rows})
    aside = planned.set_aside["readings.csv"]
    (again,) = read_tables("readings.csv", safe_csv(aside))
    assert again.cells[3].tolist() == aside["note"].tolist()
    assert again.cells[2].tolist() == ["bad"] * len(notes)
    written = csv.reader(io.StringIO(safe_csv(aside).decode("utf-8-sig"), newline=""))
    for cell in (cell for record in written for cell in record):
        assert not cell.startswith(("=", "@", "\t")) and not cell.startswith(("+a", "-a", "-="))


def _workbook() -> bytes:
    book = openpyxl.Workbook()
    tab = book.active
    assert tab is not None
    tab.append(["grower_id", "farm_name"])
    tab.append(["G1", "North"])
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


def _archive() -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in SEASON.items():
            archive.writestr(name, text)
    return packed.getvalue()
