"""Variation partitioning against published values, and its tests against their nominal size."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from origin_compare.drivers import hellinger, importance, partition
from origin_compare.drivers.model.coding import permutations
from origin_compare.errors import NotEnoughData
from tests.drivers import OUTSIDE

FRACTION = 1e-7
"""The published fractions are printed to 8 decimals."""
MITE, SWISS = OUTSIDE / "partition_mite", OUTSIDE / "partition_swiss"


@pytest.fixture(scope="module")
def mites() -> tuple[pd.DataFrame, pd.DataFrame]:
    env = pd.read_csv(MITE / "mite_env.csv", keep_default_na=False)
    return hellinger(pd.read_csv(MITE / "mite.csv")), env


def _expected(folder: str) -> dict[str, float]:
    table = pd.read_csv(OUTSIDE / folder / "expected.csv")
    return dict(zip(table["case"] + ": " + table["quantity"], table["value"], strict=True))


def test_two_sets_give_the_published_fractions(
    mites: tuple[pd.DataFrame, pd.DataFrame],
) -> None:
    response, env = mites
    want = _expected("partition_mite")
    water, ground = env[["SubsDens", "WatrCont"]], env[["Substrate", "Shrub", "Topo"]]
    found = partition(response, {"water": water, "ground": ground}, permutations=199)
    close = pytest.approx
    assert found.own["water"] == close(
        want["mite 2 sets: a (SubsDens+WatrCont only)"], abs=FRACTION
    )
    assert found.own["ground"] == close(
        want["mite 2 sets: b (Substrate+Shrub+Topo only)"], abs=FRACTION
    )
    assert found.shared["water", "ground"] == close(want["mite 2 sets: shared"], abs=FRACTION)
    assert found.unexplained == close(want["mite 2 sets: unexplained"], abs=FRACTION)
    alone = found.unions.set_index("sets").loc["water"]
    assert alone["r2"] == close(want["mite set 1 alone: R2"], abs=FRACTION)
    assert alone["adjusted_r2"] == close(want["mite set 1 alone: adjusted R2"], abs=FRACTION)


def test_four_sets_give_the_reference_fractions(
    mites: tuple[pd.DataFrame, pd.DataFrame],
) -> None:
    """`varpart(mite.hel, ~SubsDens, ~WatrCont, ~Shrub, ~Topo)` of R's vegan, run for this test."""
    response, env = mites
    reference = pd.read_csv(MITE / "four_sets.csv").set_index("sets")["adjusted_r2"]
    sets = {name: env[[name]] for name in ("SubsDens", "WatrCont", "Shrub", "Topo")}
    found = partition(response, sets, permutations=0).table()
    found = found[found["kind"] != "unexplained"].set_index("sets")["adjusted_r2"]
    assert len(found) == len(reference) == 15
    np.testing.assert_allclose(found[reference.index], reference, atol=5e-9)


def test_the_partial_f_is_the_reference_one(mites: tuple[pd.DataFrame, pd.DataFrame]) -> None:
    """`anova(rda(mite.hel ~ SubsDens + WatrCont + Condition(Substrate + Shrub + Topo)))` of
    R's vegan prints F 7.506 on 2 and 58 degrees of freedom."""
    response, env = mites
    sets = {
        "water": env[["SubsDens", "WatrCont"]],
        "ground": env[["Substrate", "Shrub", "Topo"]],
    }
    row = partition(response, sets, permutations=0).fractions.iloc[0]
    assert (row["df"], round(row["f"], 3)) == (2, 7.506)


def test_fractions_add_to_one_and_unions_hold() -> None:
    rng = np.random.default_rng(4)
    sets = {name: rng.normal(size=(40, 2)) for name in "abc"}
    Y = rng.normal(size=(40, 3)) + np.asarray(sets["a"]) @ rng.normal(size=(2, 3))
    found = partition(Y, sets, permutations=0)
    assert found.fractions["adjusted_r2"].sum() == pytest.approx(1.0, abs=1e-12)
    unions = found.unions.set_index("sets")["adjusted_r2"]
    holding_a = found.fractions[found.fractions["sets"].str.contains("a")]["adjusted_r2"].sum()
    assert holding_a == pytest.approx(unions["a"], abs=1e-12)


def test_permutation_p_is_uniform_when_there_is_nothing() -> None:
    """At 5 %, 120 empty tables should be called significant about 6 times (binomial 1-13)."""
    rng = np.random.default_rng(11)
    called = 0
    for k in range(120):
        z = rng.normal(size=(24, 1))
        x = z + rng.normal(size=(24, 1))
        Y = z @ rng.normal(size=(1, 3)) + rng.normal(size=(24, 3))
        found = partition(Y, {"x": x, "z": z}, permutations=99, seed=k)
        called += float(found.fractions["p"].iloc[0]) <= 0.05
    assert 1 <= called <= 13


