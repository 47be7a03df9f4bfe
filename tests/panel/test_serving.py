"""Serving plans: the balance of Williams squares, codes, sittings, refusals."""

import re

import numpy as np
import pytest

from origin_compare.panel import plan_tasting, serving_plan
from origin_compare.panel.tastings.williams import balance, efficiency, williams_rows


@pytest.mark.parametrize("samples", range(2, 13))
def test_each_sample_in_each_place_and_after_each_other_equally_often(samples: int) -> None:
    rows = williams_rows(samples)
    assert len(rows) == (samples if samples % 2 == 0 else 2 * samples)
    times = len(rows) // samples
    for place in range(samples):
        assert (np.bincount(rows[:, place], minlength=samples) == times).all()
    after = np.zeros((samples, samples), dtype=int)
    np.add.at(after, (rows[:, :-1].ravel(), rows[:, 1:].ravel()), 1)
    assert (after[~np.eye(samples, dtype=bool)] == times).all()


@pytest.mark.parametrize(("samples", "assessors", "replicates"), [(4, 8, 1), (5, 5, 2), (6, 9, 2)])
def test_a_whole_plan_keeps_the_balance(samples: int, assessors: int, replicates: int) -> None:
    names = [f"B{i}" for i in range(samples)]
    plan = serving_plan(names, assessors, replicates, seed=4)
    assert list(plan.columns) == ["assessor_id", "replicate", "position", "sample", "code"]
    assert len(plan) == samples * assessors * replicates
    places = plan.groupby(["position", "sample"]).size()
    assert places.nunique() == 1
    following = plan.assign(
        before=plan.groupby(["assessor_id", "replicate"])["sample"].shift()
    ).dropna()
    pairs = following.groupby(["before", "sample"]).size()
    assert len(pairs) == samples * (samples - 1)
    assert pairs.nunique() == 1


def test_near_balance_where_the_numbers_do_not_divide() -> None:
    plan = plan_tasting([f"B{i}" for i in range(6)], 10, 1, seed=2)
    assert plan.evenness.position_span <= 1
    assert plan.evenness.neighbour_span <= 1
    assert "nearly even" in plan.sentence()


def test_codes_are_three_digits_and_unique() -> None:
    plan = serving_plan(list("abcdef"), 12, 2, seed=1)
    assert plan["code"].between(100, 999).all()
    assert plan["code"].is_unique
    crowded = serving_plan(list("abcdefgh"), 30, 4, seed=1)
    assert crowded.groupby("code")["sample"].nunique().max() == 1
    assert not crowded.duplicated(["assessor_id", "code"]).any()


def test_the_seed_decides() -> None:
    first, again, other = (serving_plan(list("abcd"), 5, 2, seed) for seed in (1, 1, 2))
    assert first.equals(again)
    assert not first.equals(other)


def test_more_samples_than_a_sitting_are_spread_with_the_efficiency_shown() -> None:
    names = [f"B{i}" for i in range(12)]
    plan = plan_tasting(names, 10, 2, seed=3, per_sitting=5, control="K")
    key = plan.key
    assert key.groupby(["assessor_id", "replicate", "sitting"]).size().max() <= 5
    seen = key[key["sample"].ne("K")].groupby(["assessor_id", "replicate"])["sample"]
    assert (seen.nunique() == 12).all()
    controls = key[key["sample"].eq("K")]
    assert len(controls) == 10 * 2 * 3
    assert set(controls["sample_kind"]) == {"control"}
    assert 0.7 < plan.evenness.efficiency < 1
    assert f"efficiency {100 * plan.evenness.efficiency:.0f} %" in plan.sentence()
    assert plan.evenness.together_span <= 6
    assert "sitting" in serving_plan(names, 3, 1, 0, per_sitting=5).columns


