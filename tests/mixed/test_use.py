"""Using a fit: predictions, simulation, bootstrap, intervals, and refusals."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.mixed import MixedFit, fit
from tests.mixed.seasons import GROUPS, season

BOTH = ["fruity", "cereal"]


@pytest.fixture(scope="module")
def answer() -> MixedFit:
    return fit(season(21, batches=16, missed=0.1), BOTH, "peak_temp_c + still", GROUPS)


def test_predictions_are_fixed_part_plus_modes(answer: MixedFit) -> None:
    table = season(21, batches=16, missed=0.1)
    beta = answer.fixed.query("response == 'fruity'")["estimate"].to_numpy()
    mean = beta[0] + beta[1] * table["peak_temp_c"] + beta[2] * (table["still"] == "wash")
    assert_allclose(answer.predict(table, [])["fruity"], mean, rtol=1e-9)
    cell = table["assessor"] + ":" + table["batch"]
    whole = mean
    for group, level in [(g, table[g]) for g in GROUPS[:3]] + [(GROUPS[3], cell)]:
        modes = answer.effects(group).query("response == 'fruity'").set_index("level")["estimate"]
        whole = whole + level.map(modes)
    assert_allclose(answer.predict(table)["fruity"], whole, rtol=1e-9)


def test_unseen_levels_are_refused_by_name_or_given_the_mean(answer: MixedFit) -> None:
    new = season(21, batches=16).head(3).assign(grower=["G00", "G77", "G88"])
    with pytest.raises(UnknownName) as refusal:
        answer.predict(new)
    assert str(refusal.value) == (
        "The fit never saw grower G77 and G88. "
        "Ask with unseen='mean' to give such rows the population mean."
    )
    given = answer.predict(new, ["grower"], unseen="mean")
    assert_allclose(given.iloc[1:], answer.predict(new, []).iloc[1:])
    assert not np.isclose(given["fruity"].iloc[0], answer.predict(new, [])["fruity"].iloc[0])


def test_an_unseen_level_of_a_fixed_factor_is_always_refused(answer: MixedFit) -> None:
    new = season(21, batches=16).head(2).assign(still=["wash", "column"])
    with pytest.raises(UnknownName) as refusal:
        answer.predict(new, [], unseen="mean")
    assert str(refusal.value) == (
        "The fit never saw still column: a fixed effect has no mean to fall back on."
    )


def test_predicting_with_wrong_words_is_refused(answer: MixedFit) -> None:
    table = season(21)
    for call, kind, said in (
        (
            lambda: answer.predict(table, ["vat"]),
            UnknownName,
            "The fit has no group vat. It has grower, batch, assessor and assessor:batch.",
        ),
        (
            lambda: answer.predict(table, unseen="guess"),
            ValueError,
            "unseen is 'guess': say 'refuse' or 'mean'.",
        ),
        (
            lambda: answer.predict(table.drop(columns="still")),
            UnknownName,
            "The new rows have no column still.",
        ),
        (
            lambda: answer.predict(table.drop(columns="batch")),
            UnknownName,
            "The new rows have no column batch.",
        ),
        (
            lambda: answer.effects("vat"),
            UnknownName,
            "The fit has no group 'vat'. It has grower, batch, assessor and assessor:batch.",
        ),
        (
            lambda: answer.intervals(95),
            ValueError,
            "level is 95: give a share between 0 and 1, such as 0.95.",
        ),
        (
            lambda: answer.bootstrap(1, draws=0),
            ValueError,
            "draws is 0: give at least 1, usually 200 or more.",
        ),
    ):
        with pytest.raises(kind) as refusal:
            call()
        assert str(refusal.value) == said


def test_simulation_repeats_with_its_seed(answer: MixedFit) -> None:
    first, again, other = answer.simulate(3), answer.simulate(3), answer.simulate(4)
    pd.testing.assert_frame_equal(first, again)
    assert not np.allclose(first, other)
    assert list(first.index) == list(season(21, batches=16, missed=0.1).index)


def test_bootstrap_spreads_as_the_standard_errors_say(answer: MixedFit) -> None:
    many = answer.bootstrap(seed=5, draws=300)
    assert many.draws["draw"].nunique() == 300
    spread = many.draws.query("kind == 'fixed'").groupby(["response", "term"])["value"].std()
    se = answer.fixed.set_index(["response", "term"])["se"]
    # Of 300 draws a standard deviation is known to about 4 %; four of those.
    assert_allclose(spread[se.index], se, rtol=0.17)
    ends = many.table()
    assert (ends["low"] <= ends["median"]).all()
    assert (ends["median"] <= ends["high"]).all()
    assert many.sentence().startswith("Simulated and fitted again 300 times: ")
    pd.testing.assert_frame_equal(many.draws, answer.bootstrap(seed=5, draws=300).draws)


def test_wider_levels_give_wider_intervals(answer: MixedFit) -> None:
    narrow, wide = answer.intervals(0.8), answer.intervals(0.99)
    assert list(wide.columns) == ["response", "kind", "term", "estimate", "low", "high"]
    assert (wide["low"] <= narrow["low"]).all()
    assert (wide["high"] > narrow["high"]).all()
    inside = narrow["kind"] == "fixed"
    assert (narrow["low"] < narrow["estimate"])[inside].all()


REFUSALS = {
    "no such response": (
        ("smoky", "1", ["batch"]),
        UnknownName,
        "The table has no column 'smoky'. It has grower, batch, assessor, peak_temp_c, still, "
        "fruity and cereal.",
    ),
    "no such group": (
        ("fruity", "1", ["assessor:vat"]),
        UnknownName,
        "The table has no column 'vat'. It has grower, batch, assessor, peak_temp_c, still, "
        "fruity and cereal.",
    ),
    "no such covariate": (
        ("fruity", "peak_temp", ["batch"]),
        UnknownName,
        "The table has no column 'peak_temp'. It has grower, batch, assessor, peak_temp_c, still, "
        "fruity and cereal.",
    ),
    "no response": (
        ([], "1", ["batch"]),
        ValueError,
        "responses is empty: name at least one column to explain.",
    ),
    "no group": (
        ("fruity", "1", []),
        ValueError,
        "groups is empty: name at least one group, such as ['batch'].",
    ),
    "two sides": (
        ("fruity", "fruity ~ still", ["batch"]),
        ValueError,
        "fixed is 'fruity ~ still': give the right-hand side only, such as '1 + pitch_temp_c'.",
    ),
    "no fixed column": (
        ("fruity", "0", ["batch"]),
        ValueError,
        "The fixed part '0' names no column: write '1' for a mean alone, "
        "or columns joined by +, such as 'peak_temp_c + still'.",
    ),
    "no formula": (
        ("fruity", "still:", ["batch"]),
        ValueError,
        "The fixed part 'still:' cannot be read as a formula. "
        "Write columns joined by +, such as 'peak_temp_c + still'.",
    ),
    "logarithm of zero": (
        ("fruity", "np.log(0 * peak_temp_c)", ["batch"]),
        ValueError,
        "The fixed part 'np.log(0 * peak_temp_c)' is not a finite number everywhere in "
        "np.log(0 * peak_temp_c): check for logarithms of zero or divisions by zero.",
    ),
    "text as response": (
        ("still", "1", ["batch"]),
        ValueError,
        "Column 'still' holds no numbers (str): only numbers can be explained.",
    ),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_refusals_say_what_and_what_next(name: str) -> None:
    call, kind, said = REFUSALS[name]
    with pytest.raises(kind) as refusal:
        fit(season(22), *call)
    assert str(refusal.value) == said


def test_data_that_cannot_answer() -> None:
    table = season(23).assign(same="one", flat=4.0)
    table["exact"] = 2 * table["peak_temp_c"] + 1
    for call, said in (
        (
            ("fruity", "1", ["same", "batch"]),
            "Group 'same' has one level only (one): its variance needs at least two. "
            "Leave the group out.",
        ),
        (
            ("flat", "1", ["batch"]),
            "flat is 4 in every row: there is no difference to explain. Leave it out.",
        ),
        (
            ("exact", "peak_temp_c", ["batch"]),
            "exact is explained by the fixed part without rest: nothing is left to share out. "
            "Is it computed from a fixed term?",
        ),
        (
            ("fruity", "same", ["batch"]),
            "Column 'same' of the fixed part has one level only (one): "
            "it cannot be compared with anything. Leave it out.",
        ),
        (
            ("fruity", "batch", ["batch"]),
            "No group can be told apart in this design (batch from the fixed part): "
            "repeats are needed, or fewer fixed terms.",
        ),
    ):
        with pytest.raises(NotEnoughData) as refusal:
            fit(table, *call)
        assert str(refusal.value) == said
    with pytest.raises(NotEnoughData) as refusal:
        fit(table.assign(grower=None), "fruity", "1", ["grower"])
    assert str(refusal.value) == (
        "No complete row is left of 120 rows: 120 rows with grower missing."
    )
    few = table.head(3).assign(batch=["B1", "B2", "B2"])
    with pytest.raises(NotEnoughData) as refusal:
        fit(few, "fruity", "peak_temp_c + cereal", ["batch"])
    assert "3 rows with a value cannot carry" in str(refusal.value)
