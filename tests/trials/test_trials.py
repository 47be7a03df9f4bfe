"""Next trials: known optimal designs come back, and the promised gap is the one seen."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import TTestPower

from origin_compare import house
from origin_compare.answers import Answer
from origin_compare.errors import NotEnoughData
from origin_compare.estimates import LEVEL, quantile
from origin_compare.trials import Choices, next_trials, trial_options, trial_power, trial_sizes
from origin_compare.trials.exchange import efficiency
from origin_compare.trials.settings import levels_of, outside_house, settable, weights_of
from origin_compare.trials.vessels import in_rounds
from origin_compare.trials.visible_gaps import POWER

TWO = {"length_h": [90.0, 140.0], "peak_temp_c": [28.0, 31.0], "final_ph": [3.3, 3.6]}


@pytest.mark.parametrize("seed", range(5))
def test_two_level_factorial_with_interactions_comes_back(seed: int) -> None:
    """Each of the eight corners once: orthogonal, D-efficiency 100 %."""
    found = next_trials(TWO, 8, 0.5, model="with interactions", seed=seed)
    assert isinstance(found, Answer)
    assert found.efficiency_pct == pytest.approx(100.0, abs=1e-6)
    assert len(found.table().drop(columns="order").drop_duplicates()) == 8


def test_an_eighth_of_the_factorial_serves_six_straight_lines() -> None:
    """Eight runs for six settings: a 2^(6-3) fraction, still 100 %."""
    six = {f"setting {k}": [0.0, 1.0] for k in range(6)}
    assert next_trials(six, 8, 0.5).efficiency_pct == pytest.approx(100.0, abs=1e-6)


def test_a_bend_in_one_setting_puts_a_third_in_the_middle() -> None:
    """The D-optimal quadratic on an interval: a third at each end and the middle
    (Fedorov, Theory of Optimal Experiments, 1972; from memory)."""
    found = next_trials({"length_h": np.linspace(90, 140, 11)}, 9, 0.5, model="with bends")
    assert found.runs["length_h"].value_counts().to_dict() == {90.0: 3, 115.0: 3, 140.0: 3}


def test_middle_levels_are_not_used_for_straight_lines() -> None:
    three = {"length_h": [90.0, 115.0, 140.0], "peak_temp_c": [28.0, 29.5, 31.0]}
    runs = next_trials(three, 8, 0.5).runs
    assert set(runs["length_h"]) == {90.0, 140.0}
    assert runs.groupby(["length_h", "peak_temp_c"]).size().tolist() == [2, 2, 2, 2]


def test_terms_are_told_in_words() -> None:
    settings = {"length_h": [95.0, 117.5, 140.0], "final_ph": [3.3, 3.5, 3.7]}
    assert next_trials(settings, 12, 0.5, model="with bends").told_terms() == [
        ("length", "10 h"),
        ("final pH", "0.1 pH"),
        ("length with final pH", "10 h and 0.1 pH"),
        ("bend in length", "10 h, squared"),
        ("bend in final pH", "0.1 pH, squared"),
    ]


def _lots(*names: str, most: float = np.nan) -> pd.DataFrame:
    return pd.DataFrame({"lot_id": names, "grower_id": [f"G{n[-2:]}" for n in names], "most": most})


def test_split_lots_are_balanced_over_the_settings() -> None:
    runs = next_trials(Choices(TWO, _lots("L01", "L02")), 16, 0.5, lot_sd=0.5).runs
    for name in TWO:
        counts = runs.groupby(["lot_id", name]).size()
        assert (counts == 4).all()


def test_new_batches_untie_what_was_tied() -> None:
    rng = np.random.default_rng(2)
    length = rng.uniform(95, 140, 30)
    so_far = pd.DataFrame({"length_h": length, "final_ph": 4.4 - 0.008 * length})
    settings = {"length_h": [95.0, 140.0], "final_ph": [3.28, 3.64]}
    found = next_trials(settings, 6, 0.5, so_far=so_far)
    assert found.terms["se_before"].isna().all()
    assert (found.terms["se_after"] < 0.2).all()
    along = np.sign(found.runs["length_h"] - 117.5) * np.sign(found.runs["final_ph"] - 3.46)
    assert (along > 0).all()
    assert found.n_before == 30


def test_standard_errors_are_those_of_least_squares() -> None:
    found = next_trials(TWO, 8, 0.6)
    row = found.terms.set_index("term").loc["length_h"]
    # Eight runs at the ends: sd / sqrt(8) per half range of 25 h, told per 10 h.
    assert row["se_after"] == pytest.approx(0.6 / np.sqrt(8) * 10 / 25)
    factor = stats.t.ppf(0.975, 4) + stats.t.ppf(0.8, 4)
    assert row["visible_after"] == pytest.approx(row["se_after"] * factor)


def test_the_smallest_visible_gap_is_seen_four_times_in_five() -> None:
    found = next_trials(TWO, 12, 0.5)
    row = found.terms.set_index("term").loc["length_h"]
    X = np.column_stack([np.ones(12), *(found.runs[n].to_numpy() for n in TWO)])
    X[:, 1] = (X[:, 1] - 115) / 10
    rng = np.random.default_rng(0)
    Y = row["visible_after"] * X[:, 1:2] + 0.5 * rng.normal(size=(12, 4000))
    beta, rss, *_ = np.linalg.lstsq(X, Y, rcond=None)
    se = np.sqrt(rss / 8 * np.linalg.inv(X.T @ X)[1, 1])
    seen = np.abs(beta[1]) / se > stats.t.ppf(0.975, 8)
    assert 0.77 < seen.mean() < 0.84


def test_the_order_is_drawn_and_the_seed_repeats_it() -> None:
    first, again, other = (next_trials(TWO, 8, 0.5, seed=s).runs for s in (1, 1, 2))
    pd.testing.assert_frame_equal(first, again)
    assert not first.equals(other)


def test_efficiency_of_a_known_design() -> None:
    assert efficiency(np.array([[1.0, -1], [1, 1]])) == pytest.approx(100.0)
    assert efficiency(np.array([[1.0, 0], [1, 0]])) == 0.0


@pytest.mark.parametrize(
    ("settings", "batches", "sd", "says"),
    [
        (TWO, 3, 0.5, "3 batches is outside 4 to 24."),
        (TWO, 8, 0.0, "A standard deviation of 0 is not above 0."),
        (
            {"length_h": [120.0]},
            8,
            0.5,
            "length has one level; a trial needs at least two to compare.",
        ),
        ({}, 8, 0.5, "No settings given; name at least one process variable and its levels."),
    ],
)
def test_wrong_use_is_told(
    settings: dict[str, list[float]], batches: int, sd: float, says: str
) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(says)}$"):
        next_trials(settings, batches, sd)


def test_more_terms_than_batches_bear() -> None:
    says = (
        "4 batches and 0 earlier batches cannot bear 7 terms. Ask for fewer settings or "
        "interactions, or make more."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(says)}$"):
        next_trials(TWO, 4, 0.5, model="with interactions")


def _made(seed: int, shift: float = 0.0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "season": np.repeat(["2024", "2025"], 15),
            "lot_id": np.tile(["L01", "L02", "L03"], 10),
            "length_h": rng.uniform(95, 140, 30) + shift,
            "peak_temp_c": rng.uniform(28, 31, 30),
        }
    )


LENGTH_AND_PEAK = {"length_h": [95.0, 140.0], "peak_temp_c": [28.0, 31.0]}


def test_a_harvest_of_its_own_is_never_taken_for_a_setting() -> None:
    """Earlier batches all short, so that comparing harvests would seem to tell about length: the
    new batches still go to both ends, and what is promised holds whatever the harvest does."""
    short = _made(3).assign(length_h=lambda t: 95 + (t["length_h"] - 95) / 20)
    found = next_trials(LENGTH_AND_PEAK, 12, 0.5, so_far=short)
    assert found.runs["length_h"].value_counts().to_dict() == {95.0: 6, 140.0: 6}
    rows = pd.concat([short, found.runs.assign(season="2026")], ignore_index=True)
    X = np.column_stack(
        [
            pd.get_dummies(rows["season"]).to_numpy(dtype=float),
            rows["length_h"] / 10,
            rows["peak_temp_c"],
        ]
    )
    se = 0.5 * np.sqrt(np.diag(np.linalg.inv(X.T @ X)))
    told = found.terms.set_index("term")["se_after"]
    assert told["length_h"] == pytest.approx(se[3])
    assert told["peak_temp_c"] == pytest.approx(se[4])
    before = 0.5 * np.sqrt(np.diag(np.linalg.inv(X[:30, [0, 1, 3, 4]].T @ X[:30, [0, 1, 3, 4]])))
    assert found.terms.set_index("term")["se_before"]["length_h"] == pytest.approx(before[2])


def test_barley_limits_each_lot_and_lots_are_split() -> None:
    lots = _lots("L01", "L02", "L03", "L09", most=3)
    found = next_trials(
        Choices(LENGTH_AND_PEAK, lots), 12, 0.5, so_far=_made(1), lot_sd=0.4, seed=2
    )
    told = found.by_lot.set_index("lot_id")
    assert told["batches"].max() <= 3
    assert told["batches"].sum() == 12
    assert (told["settings"] > 1).all()
    assert told["earlier"].to_dict() == {"L01": 10, "L02": 10, "L03": 10, "L09": 0}


def test_a_lot_mashed_before_bridges_the_harvests() -> None:
    """With lots far apart, only a lot made in both harvests tells a shift between them."""
    told = {}
    for names in (("L01", "L08"), ("L07", "L08")):
        choices = Choices(LENGTH_AND_PEAK, _lots(*names))
        terms = next_trials(choices, 8, 0.5, so_far=_made(1), lot_sd=2.0).terms.set_index("term")
        told[names[0]] = terms.loc["between harvests", "se_after"]
    assert told["L01"] < 0.4 * told["L07"]


def test_an_effect_that_matters_more_is_told_more_sharply() -> None:
    """Two bends cannot both be told best; the one that matters is."""
    levels = {"length_h": [90.0, 115.0, 140.0], "final_ph": [3.3, 3.45, 3.6]}
    plain = next_trials(levels, 9, 0.5, model="with bends").terms.set_index("term")
    cared = {"length_h x length_h": 20.0}
    found = next_trials(Choices(levels, weights=cared), 9, 0.5, model="with bends")
    sharper = found.terms.set_index("term")["se_after"]
    assert sharper["length_h x length_h"] < plain.loc["length_h x length_h", "se_after"]
    assert sharper["final_ph x final_ph"] >= plain.loc["final_ph x final_ph", "se_after"]
    assert "effects weighed as given" in found.rests_on()


def test_gaps_between_lots_ask_for_batches_of_every_lot() -> None:
    lots = _lots("L01", "L02", "L03", "L04")
    told = {
        weight: next_trials(
            Choices(LENGTH_AND_PEAK, lots, weights={"between lots": weight}), 12, 0.5, lot_sd=1.0
        )
        for weight in (0.0, 5.0)
    }
    assert told[5.0].by_lot["batches"].tolist() == [3, 3, 3, 3]
    gap = {
        w: plan.terms.set_index("term").loc["between lots", "se_after"] for w, plan in told.items()
    }
    assert gap[5.0] <= gap[0.0]


def test_a_weight_of_no_term_is_refused() -> None:
    says = "rain is no term of this model; it has between lots, length_h and peak_temp_c."
    with pytest.raises(ValueError, match=f"^{re.escape(says)}$"):
        next_trials(Choices(LENGTH_AND_PEAK, weights={"rain": 1.0}), 8, 0.5)


def test_weights_from_the_form_are_none_when_all_are_alike() -> None:
    wanted = pd.DataFrame(
        {"setting": ["length_h", "final_ph"], "use": [True, True], "matters": [1.0, 1.0]}
    )
    assert weights_of(wanted, "with interactions", 1.0, 0.0) is None
    assert weights_of(wanted, "with interactions", 2.0, 0.5) == {
        "length_h": 1.0,
        "final_ph": 1.0,
        "length_h x final_ph": 2.0,
        "between lots": 0.5,
    }


def test_each_round_fills_each_vessel_once_and_no_vessel_stands_in_for_a_setting() -> None:
    vessels = ["W1", "W2", "W3"]
    runs = next_trials(Choices(TWO, vessels=vessels), 12, 0.5, seed=4).runs
    assert runs.groupby("round")["vessel"].apply(sorted).tolist() == [vessels] * 4
    spread = runs.groupby("vessel")[list(TWO)].mean()
    rng = np.random.default_rng(0)
    settings = runs[list(TWO)]
    drawn = []
    for _ in range(50):
        any_way = np.concatenate([rng.permutation(3) for _ in range(4)])
        drawn.append(settings.groupby(any_way).mean()["length_h"].std())
    assert spread["length_h"].std() <= np.median(drawn)
    # A last round that is not full leaves a vessel empty, never fills one twice.
    rounds, placed = in_rounds(settings.head(8), vessels, rng)
    assert not pd.DataFrame({"round": rounds, "vessel": placed}).duplicated().any()


def test_simulated_errors_agree_with_the_formula_and_gaps_are_seen_four_times_in_five() -> None:
    lots = _lots("L01", "L08", "L09", most=4)
    plan = next_trials(Choices(LENGTH_AND_PEAK, lots), 12, 0.5, so_far=_made(1), lot_sd=0.4)
    found = trial_power(plan, 0.4, 0.3, draws=1500)
    assert isinstance(found, Answer)
    told, formula = (
        t.set_index("term").loc[list(LENGTH_AND_PEAK)] for t in (found.terms, plan.terms)
    )
    for when in ("before", "after"):
        np.testing.assert_allclose(told[f"se_{when}"], formula[f"se_{when}"], rtol=0.06)
        np.testing.assert_allclose(told[f"visible_{when}"], formula[f"visible_{when}"], rtol=0.10)
    assert "0.40 lot to lot, 0.40 batch to batch, 0.30 the panel's own error" in found.rests_on()


def test_each_choice_is_shown_with_what_it_costs() -> None:
    lots = _lots("L01", "L08", "L09", most=4)
    plan = next_trials(Choices(LENGTH_AND_PEAK, lots), 8, 0.5, so_far=_made(1), lot_sd=1.5)
    found = trial_options(plan, _made(1), cost_each=100.0)
    assert isinstance(found, Answer)
    rows = found.options.set_index("choice")
    assert list(rows.index) == [
        "as planned",
        "each lot at one setting only",
        "no lot mashed before",
    ]
    assert (rows["cost"] == 800).all()
    own, whole = rows.loc["as planned"], rows.loc["each lot at one setting only"]
    assert whole["length_h"] > own["length_h"]
    assert rows.loc["no lot mashed before", "between harvests"] > own["between harvests"]
    assert re.match(
        r"(Each lot at one setting only|No lot mashed before): the smallest ", found.sentence()
    )


def test_repeats_are_runs_of_the_plan_made_again() -> None:
    three = {name: [low, (low + high) / 2, high] for name, (low, high) in TWO.items()}
    plain = next_trials(three, 15, 0.5, model="with bends").runs
    found = next_trials(three, 15, 0.5, model="with bends", repeats=4)
    runs = found.runs.set_index("order")
    again = runs[runs["repeats"] > 0]
    assert (plain["repeats"] > 0).sum() < len(again) == 4
    for order, row in again.iterrows():
        assert row["repeats"] < order
        assert (runs.loc[row["repeats"], list(TWO)] == row[list(TWO)]).all()


def test_too_little_barley_is_said() -> None:
    says = (
        "2 lots of barley yield 6 batches at most, not 8. Ask for fewer batches, or take in more "
        "barley."
    )
    with pytest.raises(NotEnoughData, match=f"^{re.escape(says)}$"):
        next_trials(Choices(LENGTH_AND_PEAK, _lots("L01", "L02", most=3)), 8, 0.5)
    with pytest.raises(ValueError, match=r"^5 repeats of 8 batches: half at most\.$"):
        next_trials(LENGTH_AND_PEAK, 8, 0.5, repeats=5)
    twice = r"^Lot L01 is given twice; give each lot once, with all its barley\.$"
    with pytest.raises(ValueError, match=twice):
        next_trials(Choices(LENGTH_AND_PEAK, _lots("L01", "L01")), 8, 0.5)


def test_more_batches_see_smaller_slopes_and_cost_more() -> None:
    found = trial_sizes(LENGTH_AND_PEAK, 10, 0.5, cost_each=120.0)
    assert isinstance(found, Answer)
    for _, rows in found.sizes.groupby("term"):
        assert rows["batches"].is_monotonic_increasing
        assert rows["visible"].is_monotonic_decreasing
    assert 10 in set(found.sizes["batches"])
    assert (found.sizes["cost"] == 120 * found.sizes["batches"]).all()
    own = next_trials(LENGTH_AND_PEAK, 10, 0.5).terms.set_index("term")["visible_after"]
    ten = found.sizes[found.sizes["batches"] == 10].set_index("term")["visible"]
    assert ten.to_dict() == pytest.approx(own.to_dict())


def test_settings_start_at_the_house_window_or_what_was_made() -> None:
    rules = house.default_rules()
    made = _made(1).assign(final_ph=np.linspace(3.3, 3.7, 30))
    offered = settable(made, rules).set_index("setting")
    length = rules.window("length_h")
    assert (offered.loc["length_h", "lowest"], offered.loc["length_h", "highest"]) == (
        length.low,
        length.high,
    )
    # The window of final pH is open below, so its ends come from the batches made.
    low, high = np.quantile(made["final_ph"], [0.05, 0.95])
    assert offered.loc["final_ph", "lowest"] == pytest.approx(low, abs=0.006)
    assert offered.loc["final_ph", "highest"] == pytest.approx(high, abs=0.006)
    assert not offered.loc["final_ph", "use"]
    assert "pitch_temp_c" not in offered.index


def test_settings_are_read_as_levels_and_ends_the_wrong_way_are_said() -> None:
    wanted = pd.DataFrame(
        {
            "setting": ["length_h", "peak_temp_c"],
            "use": [True, False],
            "lowest": [100.0, 30.0],
            "highest": [140.0, 28.0],
            "levels": [3, 2],
        }
    )
    assert levels_of(wanted) == {"length_h": [100.0, 120.0, 140.0]}
    says = "peak temperature: the lowest has to be below the highest. Give both ends."
    with pytest.raises(ValueError, match=f"^{re.escape(says)}$"):
        levels_of(wanted.assign(use=True))


def test_a_setting_outside_the_house_window_is_said() -> None:
    rules = house.default_rules()
    assert outside_house({"length_h": [120.0, 140.0]}, rules) == []
    assert outside_house({"length_h": [100.0, 140.0]}, rules) == [
        "fermentation length 100 h is below the house window, 120 to 140 h (common practice, no "
        "source)."
    ]


@pytest.mark.parametrize("df", [6, 12, 60])
def test_the_gap_seen_four_times_in_five_is_a_librarys_power(df: int) -> None:
    wanted = TTestPower().solve_power(nobs=df + 1, alpha=0.05, power=POWER) * np.sqrt(df + 1)
    ours = quantile(0.5 + LEVEL / 2, df) + quantile(POWER, df)
    assert ours == pytest.approx(wanted, rel=0.005)
