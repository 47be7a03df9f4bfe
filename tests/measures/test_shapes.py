"""Every measure keeps the kind it was given, passes NaN, and names what is wrong."""

import inspect
import re

import numpy as np
import pandas as pd
import pytest

from origin_compare import measures
from origin_compare.errors import OriginCompareError

INSIDE = {
    "sg": 1.05,
    "og_sg": 1.06,
    "fg_sg": 1.002,
    "limit_sg": 1.001,
    "wort_sg": 1.06,
    "plato": 12.0,
    "temp_c": 25.0,
    "temp_f": 70.0,
    "abv_pct": 40.0,
    "fraction": 0.333,
    "density": 950.0,
    "volume_l": 100.0,
    "wort_l": 100.0,
    "water_l": 10.0,
    "lpa": 40.0,
    "malt_kg": 100.0,
    "predicted_lpa_t": 410.0,
    "extract_pct_dm": 80.0,
    "fermentability_pct": 86.0,
    "moisture_pct": 4.5,
    "yeast_kg": 2.0,
    "from_c": 68.0,
    "to_c": 21.0,
    "kettle_c": 68.0,
    "pitch_c": 21.0,
    "end_c": 29.0,
    "protein_pct": 10.0,
    "n_pct": 1.5,
    "as_is_pct": 76.0,
    "dm_pct": 80.0,
    "l_deg_kg": 305.0,
    "calibrated_c": 15.56,
    "mass": 7.0,
    "wanted_pct": 15.0,
    "per_t": 400.0,
    "extract_pct": 79.0,
    "uk_proof": 70.0,
    "proof_gallons": 10.0,
    "value": 1.05,
}
FUNCTIONS = sorted(name for name in measures.__all__ if inspect.isfunction(getattr(measures, name)))


def _call(name: str, turn) -> object:
    measure = getattr(measures, name)
    given = {}
    for parameter in inspect.signature(measure).parameters:
        if parameter == "unit":
            given[parameter] = "sg"
        else:
            given[parameter] = turn(INSIDE[parameter])
    return measure(**given)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_number_gives_a_number(name: str) -> None:
    assert type(_call(name, float)) is float


@pytest.mark.parametrize("name", FUNCTIONS)
def test_arrays_give_the_same_numbers_in_the_same_shape(name: str) -> None:
    one = _call(name, float)
    grid = _call(name, lambda value: np.full((2, 3), value))
    assert isinstance(grid, np.ndarray) and grid.shape == (2, 3)
    assert grid == pytest.approx(np.full((2, 3), one), rel=1e-9)
    assert _call(name, lambda value: np.empty(0)).shape == (0,)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_series_keep_their_index_and_nan(name: str) -> None:
    one = _call(name, float)
    column = _call(name, lambda value: pd.Series([value, np.nan], index=["B1", "B2"], name="x"))
    assert isinstance(column, pd.Series)
    assert list(column.index) == ["B1", "B2"]
    assert column.name is None
    assert column["B1"] == pytest.approx(one, rel=1e-9)
    assert np.isnan(column["B2"])


@pytest.mark.parametrize("name", FUNCTIONS)
def test_nan_alone_stays_nan(name: str) -> None:
    assert np.isnan(_call(name, lambda value: float("nan")))


@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_docstring_says_what_is_refused(name: str) -> None:
    text = inspect.getdoc(getattr(measures, name)) or ""
    said = (
        "ValueError",
        "Ranges and errors",
        "ranges and errors",
        "same errors",
        "ranges and errors hold",
    )
    assert any(word in text for word in said), text


def test_missing_values_of_every_kind() -> None:
    assert np.isnan(measures.sg_to_plato(None))
    assert np.isnan(measures.sg_to_plato(pd.NA))
    nullable = pd.Series([1.05, pd.NA], dtype="Float64")
    assert measures.sg_to_plato(nullable).isna().tolist() == [False, True]
    empty = pd.Series([None, None], dtype=object)
    assert measures.sg_to_plato(empty).isna().all()


def test_whole_numbers_and_lists_are_taken() -> None:
    assert measures.litres_of_alcohol(100, 50) == 50
    assert measures.sg_to_plato([1.05, 1.06]).shape == (2,)


