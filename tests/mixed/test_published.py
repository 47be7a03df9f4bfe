"""Agreement with published fits; sources, versions and reasons for tolerances in tests/outside."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from origin_compare.mixed import MixedFit, fit
from tests.mixed.published import read, wanted

CRITERION_ABS = 1e-4
SD_REL = 1e-4
FIXED_REL = 1e-6
SE_REL = 1e-4
DF_REL = 1e-2
P_REL = 5e-3
"""p is a power of t in the tails: a relative error of 1e-5 in t grows about a hundredfold."""
INTERVAL_REL = 1e-3

CASES = {
    "penicillin": ("diameter", "1", ["plate", "sample"], "diameter ~ 1; groups plate, sample"),
    "pastes": (
        "strength",
        "1",
        ["sample", "batch"],
        "strength ~ 1; groups batch, sample (=batch:cask)",
    ),
    "movement": (
        "Sharpnessofmovement",
        "TVset*Picture",
        ["Assessor", "Assessor:TVset"],
        "Sharpnessofmovement ~ TVset*Picture; groups Assessor, Assessor:TVset",
    ),
    "noise": (
        "Noise",
        "TVset*Picture",
        ["Assessor", "Assessor:TVset"],
        "Noise ~ TVset*Picture; groups Assessor, Assessor:TVset",
    ),
}
TEXT = {"Assessor": str, "Picture": str, "Repeat": str, "cask": str}


def fitted(name: str) -> tuple[MixedFit, pd.DataFrame, str]:
    case = name if name in {"penicillin", "pastes"} else "tvbo"
    response, fixed, groups, model = CASES[name]
    answer = fit(read(case, f"{case}.csv", dtype=TEXT), response, fixed, groups)
    return answer, read(case, "expected.csv"), model


def our_term(term: str) -> str:
    """R's name of a coefficient in our spelling."""
    if term == "(Intercept)":
        return "Intercept"
    return ":".join(_our_part(part) for part in term.split(":"))


def _our_part(part: str) -> str:
    for factor in ("TVset", "Picture", "still"):
        if part.startswith(factor) and part != factor:
            return f"{factor}[T.{part.removeprefix(factor)}]"
    return part


@pytest.mark.parametrize("name", CASES)
def test_criterion_and_sds(name: str) -> None:
    answer, expected, model = fitted(name)
    value = wanted(expected, model=model, quantity="reml_criterion").iloc[0]
    assert_allclose(answer.criterion.iloc[0], value, rtol=0, atol=CRITERION_ABS)
    sds = answer.components.set_index("group")["sd"].rename({"residual": "Residual"})
    published = wanted(expected, model=model, quantity="sd")
    assert set(published.index) == set(sds.index)
    for group, sd in published.items():
        # Where the exact optimum is zero an optimiser prints a small number instead.
        assert_allclose(sds[str(group)], sd, rtol=SD_REL, atol=1e-4 if name == "noise" else 0)


def test_a_zero_variance_is_exactly_zero_and_said() -> None:
    answer, _, _ = fitted("noise")
    assert answer.components.set_index("group").loc["Assessor:TVset", "variance"] == 0.0
    assert answer.status.to_dict() == {"Noise": "boundary"}
    assert answer.notes["note"].tolist() == ["The variance of Assessor:TVset is estimated as zero."]


@pytest.mark.parametrize("name", CASES)
def test_fixed_effects(name: str) -> None:
    answer, expected, model = fitted(name)
    table = answer.fixed.set_index("term")
    for column, quantity, tolerance in (
        ("estimate", "Estimate", FIXED_REL),
        ("se", "Std. Error", SE_REL),
        ("df", "df", DF_REL),
        ("t", "t value", SE_REL),
        ("p", "Pr(>|t|)", P_REL),
    ):
        published = wanted(expected, model=model, quantity=quantity)
        published.index = pd.Index([our_term(term) for term in published.index])
        assert list(published.index) == list(table.index)
        assert_allclose(table[column], published, rtol=tolerance, err_msg=quantity)


