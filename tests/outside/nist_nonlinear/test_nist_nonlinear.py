"""The fitter against certified values (NIST Statistical Reference Datasets; see SOURCE.md)."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from origin_compare.fermentation import fit_curve, nonlinear

HERE = Path(__file__).parent
PARAMETERS = 1e-6
"""Relative; certified to 11 digits, normal equations lose about half of them on MGH09."""
DEVIATIONS = 1e-6
SUM_OF_SQUARES = 1e-8

FUNCTIONS = {
    "Misra1a": lambda x, b: b[0] * (1 - np.exp(-b[1] * x)),
    "Rat42": lambda x, b: b[0] / (1 + np.exp(b[1] - b[2] * x)),
    "Rat43": lambda x, b: b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "MGH09": lambda x, b: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
}


def test_the_copied_files_are_those_described():
    described = (HERE / "SOURCE.md").read_text(encoding="utf-8")
    files = sorted(HERE.glob("*.csv"))
    assert len(files) == 5
    for file in files:
        assert hashlib.sha256(file.read_bytes()).hexdigest() in described, file.name


@pytest.mark.parametrize("start", ["start1", "start2"])
@pytest.mark.parametrize("name", list(FUNCTIONS))
def test_certified(name: str, start: str):
    data = pd.read_csv(HERE / f"{name.lower()}.csv")
    wanted = pd.read_csv(HERE / "certified.csv").query("dataset == @name").set_index("quantity")
    names = [row for row in wanted.index if row.startswith("b")]
    assert len(names) >= 2
    fit = nonlinear(
        FUNCTIONS[name],
        data["x"].to_numpy(float),
        data["y"].to_numpy(float),
        wanted.loc[names, start].to_numpy(float),
    )
    assert fit.converged
    assert fit.parameters == pytest.approx(wanted.loc[names, "value"].to_numpy(), rel=PARAMETERS)
    deviations = wanted.loc[[f"sd({row})" for row in names], "value"].to_numpy()
    assert fit.standard_deviations == pytest.approx(deviations, rel=DEVIATIONS)
    assert fit.rss == pytest.approx(wanted.loc["RSS", "value"], rel=SUM_OF_SQUARES)
    assert fit.degrees_of_freedom == wanted.loc["degrees of freedom (n-p)", "value"]


def test_rat42_through_the_fermentation_curve():
    """Rat42 is the four-parameter form with the end at zero: turned upside down it falls, and
    the curve's own start finds the certified fit once its end is held by the data's mirror."""
    data = pd.read_csv(HERE / "rat42.csv")
    curve = fit_curve(data["x"], 80.0 - data["y"])
    free = nonlinear(
        lambda x, b: b[0] + b[1] / (1 + np.exp(-b[2] * (x - b[3]))),
        data["x"].to_numpy(float),
        80.0 - data["y"].to_numpy(float),
        np.array([8.0, 72.0, -0.067, 39.0]),
    )
    found = [curve.parameters[name] for name in ("Pe", "PD", "B", "M")]
    assert found == pytest.approx(free.parameters, rel=1e-6)
    assert [curve.standard_errors[name] for name in ("Pe", "PD", "B", "M")] == pytest.approx(
        free.standard_deviations, rel=1e-5
    )
