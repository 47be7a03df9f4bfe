"""Recipes: exact mixtures found, stock respected, doubt stated, bad wishes refused."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from origin_compare import vatting
from origin_compare.errors import NotEnoughData, UnknownName
from tests.families.test_find import FakeProfile, _frame


def _stock(batches: pd.Index, litres: float = 1000.0, strength: float = 68.0) -> pd.DataFrame:
    return pd.DataFrame({"batch_id": batches, "new_make_l": litres, "new_make_abv_pct": strength})


def test_a_mixture_that_exists_is_found() -> None:
    mean = _frame(np.array([[2.0, 8, 5], [8, 2, 5], [5, 5, 9], [1, 1, 1]]))
    target = 0.25 * mean.loc["B000"] + 0.75 * mean.loc["B001"]
    made = vatting.recipes(mean, _stock(mean.index), target, lpa=300)
    shares = made.ranked[0].parts.set_index("batch_id")["share"]
    assert shares.to_dict() == pytest.approx({"B000": 0.25, "B001": 0.75}, abs=1e-3)
    assert made.ranked[0].distance == pytest.approx(0, abs=1e-3)
    assert made.proven


def test_the_distance_counts_the_panels_error() -> None:
    mean = _frame(np.array([[2.0, 8, 5], [8, 2, 5], [5, 5, 9], [1, 1, 1]]))
    target = 0.25 * mean.loc["B000"] + 0.75 * mean.loc["B001"]
    best = vatting.recipes(FakeProfile(mean, 0.2), _stock(mean.index), target, lpa=300).ranked[0]  # type: ignore[arg-type]
    shares = best.parts.set_index("batch_id")["share"]
    assert shares.to_dict() == pytest.approx({"B000": 0.25, "B001": 0.75}, abs=5e-3)
    # What is seen fits; each part is known to 0.2, so the mix to 0.2 sqrt(0.25^2 + 0.75^2).
    assert best.distance == pytest.approx(0.2 * np.sqrt(0.625), rel=0.02)
    assert best.low < best.distance < best.high


def test_litres_come_from_shares_of_pure_alcohol() -> None:
    mean = _frame(np.array([[2.0, 8], [8, 2]]))
    stock = _stock(mean.index).assign(new_make_abv_pct=[60.0, 72.0])
    target = mean.mean()
    made = vatting.recipes(FakeProfile(mean, 0.2), stock, target, lpa=100)  # type: ignore[arg-type]
    parts = made.ranked[0].parts.set_index("batch_id")
    assert parts["lpa"].to_dict() == pytest.approx({"B000": 50, "B001": 50}, rel=1e-3)
    assert parts.loc["B000", "litres"] == pytest.approx(50 / 0.60, rel=1e-3)
    assert parts.loc["B001", "litres"] == pytest.approx(50 / 0.72, rel=1e-3)


@settings(max_examples=10, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    batches=st.integers(4, 14),
    most=st.integers(1, 5),
    part=st.floats(0.05, 0.9),
)
def test_no_recipe_exceeds_stock_and_every_recipe_adds_up(
    seed: int, batches: int, most: int, part: float
) -> None:
    generator = np.random.default_rng(seed)
    mean = _frame(generator.uniform(1, 9, (batches, 5)))
    stock = _stock(mean.index).assign(new_make_l=generator.uniform(100, 2000, batches))
    lpa = part * float((stock["new_make_l"] * 0.68).nlargest(most).sum())
    made = vatting.recipes(FakeProfile(mean, 0.3), stock, mean.iloc[0], lpa, most)  # type: ignore[arg-type]
    held = stock.set_index("batch_id")["new_make_l"]
    for recipe in made.ranked:
        assert len(recipe.parts) <= most
        assert recipe.parts["share"].sum() == pytest.approx(1, abs=1e-6)
        litres = recipe.parts.set_index("batch_id")["litres"]
        assert (litres <= held[litres.index] * (1 + 1e-6)).all()
    distances = [recipe.distance for recipe in made.ranked]
    assert distances == sorted(distances)


def test_panel_error_shrinks_with_more_parts() -> None:
    # Two batches say nothing of the spread of batches, so they are not drawn towards each other.
    mean = _frame(np.array([[4.0, 6], [6, 4]]))
    made = vatting.recipes(FakeProfile(mean, 1.0), _stock(mean.index), mean.mean(), lpa=100)  # type: ignore[arg-type]
    predicted = made.ranked[0].predicted
    half = (predicted["high"] - predicted["low"]) / 2
    assert half.to_numpy() == pytest.approx([1.96 * np.sqrt(0.5)] * 2, rel=1e-3)


def test_attributes_the_panel_cannot_tell_are_ignored_and_said() -> None:
    mean = _frame(np.array([[2.0, 8, 5], [8, 2, 5], [5, 5, 9]]))
    profile = FakeProfile(mean, 0.2, not_told=("a2",))
    made = vatting.recipes(profile, _stock(mean.index), mean.loc["B000"], lpa=100)  # type: ignore[arg-type]
    assert made.attributes == ("a0", "a1")
    assert "Wanted but not used, as the panel cannot tell them: a2." in made.rests_on()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"target": pd.Series({"smoke": 3.0})},
            "The panel does not score smoke. Name attributes from a0 and a1.",
        ),
        (
            {"must_hold": ["B999"]},
            "B999 cannot be in a recipe: no stock, or no panel profile. "
            "Choose among the batches in the stock table.",
        ),
    ],
)
def test_unknown_names_are_refused(change: dict[str, object], sentence: str) -> None:
    mean = _frame(np.array([[4.0, 6], [6, 4]]))
    wish: dict[str, object] = {"target": mean.mean(), "lpa": 100} | change
    with pytest.raises(UnknownName) as refusal:
        vatting.recipes(FakeProfile(mean, 0.2), _stock(mean.index), **wish)  # type: ignore[arg-type]
    assert str(refusal.value) == sentence


def test_more_than_the_stock_is_refused() -> None:
    mean = _frame(np.array([[4.0, 6], [6, 4]]))
    with pytest.raises(NotEnoughData) as refusal:
        vatting.recipes(FakeProfile(mean, 0.2), _stock(mean.index), mean.mean(), lpa=5000)  # type: ignore[arg-type]
    assert str(refusal.value) == (
        "5,000 L of pure alcohol is outside what 4 batches can give (0 to 1,360 L). "
        "Ask for less, or allow more batches in a recipe."
    )
