"""No grower can be worked out from another's letter."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats.mstats import hdquantiles

from origin_compare.growers import grower_letter, privacy
from tests.growers.small import KnownProfile, batch_frame, scores_for, season_of


def _rows(growers: list[str], **columns: list[float]) -> pd.DataFrame:
    return pd.DataFrame({"grower_id": growers, **columns})


def test_a_group_of_the_smallest_size_is_shown_and_one_fewer_is_not() -> None:
    five = ["A", "B", "C", "D", "E"]
    assert privacy.may_show(_rows(five), 5)
    assert not privacy.may_show(_rows(five[:4] * 3), 5)


def test_nobody_may_hold_more_than_half_of_rows_or_amount() -> None:
    growers = ["A"] * 5 + ["B", "C", "D", "E", "F"]
    assert privacy.may_show(_rows(growers), 5)
    assert not privacy.may_show(_rows(["A", *growers]), 5)
    five = ["A", "B", "C", "D", "E"]
    assert privacy.may_show(_rows(five, t=[4.0, 1, 1, 1, 1]), 5, "t")
    assert not privacy.may_show(_rows(five, t=[4.1, 1, 1, 1, 1]), 5, "t")
    assert privacy.may_show(_rows(five, t=[99.0, 1, 1, 1, np.nan]), 5, "t")


@pytest.mark.parametrize(
    ("figures", "wanted"),
    [
        # Of three growers the lower quartile weighs by Beta(1, 3), 1 - (1 - x)^3 at the thirds:
        # 19, 7 and 1 of 27; the median by Beta(2, 2), x^2 (3 - 2x): 7, 13 and 7 of 27.
        ((0.0, 27.0, 54.0), (9.0, 27.0, 45.0)),
        ((0.0, 0.0, 27.0), (1.0, 7.0, 19.0)),
        ((27.0, 0.0, 0.0), (1.0, 7.0, 19.0)),
        # Of seven a tail of Beta(2, 6), Beta(4, 4) or Beta(6, 2) beyond 6/7 is a binomial sum
        # over 7^7: 1 + 7*6, then + 21*36 + 35*216, then + 35*1296 + 21*7776.
        ((0.0, 0.0, 0.0, 7.0**7, 0.0, 0.0, 0.0), (43.0, 8359.0, 217015.0)),
    ],
)
def test_quartiles_are_harrell_and_davis_by_hand(
    figures: tuple[float, ...], wanted: tuple[float, float, float]
) -> None:
    found = privacy.middle_half(pd.Series(figures), step=1e-9)
    np.testing.assert_allclose(found, wanted, atol=1e-6)


@pytest.mark.parametrize("n", [3, 6, 11])
def test_quartiles_are_harrell_and_davis_as_a_library_has_them(n: int) -> None:
    figures = np.random.default_rng(n).normal(5.0, 2.0, n)
    found = privacy.middle_half(pd.Series(figures), step=1e-9)
    np.testing.assert_allclose(found, hdquantiles(figures, [0.25, 0.5, 0.75]), atol=1e-8)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 10_000), min_size=5, max_size=9, unique=True))
def test_no_quartile_of_a_small_group_rests_on_one_grower(figures: list[int]) -> None:
    by_grower = pd.Series(figures, dtype="float64")
    before = np.array(privacy.middle_half(by_grower, step=1e-6))
    for place in range(len(figures)):
        moved = by_grower.copy()
        moved[place] += 1.0
        change = np.array(privacy.middle_half(moved, step=1e-6)) - before
        assert (change < 0.75).all()  # an order statistic would move by the whole 1


def _letters(growers: list[str], **more: object) -> dict[str, object]:
    batches = batch_frame(growers)
    rng = np.random.default_rng(7)
    scores = scores_for(batches, oily=rng.normal(4, 0.5, len(batches)).tolist())
    season = season_of(batches)
    return {
        grower: grower_letter(season, batches, KnownProfile(scores), grower, 2025)  # type: ignore[arg-type]
        for grower in dict.fromkeys(growers)
    }


def test_four_growers_get_no_group_anywhere_and_five_do() -> None:
    hidden = ["group_median", "group_low", "group_high"]
    for letter in _letters(["G1", "G2", "G3", "G4"]).values():
        assert letter.group_size == 0
        assert letter.flavours[hidden].isna().all(axis=None)
        assert letter.figures[hidden].isna().all(axis=None)
        assert letter.levers.empty
        assert (letter.flavours["evidence"] == "not shown").all()
    for letter in _letters(["G1", "G2", "G3", "G4", "G5"]).values():
        assert letter.group_size == 5
        assert letter.flavours[hidden].notna().all(axis=None)


def test_one_grower_with_more_than_half_hides_the_group() -> None:
    letters = _letters(["G1"] * 6 + ["G2", "G3", "G4", "G5", "G6"][:4] + ["G6"])
    for letter in letters.values():
        assert letter.group_size == 0
        assert letter.flavours["group_median"].isna().all()


def test_a_figure_known_of_four_growers_is_hidden_by_itself() -> None:
    batches = batch_frame(["G1", "G2", "G3", "G4", "G5"])
    batches.loc[4, "extract_pct_dm"] = np.nan
    letter = grower_letter(season_of(batches), batches, None, "G1", 2025)
    figures = letter.figures.set_index("figure")
    assert np.isnan(figures.loc["extract, % dry", "group_median"])
    assert figures.loc["spirit yield, L pure alcohol per t", "group_median"] == 374.0


def test_amounts_are_their_owners_business() -> None:
    letter = _letters(["G1", "G2", "G3", "G4", "G5"])["G1"]
    amounts = letter.figures[letter.figures["figure"].isin(["grist, kg", "new make, L"])]
    assert len(amounts) == 2
    assert amounts["own"].tolist() == [4400.0, 2400.0]
    assert amounts["group_median"].isna().all()


def test_two_letters_side_by_side_differ_only_in_their_owners_figures() -> None:
    letters = list(_letters(["G1", "G2", "G2", "G3", "G4", "G5", "G6"]).values())
    group = ["group_median", "group_low", "group_high"]
    for other in letters[1:]:
        pd.testing.assert_frame_equal(letters[0].flavours[group], other.flavours[group])
        pd.testing.assert_frame_equal(letters[0].figures[group], other.figures[group])


def test_a_later_season_changes_nothing_in_an_earlier_group() -> None:
    first, second = batch_frame([f"G{i}" for i in range(1, 7)], 2024), batch_frame(["G7", "G8"])
    both = pd.concat([first, second], ignore_index=True)
    scores = scores_for(both, oily=np.linspace(3, 5, len(both)).tolist())
    alone = grower_letter(season_of(first), first, KnownProfile(scores.iloc[:6]), "G1", 2024)  # type: ignore[arg-type]
    later = grower_letter(season_of(both), both, KnownProfile(scores), "G1", 2024)  # type: ignore[arg-type]
    pd.testing.assert_frame_equal(alone.flavours, later.flavours)
    pd.testing.assert_frame_equal(alone.figures, later.figures)


NAMES = st.text("ABCDEFGHJKLMNPQRSTUVWXYZ", min_size=6, max_size=8)


@settings(max_examples=25, deadline=None)
@given(st.lists(NAMES, min_size=6, max_size=9, unique=True), st.integers(0, 5))
def test_a_letter_never_holds_anothers_code_farm_lot_or_field(codes: list[str], own: int) -> None:
    batches = batch_frame([*codes, codes[0]], lots=[f"L{code}" for code in [*codes, codes[0]]])
    scores = scores_for(batches, oily=np.linspace(2, 6, len(batches)).tolist())
    letter = grower_letter(season_of(batches), batches, KnownProfile(scores), codes[own], 2025)  # type: ignore[arg-type]
    said = everything_in(letter)
    for other in set(codes) - {codes[own]}:
        if other not in codes[own]:
            assert other not in said  # farm, lot and field names are made of the code
    assert codes[own] in said


def everything_in(letter: object) -> str:
    """All that a letter object holds, tables cell by cell, and all it says."""
    parts = [letter.sentence(), letter.rests_on(), letter.table().to_csv()]  # type: ignore[attr-defined]
    for field in dataclasses.fields(letter):  # type: ignore[arg-type]
        value = getattr(letter, field.name)
        parts.append(value.to_csv() if isinstance(value, pd.DataFrame) else str(value))
    return "\n".join(parts)


WORDS = ("best", "worst", "rank", "highest", "lowest", "top ", "bottom", "better", "winner")


def test_no_order_among_growers() -> None:
    for letter in _letters([f"G{i}" for i in range(1, 9)]).values():
        said = everything_in(letter).lower()
        assert [word for word in WORDS if word in said] == []
        assert not {"min", "max", "rank"} & {*letter.flavours, *letter.figures}
