"""What is tied together is said in words before any slope."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from origin_compare.drivers import separable
from origin_compare.drivers.overlap.ties import condition_index, inflation
from origin_compare.errors import NotEnoughData, UnknownName
from tests.answers import owed
from tests.drivers.seasons import invent


def test_length_and_ph_that_move_together_are_named() -> None:
    batches = invent(3, each=8, together=-0.999).batches
    found = separable(batches)
    r = np.corrcoef(batches[["length_h", "final_ph"]].to_numpy().T)[0, 1]
    assert (
        f"Length and final pH move together here (r = −{abs(r):.2f}): "
        "this data cannot tell them apart." in found.sentence()
    )
    owed(found)


def test_what_can_be_told_apart_is_said_with_how_much_less_surely() -> None:
    batches = invent(3, each=8, together=-0.95).batches
    found = separable(batches)
    r = np.corrcoef(batches[["length_h", "final_ph"]].to_numpy().T)[0, 1]
    wider = 1 / np.sqrt(1 - r * r)
    assert found.tied().query("kind == 'numbers'").empty
    assert (
        f"Length and final pH move together here (r = −{abs(r):.2f}): each alone is known "
        f"{wider:.1f} times less surely than if they moved apart." in found.sentence()
    )


def test_one_batch_per_grower_is_one_thing() -> None:
    found = separable(invent(1, growers=12, each=1).batches)
    assert found.one_each
    assert found.sentence().startswith(
        "With one batch per grower, grower and batch are one thing: this data cannot tell what "
        "the grower gave from what the batch gave."
    )


def test_process_set_by_the_grower_is_told() -> None:
    found = separable(invent(2, tied=1.0).batches)
    assert (
        "Length hardly varied within one grower (0 % of its variation): this data cannot tell "
        "length from grower." in found.sentences()
    )


def test_factors_one_to_one_nested_and_apart() -> None:
    pairs = separable(invent(2).batches).pairs().set_index(["first", "second"])
    assert pairs.loc[("grower_id", "lot_id"), "relation"] == "one and the same"
    assert pairs.loc[("grower_id", "variety"), "relation"] == "each grower in one variety"
    assert pairs.loc[("grower_id", "vessel"), "relation"] == "apart"


def test_two_halves_that_never_meet_are_partly_tied() -> None:
    batches = invent(2, growers=4, each=6).batches
    batches["vessel"] = np.where(batches["grower_id"] < "G02", "W1", "W2")
    odd = np.arange(len(batches)) % 2 == 0
    batches.loc[odd, "vessel"] = batches.loc[odd, "vessel"] + "b"
    pairs = separable(batches).pairs().set_index(["first", "second"])
    row = pairs.xs(("grower_id", "vessel")).squeeze()
    assert row["relation"] == "partly tied"
    assert row["says"] == (
        "Grower and vessel fall into 2 groups that never meet: between these groups this data "
        "cannot tell grower from vessel."
    )


def test_spread_within_growers_against_analysis_of_variance() -> None:
    season = invent(4, tied=0.6)
    row = separable(season.batches).table().set_index("variable").loc["length_h"]
    x = season.batches["length_h"].to_numpy().reshape(10, 6)
    within = x.var(axis=1, ddof=1).mean()
    assert row["within_share"] == pytest.approx(within / x.var(ddof=1), rel=1e-9)


def test_inflation_and_condition_of_known_columns() -> None:
    rng = np.random.default_rng(0)
    Q = np.linalg.qr(rng.normal(size=(50, 2)) - 0.0)[0]
    Q = np.linalg.qr(Q - Q.mean(axis=0))[0]
    r = 0.8
    pair = np.column_stack([Q[:, 0], r * Q[:, 0] + np.sqrt(1 - r * r) * Q[:, 1]])
    np.testing.assert_allclose(inflation(pair), 1 / (1 - r * r), rtol=1e-9)
    assert condition_index(pair) == pytest.approx(np.sqrt((1 + r) / (1 - r)), rel=1e-9)
    assert np.isinf(inflation(np.column_stack([pair, pair.sum(axis=1)]))).all()


def test_left_out_batches_are_counted_by_cause() -> None:
    batches = invent(2).batches
    batches.loc[0, "status"] = "fermenting"
    batches.loc[1, "grower_id"] = None
    batches.loc[[2, 3], "final_ph"] = np.nan
    assert separable(batches).rests_on() == (
        "56 batches; 4 left out: 1 still fermenting, 1 of mixed or unknown origin, "
        "2 with no final pH."
    )


def test_a_column_that_is_not_there() -> None:
    with pytest.raises(UnknownName, match=r"^The batches have no column peak_c\. Join the ferm"):
        separable(invent(1).batches, process=["peak_c"])


def test_two_batches_say_nothing() -> None:
    batches: pd.DataFrame = invent(1).batches.iloc[:2]
    with pytest.raises(
        NotEnoughData,
        match=r"^What moves together needs at least 3 ended, tasted batches of one known origin "
        r"with all process figures recorded; there are 2\.$",
    ):
        separable(batches)
