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
    generator = np.random.default_rng(7)
    truth = np.array([[5.0] * 8, [6.0] * 8])
    covered = 0
    for seed in range(200):
        seen = truth + generator.normal(0, 0.4, truth.shape)
        near = families.nearest(
            FakeProfile(_frame(seen), 0.4),
            "B000",
            seed=seed,
            draws=400,  # type: ignore[arg-type]
        )
        low, high = near.table().loc[0, ["low", "high"]]
        covered += low <= 1.0 <= high
    assert covered >= 180


def test_error_is_taken_out_of_the_distance() -> None:
    generator = np.random.default_rng(3)
    same = np.full((60, 10), 5.0) + generator.normal(0, 0.5, (60, 10))
    near = families.nearest(FakeProfile(_frame(same), 0.5), "B000").table()  # type: ignore[arg-type]
    raw = pd.Series(((same[1:] - same[0]) ** 2).mean(axis=1), _frame(same).index[1:])
    shown = near[near["distance"] > 0].set_index("batch_id")["distance"] ** 2
    # Two scores, each with the variance 0.25, differ by 0.5 in the square by error alone.
    assert (raw[shown.index] - shown).to_numpy() == pytest.approx(0.5)


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
