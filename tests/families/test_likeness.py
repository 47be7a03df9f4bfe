"""Nearest batches: order, the three verdicts, and intervals that cover the true distance."""

import numpy as np
import pandas as pd
import pytest

from origin_compare import families
from origin_compare.errors import UnknownName
from tests.families.test_find import FakeProfile, _frame


def _profile(rows: list[list[float]], se: float) -> FakeProfile:
    return FakeProfile(_frame(np.array(rows)), se)


def test_order_and_verdicts() -> None:
    profile = _profile([[5, 5], [5.1, 5], [8, 5], [5.9, 5.0]], se=0.15)
    near = families.nearest(profile, "B000", margin=1.0)  # type: ignore[arg-type]
    table = near.table().set_index("batch_id")
    assert near.table()["batch_id"].tolist() == ["B001", "B003", "B002"]
    assert table.loc["B001", "verdict"] == "alike inside the margin"
    assert table.loc["B002", "verdict"] == "different"
    assert table.loc["B002", "differs_most_on"] == "a0"


def test_a_noisy_panel_cannot_tell_and_does_not_call_it_sameness() -> None:
    profile = _profile([[5, 5], [5.1, 5], [5.5, 5]], se=1.5)
    near = families.nearest(profile, "B000", margin=1.0)  # type: ignore[arg-type]
    assert set(near.table()["verdict"]) == {"cannot tell"}
    assert "for 2 the panel cannot tell" in near.sentence()


def test_the_distance_interval_covers_the_true_distance() -> None:
    # A season, not two batches: what shrinks the noise is what the other batches say of the spread.
    generator = np.random.default_rng(7)
    covered, said, true = [], [], []
    for seed in range(30):
        truth = _frame(5 + generator.normal(0, 0.4, (40, 8)))
        seen = truth + generator.normal(0, 0.4, truth.shape)
        near = families.nearest(FakeProfile(seen, 0.4), "B000", seed=seed, draws=500)  # type: ignore[arg-type]
        table = near.table().head(10).set_index("batch_id")
        distance = np.sqrt(((truth.loc[table.index] - truth.loc["B000"]) ** 2).mean(axis=1))
        covered += list((table["low"] <= distance) & (distance <= table["high"]))
        said += list(table["distance"])
        true += list(distance)
    # The ten nearest by the panel's word, where noise flatters most; 300 of them.
    assert 0.90 <= np.mean(covered) <= 0.99
    assert np.mean(said) == pytest.approx(np.mean(true), rel=0.05)


def test_batches_that_are_all_the_same_are_neither_tied_nor_far() -> None:
    generator = np.random.default_rng(3)
    same = np.full((60, 10), 5.0) + generator.normal(0, 0.5, (60, 10))
    near = families.nearest(FakeProfile(_frame(same), 0.5), "B000").table()  # type: ignore[arg-type]
    # By the panel's error alone two batches look 0.7 apart; nothing tells any two of them apart.
    assert near["distance"].max() < 0.3
    assert near["distance"].is_unique
    assert near["rank_low"].min() == 1
    assert (near["rank_high"] - near["rank_low"]).median() > 30


def test_alike_is_within_reach_and_an_open_verdict_says_how_far_off() -> None:
    generator = np.random.default_rng(6)
    truth = np.full((40, 6), 5.0) + generator.normal(0, 0.3, (40, 6))
    sharp = FakeProfile(_frame(truth + generator.normal(0, 0.15, truth.shape)), 0.15)
    table = families.nearest(sharp, "B000", margin=1.0).table()  # type: ignore[arg-type]
    assert (table["verdict"] == "alike inside the margin").any()
    blunt = FakeProfile(_frame(truth + generator.normal(0, 0.6, truth.shape)), 0.6)
    open_ = families.nearest(blunt, "B000", margin=1.0).table()  # type: ignore[arg-type]
    open_ = open_[open_["verdict"] == "cannot tell"]
    assert (open_["times_tasted"] >= 2).all()


def test_an_untasted_batch_is_named() -> None:
    with pytest.raises(UnknownName) as refusal:
        families.nearest(_frame(np.eye(5)), "B999")
    assert str(refusal.value) == (
        "Batch B999 has no full panel profile, so nothing can be called like it. "
        "Choose a batch that was tasted."
    )


def test_likeness_is_an_answer() -> None:
    near = families.nearest(_frame(np.eye(5)), "B000")
    assert isinstance(near.table(), pd.DataFrame)
    assert near.rests_on().startswith("5 attributes the panel can tell apart.")
