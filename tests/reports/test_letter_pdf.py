"""The letter on paper: one side, the same bytes, any name as plain text, nobody else in it."""

import re
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from origin_compare.growers import GrowerLetter, grower_letter
from origin_compare.reports import LetterFault, letter_pdf, unknowns
from origin_compare.reports.letter_pdf import ROOMS, TEMPLATE
from origin_compare.reports.letter_text import letter_data
from tests.growers import demo
from tests.growers.small import KnownProfile, batch_frame, scores_for, season_of

DAY = datetime(2026, 1, 5, tzinfo=UTC)
SITE = "Quernhallow (invented)"


def _pages(pdf: bytes) -> int:
    counts = [int(number) for number in re.findall(rb"/Count (\d+)", pdf)]
    return max(counts)


def _read(pdf: bytes, folder: Path) -> str:
    assert shutil.which("pdftotext"), "the PDF is read with pdftotext: install poppler-utils"
    file = folder / "letter.pdf"
    file.write_bytes(pdf)
    found = subprocess.run(
        ["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True
    )
    return found.stdout


def _large(lots: int = 8, attributes: int = 14) -> GrowerLetter:
    growers = ["A"] * lots + [f"G{place}" for place in range(lots + 2)]
    batches = pd.concat(
        [
            batch_frame(
                growers, year, lots=[f"L{year}-{place:02d}" for place in range(len(growers))]
            )
            for year in (2023, 2024, 2025)
        ],
        ignore_index=True,
    )
    rng = np.random.default_rng(2)
    names = {
        f"flavour_number_{place}": rng.normal(4, 1, len(batches)) for place in range(attributes)
    }
    scores = scores_for(batches, **{name: list(one) for name, one in names.items()})
    return grower_letter(season_of(batches), batches, KnownProfile(scores), "A", 2025)  # type: ignore[arg-type]


def test_every_demo_letter_stands_on_one_side_and_names_nobody_else() -> None:
    growers = demo.season().sheets["growers"].set_index("grower_id")["farm_name"]
    lots = demo.season().sheets["lots"]
    for grower, year in demo.growers_by_year():
        letter = demo.letter(grower, year)
        pdf = letter_pdf(letter, SITE, DAY)
        assert _pages(pdf) == 1
        assert b"pdfuaid" in pdf
        data = str(letter_data(letter, SITE, DAY, ROOMS[0]))  # all the template has to print
        others = lots[lots["grower_id"] != grower]
        own = set(lots.loc[lots["grower_id"] == grower, "field"])
        for name in {
            *growers.drop(grower).index,
            *growers.drop(grower),
            *others["lot_id"],
            *(set(others["field"]) - own),
        }:
            assert not re.search(rf"\b{re.escape(name)}\b", data), (grower, year, name)


def test_the_page_itself_names_nobody_else(tmp_path: Path) -> None:
    said = _read(letter_pdf(demo.letter("G09", 2025), SITE, DAY), tmp_path)
    assert "grower G09" in said
    assert "Q25-09" in said
    codes = set(re.findall(r"\bG\d\d\b", said))
    assert codes == {"G09"}
    assert set(re.findall(r"\bL\d\d-\d\d\w?\b", said)) == {"L25-09A", "L25-09B"}


def test_the_page_says_what_the_letter_says(tmp_path: Path) -> None:
    letter = demo.letter("G13", 2025)
    said = " ".join(_read(letter_pdf(letter, SITE, DAY), tmp_path).split())
    assert letter.sentence() in said
    assert letter.rests_on() in said
    for line in unknowns(letter):
        assert line in said
    assert "Flavour is no measure of your barley's worth and sets no price." in said.replace(
        "’", "'"
    )


def test_eight_lots_and_fourteen_flavours_stand_on_one_side() -> None:
    letter = _large()
    assert (len(letter.lots), len(letter.flavours), len(letter.past)) == (8, 14, 3)
    assert _pages(letter_pdf(letter, SITE, DAY)) == 1


def test_what_does_not_fit_is_counted(tmp_path: Path) -> None:
    letter = _large(lots=24, attributes=30)
    pdf = letter_pdf(letter, SITE, DAY)
    assert _pages(pdf) == 1
    said = _read(pdf, tmp_path)
    assert re.search(r"and \d+ more lots", said)
    assert re.search(r"and \d+ more flavours", said)


def test_a_letter_that_fits_in_no_setting_is_refused() -> None:
    letter = _large(2, 2)
    endless = letter.lots.assign(field="a very long name of a field " * 300)
    with pytest.raises(LetterFault) as refused:
        letter_pdf(replace(letter, lots=endless), SITE, DAY)
    assert str(refused.value) == (
        "The letter to grower A does not fit on one side of A4. "
        "Shorten the names of its fields, or of the distillery."
    )


def test_the_same_letter_and_day_give_the_same_bytes() -> None:
    letter = demo.letter("G01", 2024)
    assert letter_pdf(letter, SITE, DAY) == letter_pdf(letter, SITE, DAY)
    assert letter_pdf(letter, SITE, DAY) == letter_pdf(letter, SITE, DAY.replace(tzinfo=None))
    assert letter_pdf(letter, SITE, DAY) != letter_pdf(
        letter, SITE, datetime(2026, 2, 5, tzinfo=UTC)
    )


NAMES = [
    ("#let x = 1 $y$ *b* _u_ `c` @r <l> ~ // = -", "#let x = 1 $y$ *b* _u_ `c` @r <l> ~ // = -"),
    ('Bär "Ø" \\n łąka', 'Bär "Ø" \\n łąka'),
    ("Wheat 🌾 field", "Wheat [ear of rice] field"),
    ("Heart ❤️ field", "Heart"),
    ("North 北 field", "North ? field"),
    ("Bell\x07 and\x00 line\nbreak", "Bell and line break"),
]


@pytest.mark.parametrize(("name", "printed"), NAMES)
def test_names_are_printed_as_plain_text(name: str, printed: str, tmp_path: Path) -> None:
    letter = _large(2, 2)
    named = replace(letter, lots=letter.lots.assign(field=name), farm=name)
    said = _read(letter_pdf(named, name, DAY), tmp_path)
    assert printed in said.replace("’", "'")


def test_the_template_fetches_nothing() -> None:
    source = TEMPLATE.read_text("utf-8")
    assert "@preview" not in source
    assert "http" not in source
    assert re.findall(r'"[^"]+\.(?:json|typ|csv|png|svg)"', source) == ['"letter.json"']


def test_figures_without_a_group_leave_its_columns_empty() -> None:
    batches = batch_frame(["A", "B", "C"])
    letter = grower_letter(season_of(batches), batches, None, "A", 2025)
    data = letter_data(letter, "", DAY, ROOMS[0])
    assert data["site"] == "The distillery"
    assert not data["figures_grouped"]
    assert {(row["middle"], row["half"]) for row in data["figures"]} == {("", "")}
    assert _pages(letter_pdf(letter, "", DAY)) == 1


def test_earlier_harvests_stand_beside_this_one_newest_first() -> None:
    data = letter_data(_large(3, 3), SITE, DAY, ROOMS[0])
    assert data["past"] == ["2024", "2023"]
    rows = {row["figure"]: row["past"] for row in data["figures"]}
    assert rows["spirit yield, L pure alcohol per t"] == ["374", "374"]
    assert rows["grist, kg"] == ["", ""]


def test_what_is_not_known_depends_on_what_was_tasted() -> None:
    batches = batch_frame(["A", "A", "B", "C", "D", "E"])
    season = season_of(batches)
    untasted = grower_letter(season, batches, None, "A", 2025)
    assert unknowns(untasted) == [
        "How your barley tastes as spirit: none of your grain alone has been scored.",
        "Whether next year would taste the same: one season is one draw of the weather.",
        "What in your hands would change grain or spirit: this season's figures do not bear it.",
    ]
    profile = KnownProfile(scores_for(batches, oily=[4.0, 4.1, 4.2, 3.9, 4.0, 4.1]))
    one = grower_letter(season, batches, profile, "B", 2025)  # type: ignore[arg-type]
    assert unknowns(one)[0] == (
        "Whether the field or the way this one batch ran made the difference: "
        "that would take at least two batches of your grain."
    )
