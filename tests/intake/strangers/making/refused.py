"""Files that nobody can honestly read as rows: they are to be refused in words."""

from __future__ import annotations

import datetime as dt
import io
import struct
import zipfile
import zlib

from .case import Case
from .draw import COMPOUNDS, FARMS, source, stub_batches
from .files import Lines, book, delimited, start_book, text, zipped


def _picture() -> bytes:
    """A small grey PNG such as a phone or a scanner leaves."""
    width, height = 60, 40
    r = source("scan")
    lines = b"".join(
        b"\0" + bytes(200 + r.randrange(40) for _ in range(width)) for _ in range(height)
    )

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(lines, 0))
        + chunk(b"IEND", b"")
    )


def scan_in_a_workbook() -> Case:
    out = io.BytesIO()
    workbook = start_book(out)
    sheet = workbook.add_worksheet("Scan")
    sheet.insert_image(1, 1, "card.png", {"image_data": io.BytesIO(_picture())})
    workbook.close()
    return Case(
        id="701 scanned card in a workbook",
        kind="a workbook that holds one picture and no cells",
        says="a scan of a washback card",
        files={"701_scanned_card.xlsx": out.getvalue()},
        expect="refused",
        why="the figures are a picture; they have to be typed in",
    )


def chart_without_cells() -> Case:
    out = io.BytesIO()
    workbook = start_book(out)
    sheet = workbook.add_chartsheet("Curve")
    workbook.add_worksheet("Data")
    chart = workbook.add_chart({"type": "line"})
    chart.add_series({"name": "Gravity", "values": "=Data!$B$2:$B$9"})
    sheet.set_chart(chart)
    workbook.close()
    return Case(
        id="702 chart without its cells",
        kind="a chart sheet whose data tab was emptied",
        says="the curve of a batch, the figures behind it are gone",
        files={"702_curve.xlsx": out.getvalue()},
        expect="refused",
        why="a chart is no table, and the cells behind it are empty",
    )


def pivot_of_averages() -> Case:
    r = source("703")
    months = ("Jan", "Feb", "Mar", "Apr")
    grid: Lines = [["Average of Gravity", "Column Labels"], ["Row Labels", *months, "Grand Total"]]
    for vessel in ("WB1", "WB2", "WB3", "WB4"):
        means = [round(r.uniform(1.015, 1.021), 4) for _ in months]
        grid.append([vessel, *means, round(sum(means) / len(means), 4)])
    return Case(
        id="703 pivot of averages",
        kind="a pivot table of average gravity per vessel and month, no rows behind it",
        says="averages per vessel and month; the readings are not in the file",
        files={"703_averages.xlsx": book({"Pivot": grid})},
        expect="refused",
        why="averages over batches and hours are no readings of any batch",
    )


def consensus_sheet() -> Case:
    r = source("704")
    grid: Lines = [["Panel consensus, 12 March 2025 (6 assessors)"], []]
    grid.append(["Batch", "Cereal", "Fruity", "Floral", "Sulphury", "Feinty"])
    grid += [[f"CS{at}", *(round(r.uniform(1, 7), 1) for _ in range(5))] for at in range(1, 6)]
    return Case(
        id="704 consensus of the panel",
        kind="one agreed score per sample and attribute, no assessors",
        says="the panel talked each score over and agreed on one",
        files={"704_consensus.xlsx": book({"Consensus": grid})},
        expect="refused",
        why="scores without the single assessors carry no noise to reckon with",
    )


def photograph() -> Case:
    return Case(
        id="705 photograph of the board",
        kind="a picture file",
        says="the still house board, photographed",
        files={"705_board.png": _picture()},
        expect="refused",
        why="a picture; its figures have to be typed in",
    )


