"""Labels carry their units, figures their bearable decimals."""

import pandas as pd
import pytest

from origin_compare import words
from origin_compare.sheets.catalogue import SHEETS


@pytest.mark.parametrize(
    ("column", "said"),
    [
        ("pitch_temp_c", "pitch temp, °C"),
        ("new_make_abv_pct", "new make, % vol"),
        ("grain_n_pct_dm", "grain nitrogen, % dry"),
        ("wort_l", "wort, L"),
        ("yield_t_ha", "yield, t/ha"),
        ("spirit_yield_lpa_t", "spirit yield, L pure alcohol per t"),
        ("batch_id", "batch"),
        ("soil", "soil"),
    ],
)
def test_a_label_says_the_unit(column: str, said: str) -> None:
    assert words.label(column) == said


def test_every_column_of_every_sheet_has_a_label_without_underscores() -> None:
    for sheet in SHEETS.values():
        for name in sheet.names():
            assert "_" not in words.label(name), name
            assert words.label(name).strip()


def test_figures_are_rounded_to_what_they_bear() -> None:
    table = pd.DataFrame({"og_sg": [1.065234], "final_ph": [3.4567], "length_h": [123.4]})
    assert words.rounded(table).iloc[0].tolist() == [1.0652, 3.46, 123.0]


def test_unlike_figures_in_one_column_keep_three_digits() -> None:
    table = pd.DataFrame({"figure": ["grist", "nitrogen"], "own": [8834.49, 1.53449]})
    assert words.bearable(table)["own"].tolist() == ["8,834", "1.53"]


def test_a_chance_is_never_said_to_be_zero() -> None:
    assert [words.chance(p) for p in (0.0, 0.0004, 0.0312, float("nan"))] == [
        "<0.001",
        "<0.001",
        "0.031",
        "",
    ]