@pytest.mark.parametrize("name", ["movement", "noise"])
def test_type_three_tests(name: str) -> None:
    answer, expected, _ = fitted(name)
    table = answer.anova().set_index("term")
    model = f"type III anova {CASES[name][0]}"
    for column, quantity, tolerance in (
        ("F", "F", SE_REL),
        ("df", "DenDF", DF_REL),
        ("p", "p", P_REL),
    ):
        published = wanted(expected, model=model, quantity=quantity)
        assert_allclose(table.loc[published.index, column], published, rtol=tolerance)


def test_profile_intervals_of_penicillin() -> None:
    answer, expected, _ = fitted("penicillin")
    table = answer.intervals().set_index("term")
    names = {".sig01": "plate", ".sig02": "sample", ".sigma": "residual"}
    for side, quantity in (("low", "lower"), ("high", "upper")):
        published = wanted(expected, model="profile 95% interval", quantity=quantity)
        ours = table.loc[[names.get(t, "Intercept") for t in published.index], side]
        assert_allclose(ours, published, rtol=INTERVAL_REL)


# An unbalanced season: every figure of the fit, for three responses at once.

RESPONSES = ["fruity", "cereal", "sulphur"]
GROUPS = ["grower", "batch", "assessor", "assessor:batch"]


@pytest.fixture(scope="module")
def season() -> tuple[MixedFit, pd.DataFrame]:
    data = read("season", "season.csv")
    return fit(data, RESPONSES, "peak_temp_c + still", GROUPS), read("season", "expected.csv")


@pytest.mark.parametrize("response", RESPONSES)
def test_season_estimates(season: tuple[MixedFit, pd.DataFrame], response: str) -> None:
    answer, expected = season
    criterion = wanted(expected, response=response, quantity="criterion").iloc[0]
    assert_allclose(answer.criterion[response], criterion, rtol=0, atol=1e-6)
    own = answer.components[answer.components["response"] == response].set_index("group")
    published = wanted(expected, response=response, quantity="sd").rename({"Residual": "residual"})
    assert_allclose(own.loc[published.index, "sd"], published, rtol=1e-5)
    table = answer.fixed[answer.fixed["response"] == response].set_index("term")
    for column, quantity, tolerance in (
        ("estimate", "Estimate", 1e-6),
        ("se", "Std. Error", 1e-5),
        ("df", "df", 1e-3),
        ("p", "Pr(>|t|)", 1e-4),
    ):
        published = wanted(expected, response=response, quantity=quantity)
        assert_allclose(
            table.loc[[our_term(t) for t in published.index], column], published, rtol=tolerance
        )
    tests = answer.anova().query("response == @response").set_index("term")
    for column, quantity, tolerance in (("F", "F value", 1e-5), ("df", "DenDF", 1e-3)):
        published = wanted(expected, response=response, quantity=quantity)
        assert_allclose(tests.loc[published.index, column], published, rtol=tolerance)


@pytest.mark.parametrize("response", RESPONSES)
@pytest.mark.parametrize("group", GROUPS)
def test_season_modes(season: tuple[MixedFit, pd.DataFrame], response: str, group: str) -> None:
    answer, expected = season
    modes = answer.effects(group).query("response == @response").set_index("level")
    for column, quantity in (("estimate", "mode"), ("se", "se")):
        published = wanted(expected, response=response, quantity=f"{quantity} {group}")
        size = float(np.abs(published).max())
        assert_allclose(modes.loc[published.index, column], published, rtol=0, atol=1e-5 * size)
    assert (modes["prediction_se"] >= modes["se"] * (1 - 1e-12)).all()


def test_season_intervals(season: tuple[MixedFit, pd.DataFrame]) -> None:
    answer, expected = season
    table = answer.intervals().query("response == 'fruity'").set_index("term")
    for side in ("low", "high"):
        published = wanted(expected, response="fruity", quantity=side)
        for name, value in published.items():
            plain = str(name).removeprefix("sd_(Intercept)|")
            ours = table[side].to_dict()["residual" if plain == "sigma" else our_term(plain)]
            assert_allclose(ours, value, rtol=1e-3, atol=1e-3, err_msg=f"{side} {name}")
