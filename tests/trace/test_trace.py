from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from origin_compare import StoreFault, UnknownName, open_store
from origin_compare.store.bringing import bring_in
from origin_compare.store.store import Store
from origin_compare.trace import Traced, correct, trace

FILES = {
    "growers.csv": "grower_id\nG1\n",
    "lots.csv": "Lot;Grower;Harvest;Nitrogen %;Barley\nL1;G1;2024;1,46;Ardent\nL2;G1;2024;;Brook\n",
    "fermentations.csv": "batch,yeast in,og\nB1,2024-11-07 08:00,1061.0\n",
    "scores.csv": (
        "tasting,date,assessor,sample,rep,cereal,floral\n"
        "T1,2024-12-01,A1,B1,1,4.5,2\nT1,2024-12-01,A2,B1,1,5,3\n"
    ),
}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    folder = tmp_path / "sheets"
    folder.mkdir()
    for name, text in FILES.items():
        (folder / name).write_text(text)
    with open_store(f"sqlite:///{tmp_path / 'store.sqlite'}") as opened:
        bring_in(opened, [folder], "the mill")
        yield opened


def test_a_value_is_traced_to_its_cell(store: Store) -> None:
    found = trace(store, "lots", "L1", "grain_n_pct_dm")
    assert (found.value, found.cell) == ("1.46", "1,46")
    assert (found.file, found.tab, found.row, found.intake_id) == ("lots.csv", "", 2, 1)
    assert found.raw == {
        "Lot": "L1",
        "Grower": "G1",
        "Harvest": "2024",
        "Nitrogen %": "1,46",
        "Barley": "Ardent",
    }
    today = f"{pd.Timestamp.now(tz='UTC'):%Y-%m-%d}"
    assert found.sentence() == (
        "grain nitrogen, % dry of L1 is 1.46; it came from lots.csv row 2, written '1,46' there, "
        f"taken in by the mill on {today} (intake 1)."
    )
    assert found.table()["text"].tolist()[3] == "1,46"


def test_other_spellings_and_scales_are_seen_as_written(store: Store) -> None:
    found = trace(store, "fermentations", ["B1"], "og_sg")
    assert (found.value, found.cell) == ("1.061", "1061.0")


def test_one_score_of_a_wide_tasting_sheet(store: Store) -> None:
    key = {"tasting_id": "T1", "assessor_id": "A2", "batch_id": "B1", "replicate": 1}
    found = trace(store, "scores", key | {"attribute": "floral"}, "score")
    assert (found.value, found.cell, found.row) == ("3", "3", 3)


def test_what_is_not_there_is_refused_by_name(store: Store) -> None:
    for key, column, sentence in (
        ("L9", "variety", "There is no row L9 in lots."),
        ("L1", "colour", "lots has no column colour. Columns: lot_id, grower_id, season, "),
    ):
        with pytest.raises(UnknownName) as told:
            trace(store, "lots", key, column)
        assert str(told.value).startswith(sentence)


def corrected(
    store: Store,
    sheet: str,
    key: str,
    column: str,
    new: str | None,
    who: str = "AB",
    why: str = "read off the card",
) -> Traced:
    """A cell corrected by somebody who has just looked at it."""
    standing = trace(store, sheet, key, column).value
    return correct(store, sheet, key, column, new, who, why, instead_of=standing)


def test_a_correction_keeps_who_when_old_and_new(store: Store) -> None:
    before = store.revision
    found = corrected(store, "lots", "L1", "grain_n_pct_dm", "1,56", why="certificate misread")
    today = f"{pd.Timestamp.now(tz='UTC'):%Y-%m-%d}"
    assert found.sentence().endswith(
        f"(intake 1), and was corrected from 1.46 by AB on {today}: certificate misread."
    )
    assert store.season().sheets["lots"]["grain_n_pct_dm"].iloc[0] == 1.56
    assert store.revision == before + 1
    log = store.corrections()[["sheet", "row_key", "column", "old", "new", "who", "why"]]
    assert log.to_numpy().tolist() == [
        ["lots", "L1", "grain_n_pct_dm", "1.46", "1.56", "AB", "certificate misread"]
    ]
    assert trace(store, "lots", "L1", "variety").sentence().endswith("(intake 1).")