def written_letter() -> Case:
    body = "".join(
        f"<w:p><w:r><w:t>{line}</w:t></w:r></w:p>"
        for line in (
            f"Dear {FARMS[0]},",
            "your barley came in well, about 1.5 nitrogen.",
            "Regards",
        )
    )
    space = 'xmlns:w="http://schemas.openxmlformats.org/wordprocessingml/2006/main"'
    members = {
        "[Content_Types].xml": '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/'
        'package/2006/content-types"><Override PartName="/word/document.xml" ContentType='
        '"application/vnd.openxmlformats-officedocument.wordprocessingml.document.main+xml"/></Types>',
        "word/document.xml": f'<?xml version="1.0"?><w:document {space}><w:body>{body}</w:body>'
        "</w:document>",
    }
    return Case(
        id="706 letter called .xlsx",
        kind="a text document renamed to .xlsx",
        says="a letter somebody renamed",
        files={"706_letter.xlsx": zipped(members)},
        expect="refused",
        why="no workbook, whatever its name says",
    )


def index_of_peaks() -> Case:
    r = source("707")
    lines = ["Peak areas (counts), no calibration", "Sample;" + ";".join(COMPOUNDS)]
    for at in range(1, 5):
        areas = (str(r.randrange(12_000, 480_000)) for _ in COMPOUNDS)
        lines.append(f"PK{at};" + ";".join(areas))
    return Case(
        id="707 peak areas",
        kind="detector counts of a gas chromatograph without calibration",
        says="raw peak areas; the laboratory has not calibrated them yet",
        files={"707_peak_areas.csv": text(*lines)},
        expect="refused",
        why="counts are no amounts: nobody can turn them into g per 100 L without the calibration",
    )


def cut_short() -> Case:
    """Packed without compression, so that the half that came is the same everywhere."""
    whole = book({"Log": [["Batch", "Gravity"], *([f"T{at}", 1.05] for at in range(40))]})
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        whole = zipped({name: archive.read(name).decode() for name in archive.namelist()})
    return Case(
        id="708 workbook cut short",
        kind="a workbook of which half arrived by mail",
        says="the upload broke off",
        files={"708_broken.xlsx": whole[: len(whole) // 2]},
        expect="refused",
        why="the file is damaged; it has to be sent again",
    )


def refractometer_on_wash() -> Case:
    r = source("709")
    lines = ["Refractometer, fermenting wash (no original gravity noted)", "Batch;Hours;Brix"]
    lines += [f"RF1;{hour};{r.uniform(15.2, 15.8) - hour * 0.11:.1f}" for hour in range(16, 80, 8)]
    return Case(
        id="709 refractometer on wash",
        kind="Brix by refractometer on fermenting wash, no original gravity, nothing corrected",
        says="raw refractometer figures; nobody noted the original gravity",
        files={"709_refractometer.csv": text(*lines)},
        parents=stub_batches(["RF1"], dt.datetime(2025, 3, 3, 8)),
        expect="refused",
        why="alcohol raises the index: without the original gravity this is no gravity",
    )


def codes_without_a_key() -> Case:
    r = source("710")
    grid = [["Session", "Date", "Taster", "Code", "Cereal", "Fruity", "Floral"]]
    for person in ("AK", "RB", "JM"):
        for code in ("512", "077", "931"):
            given = [r.randrange(0, 11) for _ in range(3)]
            grid.append(["Z1", "2025-03-04", person, code, *map(str, given)])
    return Case(
        id="710 blind codes, key lost",
        kind="scores by three-figure code, no key anywhere",
        says="the key to the codes was thrown away",
        files={"710_codes.csv": delimited(grid)},
        expect="refused",
        why="nobody knows any longer which batch a code was",
    )


def empty_form() -> Case:
    head = ["Batch", "Read at", "Gravity", "pH", "Temp"]
    lines = [["FERMENTATION RECORD (form 3, blank)"], [], head, *[["", "", "", "", ""]] * 12]
    return Case(
        id="711 blank form",
        kind="the form for readings with nothing filled in",
        says="the blank form, taken for the filled one",
        files={"711_form.xlsx": book({"Form": lines})},
        expect="refused",
        why="there is no row in it",
    )


CASES = (
    scan_in_a_workbook,
    chart_without_cells,
    pivot_of_averages,
    consensus_sheet,
    photograph,
    written_letter,
    index_of_peaks,
    cut_short,
    refractometer_on_wash,
    codes_without_a_key,
    empty_form,
)