def test_whole_blocks_are_needed_for_what_is_constant_in_a_grower() -> None:
    """Ten growers, six batches each, a grower effect and a soil figure that means nothing:
    permuting rows calls it far too often, permuting whole growers does not."""
    rng = np.random.default_rng(3)
    rows = wholes = 0
    grower = np.repeat(np.arange(10), 6)
    for k in range(60):
        soil = rng.normal(size=10)[grower]
        other = rng.normal(size=60)
        Y = rng.normal(size=(10, 2))[grower] + 0.5 * rng.normal(size=(60, 2))
        sets = {"soil": soil, "other": other}
        free = partition(Y, sets, permutations=99, seed=k)
        held = partition(Y, sets, permutations=99, seed=k, blocks=list(grower))
        rows += float(free.fractions["p"].iloc[0]) <= 0.05
        wholes += float(held.fractions["p"].iloc[0]) <= 0.05
    assert rows > 20
    assert wholes <= 8


def test_blocks_keep_their_rows_together() -> None:
    rng = np.random.default_rng(0)
    blocks = ["a"] * 3 + ["b"] * 3 + ["c"] * 2
    whole = permutations(8, 200, rng, blocks, whole=True)
    assert {tuple(order[:3]) for order in whole} == {(0, 1, 2), (3, 4, 5)}
    assert (whole[:, 6:] == [6, 7]).all()
    within = permutations(8, 200, rng, blocks, whole=False)
    assert (np.sort(within[:, :3], axis=1) == [0, 1, 2]).all()
    assert len({tuple(order[:3]) for order in within}) == 6


def test_the_same_seed_gives_the_same_p() -> None:
    rng = np.random.default_rng(8)
    Y, sets = rng.normal(size=(30, 2)), [rng.normal(size=(30, 1)), rng.normal(size=(30, 2))]
    first, again = (partition(Y, sets, permutations=49, seed=5).fractions for _ in range(2))
    pd.testing.assert_frame_equal(first, again)


@pytest.mark.parametrize(
    ("sets", "says"),
    [
        ([np.ones((5, 1))], "1 set given; variation is parted among two to four."),
        (
            {"a": np.arange(4.0), "b": np.arange(5.0)},
            "The tables have unlike numbers of rows (the response 5, a 4, b 5); row by row they "
            "must match.",
        ),
        (
            {"a": np.array([1.0, np.nan, 3, 4, 5]), "b": np.arange(5.0)},
            '1 of 5 rows have an empty cell, the first in a. Fill it, or pass missing="drop" to '
            'leave such rows out. (Some readers of files take the words "None" and "NA" for '
            "empty cells.)",
        ),
    ],
)
def test_wrong_use_is_told(sets: object, says: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(says)}$"):
        partition(np.arange(5.0), sets)  # type: ignore[arg-type]


def test_more_columns_than_rows_bear() -> None:
    rng = np.random.default_rng(0)
    says = (
        "6 rows carry at most 4 columns, and all sets together has 5. "
        "Name fewer variables, or wait for more batches."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(says)}$"):
        partition(rng.normal(size=(6, 2)), [rng.normal(size=(6, 3)), rng.normal(size=(6, 3))])


def test_shares_of_r2_are_the_published_ones() -> None:
    swiss = pd.read_csv(SWISS / "swiss.csv", index_col=0)
    want = _expected("partition_swiss")
    found = importance(swiss["Fertility"], swiss.drop(columns="Fertility"))
    for name, share in found.shares.items():
        assert share == pytest.approx(want[f"swiss LMG: {name}"], abs=5e-7)
    assert found.r2 == pytest.approx(want["swiss LMG: R2"], abs=5e-7)
    assert found.shares.sum() == pytest.approx(found.r2, abs=1e-12)
    assert found.sentence().startswith(
        "Together they go with 71 % of the variation in Fertility: Education 26 % (of which "
    )


def test_what_comes_by_chance_is_what_noise_gets() -> None:
    rng = np.random.default_rng(3)
    got, said = [], []
    for _ in range(60):
        true = rng.normal(size=40)
        table = pd.DataFrame(
            {"true": true, "grower": list("abcdefgh") * 5, "x": rng.normal(size=40)}
        )
        found = importance(true + rng.normal(size=40), table)
        got.append(found.shares[["grower", "x"]].to_numpy())
        said.append(found.chance[["grower", "x"]].to_numpy())
    np.testing.assert_allclose(np.mean(said, axis=0), np.mean(got, axis=0), atol=0.02)


def test_a_factor_is_one_variable() -> None:
    rng = np.random.default_rng(2)
    table = pd.DataFrame({"grower": list("abcdef") * 5, "length_h": rng.normal(size=30)})
    found = importance(rng.normal(size=30), table)
    assert list(found.shares.index) == ["grower", "length_h"]


def test_too_many_variables_to_average() -> None:
    says = (
        "15 variables given; 1 to 14 can be averaged over their orders. "
        "Choose those that matter before looking."
    )
    with pytest.raises(ValueError, match=f"^{re.escape(says)}$"):
        importance(np.arange(40.0), np.random.default_rng(0).normal(size=(40, 15)))