def test_a_correction_touches_nothing_else(store: Store) -> None:
    before = store.sheet("fermentations")
    corrected(store, "fermentations", "B1", "vessel", "V7")
    after = store.sheet("fermentations")
    pd.testing.assert_frame_equal(after.drop(columns="vessel"), before.drop(columns="vessel"))
    assert after["vessel"].tolist() == ["V7"]


def test_a_cell_can_be_emptied_and_filled(store: Store) -> None:
    corrected(store, "lots", "L1", "grain_n_pct_dm", None)
    assert pd.isna(store.sheet("lots")["grain_n_pct_dm"].iloc[0])
    found = corrected(store, "lots", "L2", "grain_n_pct_dm", "1.46")
    assert found.sentence().count("corrected from empty by AB") == 1


def test_a_cell_is_emptied_only_in_so_many_words(store: Store) -> None:
    before = store.revision
    for nothing in ("", "  "):
        with pytest.raises(StoreFault) as told:
            corrected(store, "fermentations", "B1", "vessel", nothing)
        assert str(told.value) == (
            "vessel: nothing was typed, so nothing was changed. Type what belongs there; to leave "
            "the cell without a value, say that it is to be emptied."
        )
    assert store.revision == before


def test_a_cell_that_changed_in_between_is_left_alone(store: Store) -> None:
    shown = trace(store, "fermentations", "B1", "vessel").value
    corrected(store, "fermentations", "B1", "vessel", "V7", "CD")
    for new in ("V8", None):
        with pytest.raises(StoreFault) as told:
            correct(store, "fermentations", "B1", "vessel", new, "AB", "card", instead_of=shown)
        assert str(told.value) == (
            "vessel of B1 is V7 by now, no longer empty: somebody corrected it in between, and "
            "it was left as it is. Look at it again, then correct it if need be."
        )
    assert trace(store, "fermentations", "B1", "vessel").value == "V7"
    assert len(store.corrections()) == 1


def test_one_correction_sent_twice_is_one(store: Store) -> None:
    shown = trace(store, "lots", "L1", "grain_n_pct_dm").value
    sent = (store, "lots", "L1", "grain_n_pct_dm", "1,56", "AB", "misread")
    first = correct(*sent, instead_of=shown)
    revision = store.revision
    assert correct(*sent, instead_of=shown).value == first.value == "1.56"
    assert store.revision == revision
    assert len(store.corrections()) == 1


def test_a_correction_to_what_stands_there_already_is_none(store: Store) -> None:
    with pytest.raises(StoreFault, match=r"nitrogen, % dry of L1 is 1.46 already; nothing"):
        corrected(store, "lots", "L1", "grain_n_pct_dm", "1.460")
    assert store.corrections().empty


@pytest.mark.parametrize(
    ("column", "text", "who", "sentence"),
    [
        ("grain_n_pct_dm", "14,6", "AB", "grain_n_pct_dm: 14,6 is outside 0.5 to 4."),
        ("season", "soon", "AB", "season: soon is not a "),
        ("grower_id", None, "AB", "grower_id: "),
        ("lot_id", "L2", "AB", "There is a row L2 in lots already. Two rows cannot share a key."),
        ("variety", "Brook", " ", "A correction is kept with who made it and why. Give both."),
    ],
)
def test_what_a_file_would_be_refused_for_is_refused_here(
    store: Store, column: str, text: str | None, who: str, sentence: str
) -> None:
    before = store.revision
    with pytest.raises(StoreFault) as told:
        corrected(store, "lots", "L1", column, text, who)
    assert str(told.value).startswith(sentence)
    assert store.revision == before
    assert store.corrections().empty


def test_a_corrected_key_is_found_under_its_new_name(store: Store) -> None:
    found = corrected(store, "lots", "L2", "lot_id", "L3")
    assert found.key == "L3"
    assert found.corrections["old"].tolist() == ["L2"]
    assert trace(store, "lots", "L3", "variety").value == "Brook"


def test_a_row_taken_back_takes_no_correction_into_the_next(store: Store) -> None:
    corrected(store, "lots", "L2", "variety", "Ardent")
    store.take_back(1)
    folder = Path(store.url.removeprefix("sqlite:///")).parent / "sheets"
    bring_in(store, [folder], "the mill")
    assert trace(store, "lots", "L2", "variety").corrections.empty
    assert len(store.corrections()) == 1, "the log itself stays"
