"""Every measure keeps the kind it was given, passes NaN, and names what is wrong."""

import inspect

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
