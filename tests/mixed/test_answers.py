"""What a fit says about itself, and agreement with other ways of reaching the same figures."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from numpy.testing import assert_allclose

from origin_compare.mixed import fit
from tests.answers import owed
from tests.mixed.seasons import GROUPS, season

BOTH = ["fruity", "cereal"]


def test_one_row_per_response_group_and_term() -> None:
    answer = fit(season(1), BOTH, "peak_temp_c", GROUPS)
    assert list(answer.criterion.index) == BOTH
    assert list(answer.components.columns) == ["response", "group", "variance", "sd"]
    assert list(answer.components["group"]) == [*GROUPS, "residual"] * 2
    assert list(answer.fixed.columns) == ["response", "term", "estimate", "se", "df", "t", "p"]
    assert list(answer.fixed["term"]) == ["Intercept", "peak_temp_c"] * 2
    owed(answer)
    assert list(answer.table()["response"]) == BOTH
    cells = answer.effects("assessor:batch")
    assert list(cells.columns) == [
        *("response", "group", "level", "assessor", "batch"),
        *("estimate", "se", "prediction_se"),
    ]
    assert len(cells) == 2 * 60
    first = cells.iloc[0].to_dict()
    assert (first["level"], first["assessor"], first["batch"]) == ("A00:B000", "A00", "B000")


def test_the_sentence_and_what_it_rests_on() -> None:
    table = season(1)
    table.loc[3, "grower"] = None
    table.loc[[5, 6], "peak_temp_c"] = np.nan
    table["fruity"] = np.random.default_rng(4).normal(size=len(table))
    answer = fit(table, "fruity", "peak_temp_c", ["batch", "grower"])
    assert answer.rests_on() == (
        "Rests on 117 rows of 120 given: 12 levels of batch and 4 levels of grower. "
        "Left out: 1 row with grower missing, 2 rows with peak_temp_c missing."
    )
    shares = answer.components["variance"] / answer.components["variance"].sum()
    assert answer.sentence() == (
        "Of the variance of fruity beyond the fixed part: "
        f"{shares[0]:.0%} batch, {shares[1]:.0%} grower, {shares[2]:.0%} residual. "
        "Read the notes on fruity first (boundary)."
    )


def test_balanced_data_give_the_analysis_of_variance_estimators() -> None:
    """Two-way crossed with repeats, mean squares by hand (Searle, Casella and McCulloch, 4.3)."""
    B, A, R = 9, 6, 3
    table = season(5, B, A, R)
    y = table["fruity"].to_numpy().reshape(B, A, R)
    cell, batch, assessor, mean = y.mean(2), y.mean((1, 2)), y.mean((0, 2)), y.mean()
    ms_error = ((y - cell[..., None]) ** 2).sum() / (B * A * (R - 1))
    both = cell - batch[:, None] - assessor[None, :] + mean
    ms_both = R * (both**2).sum() / ((B - 1) * (A - 1))
    ms_batch = A * R * ((batch - mean) ** 2).sum() / (B - 1)
    ms_assessor = B * R * ((assessor - mean) ** 2).sum() / (A - 1)
    answer = fit(table, "fruity", "1", ["batch", "assessor", "assessor:batch"])
    expected = {
        "batch": (ms_batch - ms_both) / (A * R),
        "assessor": (ms_assessor - ms_both) / (B * R),
        "assessor:batch": (ms_both - ms_error) / R,
        "residual": ms_error,
    }
    assert min(expected.values()) > 0
    found = answer.components.set_index("group")["variance"].to_dict()
    for group, variance in expected.items():
        assert_allclose(found[group], variance, rtol=1e-9, err_msg=group)
    # Satterthwaite's df of the mean of a balanced nested layout are exact: batches less one.
    alone = fit(table, "fruity", "1", ["batch"]).fixed
    assert_allclose(alone["df"], B - 1, rtol=1e-6)


@pytest.mark.parametrize("missed", [0.0, 0.25])
def test_one_grouping_agrees_with_another_library(missed: float) -> None:
    table = season(6, missed=missed)
    ours = fit(table, "fruity", "peak_temp_c + still", ["batch"])
    theirs = smf.mixedlm("fruity ~ peak_temp_c + still", table, groups="batch").fit(
        reml=True, method=["lbfgs"]
    )
    assert_allclose(ours.criterion["fruity"], -2 * theirs.llf, atol=1e-4)
    factors_first = ["Intercept", "still[T.wash]", "peak_temp_c"]
    fixed = ours.fixed.set_index("term").loc[factors_first]
    assert_allclose(fixed["estimate"], theirs.fe_params, rtol=1e-4)
    assert_allclose(fixed["se"], theirs.bse_fe, rtol=1e-4)
    held = ours.components.set_index("group")["variance"]
    assert_allclose(held["batch"], theirs.cov_re.iloc[0, 0], rtol=1e-3)
    assert_allclose(held["residual"], theirs.scale, rtol=1e-4)
    modes = ours.effects("batch").set_index("level")["estimate"]
    found = pd.Series({batch: mode.iloc[0] for batch, mode in theirs.random_effects.items()})
    assert_allclose(modes[found.index], found, rtol=1e-3, atol=1e-4)


def test_missing_cells_of_one_response_leave_the_others_alone() -> None:
    table = season(7, responses=("a", "b", "c"))
    table.loc[:30, "a"] = np.nan
    table.loc[20:50, "b"] = np.nan
    together = fit(table, ["a", "b", "c"], "peak_temp_c", GROUPS)
    assert together.n_rows.to_dict() == {"a": 89, "b": 89, "c": 120}
    assert "31 rows without a value left out." in together.notes["note"].tolist()
    ends = together.intervals().set_index("response")
    for name in ("a", "b", "c"):
        alone = fit(table.dropna(subset=[name]), name, "peak_temp_c", GROUPS)
        both = pd.concat([together.criterion[[name]], alone.criterion])
        assert_allclose(both.iloc[0], both.iloc[1], rtol=1e-12)
        own = together.effects("batch").query("response == @name")
        assert_allclose(own["estimate"], alone.effects("batch")["estimate"], atol=1e-8)
        assert own["level"].tolist() == alone.effects("batch")["level"].tolist()
        assert_allclose(ends.loc[[name], "high"], alone.intervals()["high"], rtol=1e-4)


def test_the_order_of_rows_and_of_groups_does_not_matter() -> None:
    table = season(8, missed=0.2)
    first = fit(table, "fruity", "still", GROUPS)
    mixed_up = fit(table.sample(frac=1, random_state=1), "fruity", "still", GROUPS[::-1])
    assert_allclose(first.criterion, mixed_up.criterion, rtol=1e-12)
    for group in GROUPS:
        a = first.effects(group).set_index("level")["estimate"]
        b = mixed_up.effects(group).set_index("level")["estimate"]
        assert_allclose(a, b[a.index], rtol=1e-6, atol=1e-8)


@pytest.mark.parametrize(("shift", "stretch"), [(1e6, 1.0), (0.0, 1e-8), (-300.0, 1e5)])
def test_units_do_not_matter(shift: float, stretch: float) -> None:
    table = season(9, missed=0.1)
    table["moved"] = shift + stretch * table["fruity"]
    answer = fit(table, ["fruity", "moved"], "peak_temp_c", GROUPS)
    sds = answer.components.pivot(index="group", columns="response", values="sd")
    assert_allclose(sds["moved"], stretch * sds["fruity"], rtol=1e-6)
    df = answer.fixed.pivot(index="term", columns="response", values="df")
    assert_allclose(df["moved"], df["fruity"], rtol=1e-5)


def test_groups_that_cannot_be_told_apart_say_where_their_variance_went() -> None:
    table = season(10, replicates=1).assign(vat=lambda d: "V" + d["batch"])
    answer = fit(table, "fruity", "1", ["batch", "vat", "assessor", "assessor:batch"])
    assert answer.status.to_dict() == {"fruity": "not_identified"}
    assert answer.notes["note"].tolist() == [
        "vat cannot be told apart from batch in this design: its variance is part of batch.",
        "assessor:batch cannot be told apart from residual in this design: "
        "its variance is part of residual.",
    ]
    held = answer.components.set_index("group")["variance"]
    assert held[["vat", "assessor:batch"]].isna().all()
    without = fit(table, "fruity", "1", ["batch", "assessor"])
    kept = without.components.set_index("group")["variance"]
    assert_allclose(held[kept.index], kept, rtol=1e-9)
    assert answer.effects("vat")["estimate"].isna().all()
    assert answer.intervals().query("term == 'vat'")["high"].isna().all()


def test_a_group_that_is_a_fixed_factor_too_is_named() -> None:
    answer = fit(season(11), "fruity", "grower", GROUPS)
    assert answer.notes["note"].tolist() == [
        "grower cannot be told apart from the fixed part in this design: "
        "its variance is part of the fixed part."
    ]


def test_aliased_terms_are_dropped_by_name() -> None:
    table = season(12).assign(peak_temp_f=lambda d: 32 + 1.8 * d["peak_temp_c"])
    answer = fit(table, "fruity", "peak_temp_c + peak_temp_f", GROUPS)
    assert list(answer.fixed["term"]) == ["Intercept", "peak_temp_c"]
    assert answer.notes["note"].tolist() == [
        "Dropped from the fixed part, since others already say it: peak_temp_f."
    ]
    assert_allclose(answer.criterion, fit(table, "fruity", "peak_temp_c", GROUPS).criterion)
    assert list(answer.anova()["term"]) == ["peak_temp_c"]
    assert len(answer.predict(table)) == len(table)


def test_repeats_that_agree_exactly_are_not_converged_and_give_no_intervals() -> None:
    table = season(13)
    table["fruity"] = table.groupby(["batch", "assessor"])["fruity"].transform("mean").round(1)
    answer = fit(table, BOTH, "1", GROUPS)
    assert answer.status.to_dict()["fruity"] == "not_converged"
    assert answer.notes.loc[0, "note"] == (
        "The search did not settle, so these numbers are not to be used: "
        "repeats that agree exactly, or too few levels, are the usual reasons."
    )
    ends = answer.intervals().set_index("response")
    assert ends.loc[["fruity"], ["low", "high"]].isna().to_numpy().all()
    assert ends.loc[["cereal"], ["low", "high"]].notna().to_numpy().all()


def test_a_term_of_one_column_has_f_equal_to_t_squared() -> None:
    answer = fit(season(14, missed=0.1), BOTH, "peak_temp_c + still", GROUPS)
    t = answer.fixed[answer.fixed["term"] != "Intercept"]
    F = answer.anova()
    assert F["df_term"].tolist() == [1] * 4
    assert_allclose(F["F"], t["t"] ** 2, rtol=1e-9)
    assert_allclose(F["df"], t["df"], rtol=1e-9)
    assert_allclose(F["p"], t["p"], rtol=1e-6)


def test_empty_cells_of_an_interaction_still_get_tests() -> None:
    table = season(15)
    table = table[~((table["grower"] == "G01") & (table["still"] == "wash"))]
    answer = fit(table, "fruity", "still*grower", ["batch", "assessor"])
    assert "still[T.wash]:grower[T.G01]" in answer.notes["note"].iloc[0]
    assert answer.anova()["term"].tolist() == ["still", "grower", "still:grower"]
    assert answer.anova()["df_term"].tolist() == [1, 3, 2]


def test_pandas_categories_set_the_base_level() -> None:
    table = season(16)
    table["still"] = pd.Categorical(table["still"], ["wash", "spirit"])
    answer = fit(table, "fruity", "still", GROUPS)
    assert list(answer.fixed["term"]) == ["Intercept", "still[T.spirit]"]


def test_plain_formulas_equal_what_the_formula_library_makes_of_them() -> None:
    table = season(17).assign(length_h=lambda d: 130 + d["cereal"] / 7)
    plain = fit(table, "fruity", "peak_temp_c + length_h", GROUPS)
    spelled = fit(table, "fruity", "1 + {peak_temp_c} + {length_h}", GROUPS)
    assert plain.design.fixed.spec is None
    assert spelled.design.fixed.spec is not None
    assert plain.formula == "peak_temp_c + length_h"
    assert_allclose(plain.criterion, spelled.criterion, rtol=1e-12)
    assert_allclose(plain.fixed["estimate"], spelled.fixed["estimate"], rtol=1e-9)
    assert_allclose(plain.predict(table), spelled.predict(table), rtol=1e-9)