def test_efficiency_of_a_balanced_incomplete_block_is_the_textbook_one() -> None:
    # all pairs of 4 samples: v = 4, k = 2, E = v (k - 1) / (k (v - 1)) = 2/3
    pairs = [np.array([i, j]) for i in range(4) for j in range(i)]
    assert efficiency(pairs, 4) == pytest.approx(2 / 3)
    assert balance(pairs, 4).together_span == 0
    apart = [np.array([0, 1]), np.array([2, 3])]
    assert efficiency(apart, 4) == 0.0


def test_sheets_name_no_sample_and_the_key_stays_apart() -> None:
    plan = plan_tasting(
        ["B01", "B02", "B03"],
        ["A07", "A03"],
        2,
        seed=9,
        duplicates=["B02"],
        warm_up="W1",
        attributes=["floral", "sour"],
    )
    sheet = plan.sheet("A03")
    assert list(sheet.columns) == [
        "tasting_id",
        "assessor_id",
        "sitting",
        "position",
        "code",
        "floral",
        "sour",
    ]
    assert len(sheet) == 10
    text = plan.sheets().to_csv()
    assert not any(name in text for name in ("B01", "B02", "B03", "W1"))
    first = plan.key[plan.key["position"].eq(1)]
    assert set(first["sample_kind"]) == {"warm-up"}
    wanted = "assessor_id: A99 is not served here. Choose from A03 and A07."
    with pytest.raises(ValueError, match=f"^{re.escape(wanted)}$"):
        plan.sheet("A99")
    for caution in ("20 % vol", "Nose first", "spit", "limits", "no reason of health"):
        assert caution in plan.rests_on()


def test_printed_sheet_and_key_are_apart_and_run_no_formula() -> None:
    plan = plan_tasting(["=B1", "B02"], 2, 1, seed=1, attributes=["+floral"], tasting_id="T3")
    text = plan.sheet_text("A01")
    assert text.startswith("# Tasting T3, assessor A01, scale 0-10\n# Cut new make to about 20 %")
    assert "B1" not in text
    assert "B02" not in text
    assert text.splitlines()[-3] == "tasting_id,assessor_id,sitting,position,code,'+floral"
    key = plan.key_text()
    assert key.startswith("# KEY of tasting T3: for the one who pours, not for the panel\n")
    assert ",'=B1,batch," in key


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (
            {"samples": ["a", "a", "b"]},
            "samples: a named twice. Name each once; ask for hidden duplicates with `duplicates`.",
        ),
        ({"samples": ["a"]}, "samples: 1 sample given. Serve at least two."),
        (
            {"assessors": []},
            "assessors: none given. Name each assessor once, at least one.",
        ),
        ({"replicates": 0}, "replicates: 0 is below 1."),
        (
            {"per_sitting": 2, "control": "K"},
            "per_sitting: 2 leaves no room for two samples beside the control. "
            "Serve more glasses in a sitting.",
        ),
        ({"duplicates": ["z"]}, "duplicates: z not among the samples."),
        (
            {"control": "a"},
            "control: a is also a sample. Leave it out of the samples; as control it is served "
            "in every sitting.",
        ),
    ],
)
def test_a_plan_that_cannot_be_is_refused_in_words(given: dict, words: str) -> None:
    asked = {"samples": ["a", "b", "c"], "assessors": 4, **given}
    with pytest.raises(ValueError, match=f"^{re.escape(words)}$"):
        plan_tasting(**asked)


@pytest.mark.parametrize(("samples", "room", "rounds"), [(9, 3, 4), (8, 4, 7)])
def test_balanced_incomplete_blocks_are_found_where_they_exist(
    samples: int, room: int, rounds: int
) -> None:
    """Nine in threes over four rounds, eight in fours over seven: the known balanced designs.

    Cochran and Cox, Experimental Designs, 2nd ed. 1957, plans 11.1 and 11.2 (from memory); the
    efficiency of a balanced design is v (k - 1) / (k (v - 1)).
    """
    names = [f"B{i}" for i in range(samples)]
    for seed in range(5):
        found = plan_tasting(names, rounds, 1, seed, per_sitting=room).evenness
        assert found.together_span == 0
        assert found.efficiency == pytest.approx(samples * (room - 1) / (room * (samples - 1)))
