"""Families against open datasets, even clouds, and error that hides the groups."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from sklearn.datasets import load_iris, load_wine
from sklearn.metrics import adjusted_rand_score

from origin_compare import families
from origin_compare.errors import NotEnoughData


def _frame(values: np.ndarray) -> pd.DataFrame:
    names = [f"a{column}" for column in range(values.shape[1])]
    return pd.DataFrame(values, columns=names, index=[f"B{row:03d}" for row in range(len(values))])


@dataclass
class FakeProfile:
    """A panel profile with a chosen standard error on every score."""

    mean: pd.DataFrame
    se: float
    not_told: tuple[str, ...] = ()

    @property
    def attributes(self) -> list[str]:
        return [*self.told, *self.not_told]

    @property
    def told(self) -> list[str]:
        return [name for name in self.mean.columns if name not in self.not_told]

    def wide(self) -> pd.DataFrame:
        return self.mean

    def wide_se(self, comparing: bool = False) -> pd.DataFrame:
        return self.mean * 0 + self.se

    def error_cov(self, attribute: str, comparing: bool = False) -> pd.DataFrame:
        ids = self.mean.index
        return pd.DataFrame(np.eye(len(ids)) * self.se**2, ids, ids)


def test_wine_falls_into_its_three_cultivars() -> None:
    # UCI wine recognition data as carried by scikit-learn (178 wines of 3 cultivars).
    wine = load_wine()
    found = families.find(_frame(wine.data), seed=3)
    assert found.number == 3
    assert adjusted_rand_score(wine.target, found.labels) > 0.75
    assert (found.stability > 0.75).all()


def test_iris_gives_setosa_and_the_rest() -> None:
    # Fisher's iris: two species overlap, so two families are what the measures bear.
    iris = load_iris()
    found = families.find(_frame(iris.data), seed=3)
    assert found.number == 2
    assert adjusted_rand_score(iris.target == 0, found.labels == 2) > 0.95


def test_one_even_cloud_has_no_families() -> None:
    false_alarms = 0
    for seed in range(20):
        generator = np.random.default_rng(seed)
        cloud = generator.normal(size=(50, 8)) @ generator.normal(size=(8, 8))
        false_alarms += families.find(_frame(cloud), seed=seed, resamplings=60).number > 1
    # Nominal 5 % of 20 is one; four or more would happen by chance in 1.6 % of such tests.
    assert false_alarms <= 3


def test_one_family_says_so_in_words() -> None:
    cloud = np.random.default_rng(1).normal(size=(40, 6))
    found = families.find(_frame(cloud), seed=1)
    assert found.number == 1
    assert found.sentence().startswith("No clear families: these batches form one cloud")
    assert set(found.table()["family"]) == {1}


def test_panel_error_hides_groups_it_is_larger_than() -> None:
    generator = np.random.default_rng(4)
    groups = np.repeat([[0.0] * 5, [2.2] * 5], 20, axis=0) + generator.normal(0, 0.5, (40, 5))
    clear = families.find(FakeProfile(_frame(groups), se=0.1), seed=2)  # type: ignore[arg-type]
    drowned = families.find(FakeProfile(_frame(groups), se=6.0), seed=2)  # type: ignore[arg-type]
    assert clear.number == 2
    assert (clear.stability > 0.9).all()
    assert drowned.number == 1
    # The check that refused is the one that is named.
    assert "comes back with an overlap of" in drowned.sentence()
    assert "chance alone" not in drowned.sentence()


def test_attributes_not_told_apart_are_left_out_and_named() -> None:
    generator = np.random.default_rng(4)
    profile = FakeProfile(_frame(generator.normal(size=(30, 4))), 0.2, not_told=("a3",))
    found = families.find(profile, seed=2)  # type: ignore[arg-type]
    assert list(found.used.mean.columns) == ["a0", "a1", "a2"]
    assert "Left out, as the panel cannot tell them: a3." in found.rests_on()


def test_the_same_seed_gives_the_same_answer() -> None:
    cloud = _frame(np.random.default_rng(9).normal(size=(30, 5)))
    first, second = families.find(cloud, seed=5), families.find(cloud, seed=5)
    pd.testing.assert_frame_equal(first.table(), second.table())
    assert first.p_one_family == second.p_one_family


def test_too_few_batches_is_refused_with_what_to_do() -> None:
    with pytest.raises(NotEnoughData) as refusal:
        families.find(_frame(np.eye(3)), seed=1)
    assert str(refusal.value) == (
        "Only 3 batches have a score on every attribute; 4 are needed before likeness can be "
        "judged. Score more batches."
    )