def test_a_series_with_a_number_and_with_an_array() -> None:
    og = pd.Series([1.06, 1.065])
    assert measures.wash_abv(og, 1.0).index.equals(og.index)
    mixed = measures.wash_abv(og, np.array([1.0, 1.001]))
    assert isinstance(mixed, pd.Series) and mixed[1] == measures.wash_abv(1.065, 1.001)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: measures.sg_to_plato("1,065"), "sg: '1,065' is not a number"),
        (
            lambda: measures.sg_to_plato(pd.Series(["1.05", "x"])),
            "sg: this column holds text, not only numbers",
        ),
        (
            lambda: measures.wash_abv(pd.Series([1.06]), pd.Series([1.0], index=[7])),
            "og_sg and fg_sg: their rows do not carry the same index",
        ),
        (
            lambda: measures.sg_to_plato(np.array([1.05, 1.2, 1.3])),
            "sg: 1.2 is outside 0.980 to 1.140 (place 2 of 3; 2 such in all)",
        ),
    ],
)
def test_what_cannot_be_taken_is_named(call, message) -> None:
    with pytest.raises(ValueError) as caught:
        call()
    assert str(caught.value) == message
    assert isinstance(caught.value, OriginCompareError)


def test_the_input_is_left_alone() -> None:
    column = pd.Series([1.05, 1.06])
    array = np.array([1.05, 1.06])
    measures.sg_at_20c(column, 25.0)
    measures.abv_from_density(array * 900, 20.0)
    assert column.tolist() == array.tolist() == [1.05, 1.06]


GRAVITIES, SHARE, WATER, SPIRIT = (0.98, 1.14), (0.0, 100.0), (0.0, 40.0), (-20.0, 40.0)
ENDS = {
    "fraction": (0.0, 1.0),
    **dict.fromkeys(["sg", "og_sg", "fg_sg", "limit_sg", "wort_sg", "value"], GRAVITIES),
    **dict.fromkeys(["abv_pct", "extract_pct_dm", "fermentability_pct", "protein_pct"], SHARE),
    **dict.fromkeys(["as_is_pct", "dm_pct", "extract_pct"], SHARE),
    **dict.fromkeys(["from_c", "to_c", "kettle_c", "pitch_c", "end_c"], SHARE),
    **dict.fromkeys(["volume_l", "wort_l", "water_l", "lpa", "yeast_kg", "mass"], (0.0, 1e12)),
    **dict.fromkeys(["per_t", "proof_gallons"], (0.0, 1e12)),
    **dict.fromkeys(["malt_kg", "predicted_lpa_t"], (1e-6, 1e12)),
    **dict.fromkeys(["moisture_pct", "wanted_pct"], (0.0, 99.99)),
    "calibrated_c": WATER,
    "temp_f": (-459.67, 1e6),
    "n_pct": (0.0, 16.0),
    "l_deg_kg": (0.0, 386.0),
    "uk_proof": (0.0, 175.0),
    "plato": (-5.2734, 32.2525),
}
"""What each figure may be, ends included, by the docstrings."""
OTHER_ENDS = {
    **{(name, "temp_c"): WATER for name in ("water_density", "sg_at_20c")},
    **{(name, "temp_c"): SPIRIT for name in ("abv_from_density", "ethanol_density")},
    **{(name, "temp_c"): SPIRIT for name in ("litres_at_20c", "strength_at")},
    ("c_to_f", "temp_c"): (-273.15, 1e6),
    ("apparent_attenuation", "og_sg"): (1.0001, 1.14),
    ("real_attenuation", "og_sg"): (1.0001, 1.14),
    **{(name, "moisture_pct"): SHARE for name in ("brewhouse_yield", "predicted_spirit_yield")},
    ("yeast_g_per_l", "wort_l"): (1e-6, 1e12),
}


def _refused(name: str, parameter: str, value: float) -> str:
    """What is said of `value` for one figure, the others being as usual; empty where it passes."""
    measure = getattr(measures, name)
    given = {one: INSIDE.get(one, "sg") for one in inspect.signature(measure).parameters}
    try:
        measure(**(given | {parameter: value}))
    except ValueError as wrong:
        said = str(wrong)
        named = "value" if name == "sg_to_gravity" else parameter
        return said if said.startswith(f"{named}: {value:.10g} is ") else ""
    return ""


@pytest.mark.parametrize(
    ("name", "parameter"),
    [
        (name, parameter)
        for name in FUNCTIONS
        for parameter in inspect.signature(getattr(measures, name)).parameters
        if parameter not in ("unit", "density")  # a density by its temperature: test_alcohol
    ],
)
def test_a_range_ends_where_its_docstring_says(name: str, parameter: str) -> None:
    low, high = OTHER_ENDS.get((name, parameter)) or ENDS[parameter]
    step = max(1e-6, 1e-4 * (high - low)) if high < 1e5 else 1e-3
    below = 0.0 if low == 1e-6 else low - step
    assert _refused(name, parameter, below), f"{below} passes"
    if high < 1e12:
        assert _refused(name, parameter, high + step), f"{high + step} passes"
    else:
        assert _refused(name, parameter, float("inf")), "infinity passes"
    for end in (low, high):
        assert not re.search("outside|below|not above", _refused(name, parameter, end))
