from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import curve_fit

from origin_compare.fermentation import fit_curve, fit_curves

HOURS = np.arange(0.0, 136.0, 8.0)
TRUE = {"Pe": 1.001, "PD": 0.064, "B": -0.15, "M": 30.0}


def course(hours: np.ndarray, end=1.001, fall=0.064, rate=-0.15, middle=30.0, power=1.0):
    return end + fall / (1 + np.exp(-rate * (hours - middle))) ** power


def test_a_known_curve_comes_back_and_b_is_negative_when_gravity_falls():
    curve = fit_curve(HOURS, course(HOURS))
    assert curve.status == "ok"
    for name, value in TRUE.items():
        assert curve.parameters[name] == pytest.approx(value, rel=1e-8), name
    assert curve.parameters["B"] < 0


def test_landmarks_are_those_of_the_curve_itself():
    curve = fit_curve(HOURS, course(HOURS, power=0.7), form="five")
    assert curve.parameters["s"] == pytest.approx(0.7, rel=1e-6)
    fine = np.linspace(-50, 150, 400_001)
    line = curve.at(fine)
    slope = np.gradient(line, fine)
    steepest = slope.argmin()
    assert curve.max_rate_deg_h == pytest.approx(-1000 * slope[steepest], rel=1e-4)
    assert curve.max_rate_at_h == pytest.approx(fine[steepest], abs=0.05)
    start = 1.001 + 0.064
    meets = fine[steepest] + (start - line[steepest]) / slope[steepest]
    assert curve.lag_h == pytest.approx(meets, abs=0.05)
    done = fine[np.argmax(line <= 1.001 + 0.1 * 0.064)]
    assert curve.hour_90_pct == pytest.approx(done, abs=0.01)
    assert curve.level_h == pytest.approx(fine[np.argmax(line <= 1.001 + 0.001)], abs=0.01)
    told = curve.figures().set_index("what")["value"]
    assert told["asymmetry s"] == pytest.approx(0.7, rel=1e-6)
    assert told["lag, h"] == curve.lag_h


@pytest.mark.parametrize(
    ("written", "unit", "end"),
    [
        (lambda sg: sg, "SG", 1.001),
        (lambda sg: 1000 * sg, "SG x 1000", 1001.0),
        (lambda sg: 1000 * (sg - 1), "degrees", 1.0),
    ],
)
def test_every_way_of_writing_gravity_gives_one_curve(written, unit, end):
    curve = fit_curve(HOURS, written(course(HOURS)))
    assert curve.unit == unit
    assert curve.parameters["Pe"] == pytest.approx(end, abs=1e-6)
    assert curve.terminal_sg == pytest.approx(1.001, abs=1e-9)
    assert curve.at([30.0]) == pytest.approx(written(course(np.array([30.0]))))


def test_errors_agree_with_an_outside_fitter():
    noisy = course(HOURS) + np.random.default_rng(5).normal(0, 0.0005, len(HOURS))
    curve = fit_curve(HOURS, noisy)
    found, covariance = curve_fit(course, HOURS, noisy, p0=[1.0, 0.06, -0.1, 35.0])[:2]
    names = ("Pe", "PD", "B", "M")
    assert [curve.parameters[n] for n in names] == pytest.approx(found, rel=1e-4)
    errors = np.sqrt(np.diag(covariance))
    assert [curve.standard_errors[n] for n in names] == pytest.approx(errors, rel=1e-2)


@pytest.mark.parametrize(
    ("hours", "sg", "status", "reason"),
    [
        (
            HOURS[:4],
            course(HOURS[:4]),
            "not_identified",
            "4 readings at different hours, at least 5 are needed",
        ),
        (HOURS, np.full(len(HOURS), 1.065), "not_identified", "gravity moved by only 0.0 degrees"),
        (
            np.array([0.0, 4, 8, 80, 90, 100]),
            np.array([65, 65, 65, 1, 1, 1]) / 1000 + 1,
            "not_identified",
            "too few readings on the steep part to say how fast it fell",
        ),
        (
            HOURS[:6],
            course(HOURS[:6]),
            "boundary",
            "the readings end before the fall does, so the end is a guess",
        ),
    ],
)
def test_what_readings_cannot_bear_is_said(hours, sg, status, reason):
    curve = fit_curve(hours, sg)
    assert curve.status == status
    if status == "not_identified":
        assert np.isnan(curve.lag_h)
        assert curve.sentence().startswith("No curve can be drawn through these readings: ")
    # an exact step is refused either as open or as too steep to see
    assert curve.reason in (
        reason,
        "different curves go through these readings equally well",
    )


def test_wrong_input_is_refused_in_words():
    with pytest.raises(
        ValueError, match=r"^hours has shape \(3,\), gravity \(2,\): give two lists"
    ):
        fit_curve([1, 2, 3], [1.06, 1.05])
    with pytest.raises(ValueError, match=r"^No reading has both an hour and a gravity: nothing"):
        fit_curve([1.0, np.nan], [np.nan, 1.06])


def test_many_batches_at_once_equal_one_at_a_time():
    rng = np.random.default_rng(2)
    rows = []
    for batch in range(12):
        hours = np.sort(rng.uniform(0, 130, rng.integers(9, 18)))
        sg = course(hours, middle=rng.uniform(25, 40)) + rng.normal(0, 0.0004, len(hours))
        rows.append(pd.DataFrame({"batch_id": f"B{batch}", "hours": hours, "sg": sg}))
    together = fit_curves(pd.concat(rows, ignore_index=True)).set_index("batch_id")
    assert len(together) == 12
    for log in rows:
        alone, name = fit_curve(log["hours"], log["sg"]), log["batch_id"].iloc[0]
        assert together.loc[name, "status"] == alone.status
        assert together.loc[name, "midpoint_h"] == pytest.approx(alone.parameters["M"], rel=1e-6)
        if alone.status in ("ok", "boundary"):
            assert together.loc[name, "lag_h"] == pytest.approx(alone.lag_h, rel=1e-5)


def test_five_parameters_only_where_the_evidence_asks():
    rng = np.random.default_rng(8)
    hours = np.arange(0.0, 130.0, 4.0)
    even = [
        fit_curve(hours, course(hours) + rng.normal(0, 3e-4, len(hours)), "evidence").form
        for _ in range(40)
    ]
    skew = [
        fit_curve(
            hours, course(hours, power=0.3) + rng.normal(0, 3e-4, len(hours)), "evidence"
        ).form
        for _ in range(40)
    ]
    assert even.count("five") <= 10
    assert skew.count("five") >= 38
