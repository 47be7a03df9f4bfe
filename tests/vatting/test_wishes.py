"""Limits are kept, fights between them are named, and figures that cannot be are refused."""

import numpy as np
import pandas as pd
import pytest

from origin_compare import vatting
from origin_compare.errors import BadWish, NotEnoughData, UnknownName
from tests.families.test_find import FakeProfile, _frame

MEAN = _frame(np.random.default_rng(8).uniform(1, 9, (12, 5)))
STOCK = pd.DataFrame(
    {
        "batch_id": MEAN.index,
        "new_make_l": 1000.0,
        "new_make_abv_pct": np.linspace(66, 71, 12),
        "grower_id": ["G01", "G02", "G03"] * 4,
        "variety": ["early", "late"] * 6,
        "reserved_l": [900.0, *[0.0] * 11],
    }
)


def _made(target: object = "B003", **wish: object) -> vatting.Recipes:
    return vatting.recipes(MEAN, STOCK, target, **({"lpa": 300.0, "how_many": 2} | wish))  # type: ignore[arg-type]


def test_a_batch_is_nearest_to_itself() -> None:
    best = _made(how_many=1).ranked[0]
    assert best.parts["batch_id"].tolist() == ["B003"]
    assert best.distance == pytest.approx(0, abs=1e-6)


def test_a_batch_known_with_error_is_still_nearest_to_itself() -> None:
    best = vatting.recipes(FakeProfile(MEAN, 0.4), STOCK, "B003", 300.0, how_many=1).ranked[0]  # type: ignore[arg-type]
    assert best.parts["batch_id"].tolist() == ["B003"]
    assert best.distance == pytest.approx(0, abs=1e-3)


def test_limits_are_kept() -> None:
    made = _made(
        MEAN.mean(),
        must_hold=["B001"],
        must_not=["B004"],
        only={"variety": ["early", "late"]},
        at_least={"G03": 0.4},
        least_share=0.1,
        most_share=0.5,
        least_draw_l=60,
        strength_pct=63.5,
    )
    for recipe in made.ranked:
        share = recipe.parts.set_index("batch_id")["share"]
        assert "B001" in share
        assert "B004" not in share
        assert share.min() >= 0.1 - 1e-6
        assert share.max() <= 0.5 + 1e-6
        assert recipe.parts["litres"].min() >= 60 * (1 - 1e-6)
        assert recipe.mix.strength_pct == 63.5
        assert recipe.mix.litres == pytest.approx(300 / 0.635)
        grower = STOCK.set_index("batch_id")["grower_id"]
        assert share[grower[share.index] == "G03"].sum() >= 0.4 - 1e-6


def test_litres_at_a_strength_and_reserved_stock() -> None:
    made = _made("B000", lpa=None, litres=2000, strength_pct=63.5, most_batches=3)
    assert made.lpa == pytest.approx(1270)
    for recipe in made.ranked:
        litres = recipe.parts.set_index("batch_id")["litres"]
        assert litres.get("B000", 0.0) <= 100 * (1 + 1e-6)


def test_only_one_growers() -> None:
    parts = _made("B003", only={"grower_id": "G02"}).table()["batch_id"]
    growers = STOCK.set_index("batch_id").loc[parts, "grower_id"]
    assert set(growers) == {"G02"}


def test_a_weight_of_nothing_takes_an_attribute_out() -> None:
    target = MEAN.loc["B003"].copy()
    target["a4"] = 9.9
    best = _made(target, weights={"a4": 0.0}, how_many=1).ranked[0]
    assert best.distance == pytest.approx(0, abs=1e-6)


def test_one_more_part_is_never_further() -> None:
    further = _made(MEAN.mean(), most_batches=2, how_many=1, look_further=True).next_part
    assert further is not None
    assert further.parts == 3
    three = _made(MEAN.mean(), most_batches=3, how_many=1).ranked[0]
    assert further.distance == pytest.approx(three.distance, abs=0.011)


def test_forty_equal_batches_need_no_volume() -> None:
    mean = _frame(np.random.default_rng(2).uniform(3, 7, (60, 4)))
    stock = pd.DataFrame({"batch_id": mean.index, "new_make_l": 500.0, "new_make_abv_pct": 68.0})
    assert vatting.recipes(mean, stock, mean.mean(), how_many=1).lpa == pytest.approx(680)


def test_limits_that_fight_are_named() -> None:
    with pytest.raises(NotEnoughData) as refusal:
        _made(most_batches=2, must_hold=["B001"], at_least={"G01": 0.7}, most_share=0.6)
    assert str(refusal.value) == (
        "No recipe keeps to all of this at once: at most 2 parts, no part above 60%, B001 in the "
        "recipe and at least 70% from G01. Without any one of these there would be one: give up "
        "or widen one."
    )


def test_a_strength_the_stock_has_not_is_said() -> None:
    with pytest.raises(NotEnoughData, match="75 % vol or more before water"):
        _made(strength_pct=75)


@pytest.mark.parametrize(
    ("wish", "sentence"),
    [
        ({"lpa": -3.0}, "-3 L of pure alcohol cannot be mixed. Ask for more than nothing."),
        ({"most_batches": 0}, "0 parts make no recipe. Ask for 1 or more, in whole numbers."),
        (
            {"strength_pct": 97.5},
            "A strength of 97.5 % vol is outside 0 to 96. Give % vol at 20 °C.",
        ),
        ({"least_share": 2.0}, "A least share of 2 is outside 0 to 1. Write 25 % as 0.25."),
        (
            {"litres": 100.0},
            "Litres and litres of pure alcohol are both given. Give one of the two.",
        ),
        ({"how_many": 0}, "0 recipes are none. Ask for 1 or more."),
        (
            {"must_hold": ["B001"], "must_not": ["B001"]},
            "B001 must and must not be in the recipe. Take one of the two out.",
        ),
        (
            {"weights": dict.fromkeys(MEAN.columns, 0.0)},
            "Every attribute weighs 0, so every recipe is as near. Let one count.",
        ),
    ],
)
def test_what_cannot_be_meant_is_refused(wish: dict[str, object], sentence: str) -> None:
    with pytest.raises(BadWish) as refusal:
        _made(**wish)
    assert str(refusal.value) == sentence
    assert isinstance(refusal.value, ValueError)


def test_an_origin_without_stock_is_refused() -> None:
    with pytest.raises(UnknownName) as refusal:
        _made(at_least={"G99": 0.5})
    assert str(refusal.value) == "G99 has no stock. In stock: G01, G02 and G03."


def test_negative_stock_is_refused() -> None:
    with pytest.raises(BadWish) as refusal:
        vatting.recipes(MEAN, STOCK.assign(new_make_l=-5.0), "B003")
    assert str(refusal.value) == "stock: B000 has -5 in new_make_l, below 0."


def test_a_target_outside_the_scale_is_refused() -> None:
    class Scaled(FakeProfile):
        scale = "0-10"

    with pytest.raises(BadWish) as refusal:
        vatting.recipes(Scaled(MEAN, 0.3), STOCK, MEAN.mean() + 9)  # type: ignore[arg-type]
    assert str(refusal.value).endswith("is outside the panel's scale, 0-10.")
