"""Published tasting data through the intake: every figure arrives, the published means hold."""

from __future__ import annotations

import csv
import hashlib
from pathlib import Path

import pandas as pd
import pytest

from origin_compare.house import default_rules
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.plan import IntakePlan, plan_intake

HERE = Path(__file__).parent
CELL_MEAN_TOLERANCE = 1e-9
"""Means of figures with one decimal, against effects printed with 13 digits."""

INTERCEPT_TOLERANCE = 5e-5
"""The published intercept is printed with four decimals."""

SHARPNESS = {
    "(Intercept)": 9.125,
    "TV2": -1.18125,
    "TV3": 0.2625,
    "2": -1.04375,
    "3": -1.40625,
    "4": 0.9,
    "TV2:2": 2.6,
    "TV3:2": 0.74375,
    "TV2:3": 2.45,
    "TV3:3": -1.475,
    "TV2:4": 0.93125,
    "TV3:4": 0.49375,
}
"""lmerTest's fixed effects of Sharpnessofmovement: sets against TV1, pictures against 1."""

LONG = ReadingPlan(
    "scores",
    {"diameter": "score", "plate": "assessor_id", "sample": "batch_id"},
    constants={"tasting_id": "D1", "attribute": "diameter"},
)


def taken(name: str, content: bytes, remembered: ReadingPlan) -> IntakePlan:
    return plan_intake([(name, content)], default_rules(), [remembered])


def wide_map() -> ReadingPlan:
    with (HERE / "tvbo.csv").open(newline="") as file:
        headers = next(csv.reader(file))
    keys = {
        "Assessor": "assessor_id",
        "TVset": "batch_id",
        "Repeat": "replicate",
        "Picture": "tasting_id",
    }
    return ReadingPlan("scores", {header: keys.get(header, "attribute") for header in headers})


def test_the_files_are_those_the_figures_belong_to() -> None:
    source = (HERE / "SOURCE.md").read_text()
    for name in ("penicillin.csv", "tvbo.csv"):
        assert hashlib.sha256((HERE / name).read_bytes()).hexdigest() in source


def test_a_long_sheet_under_foreign_headers() -> None:
    planned = taken("penicillin.csv", (HERE / "penicillin.csv").read_bytes(), LONG)
    assert planned.is_clean and planned.account["good"].tolist() == [144]
    scores = planned.sheets["scores"]
    assert len(scores) == 144
    assert scores["score"].mean() == pytest.approx(22.9722, abs=INTERCEPT_TOLERANCE)
    assert set(scores["attribute"]) == {"diameter"} and set(scores["replicate"]) == {1}
    crossed = scores.groupby(["assessor_id", "batch_id"]).size()
    assert len(crossed) == 24 * 6 and (crossed == 1).all()


def test_a_wide_sheet_under_foreign_headers() -> None:
    planned = taken("tvbo.csv", (HERE / "tvbo.csv").read_bytes(), wide_map())
    assert planned.is_clean and planned.account["good"].tolist() == [192]
    scores = planned.sheets["scores"]
    assert len(scores) == 8 * 3 * 4 * 2 * 15
    sharpness = scores[scores["attribute"] == "sharpnessofmovement"]
    means = sharpness.pivot_table(index="batch_id", columns="tasting_id", values="score")
    for tv in ("TV1", "TV2", "TV3"):
        for picture in ("1", "2", "3", "4"):
            parts = ("(Intercept)", tv, picture, f"{tv}:{picture}")
            published = sum(SHARPNESS.get(part, 0.0) for part in parts)
            assert means.loc[tv, picture] == pytest.approx(published, abs=CELL_MEAN_TOLERANCE)


def test_every_figure_of_the_wide_sheet_arrives_once() -> None:
    scores = taken("tvbo.csv", (HERE / "tvbo.csv").read_bytes(), wide_map()).sheets["scores"]
    keys = ["assessor_id", "batch_id", "replicate", "tasting_id", "attribute"]
    raw = pd.read_csv(HERE / "tvbo.csv", dtype={"Assessor": "str", "Picture": "str"})
    wanted = raw.melt(id_vars=["Assessor", "TVset", "Repeat", "Picture"], value_name="wanted")
    wanted.columns = pd.Index([*keys, "wanted"])
    wanted["attribute"] = wanted["attribute"].str.casefold()
    both = scores.astype({"replicate": "int64"}).merge(wanted, on=keys, validate="one_to_one")
    assert len(both) == len(scores) == len(wanted)
    assert (both["score"] == both["wanted"]).all()


def test_a_figure_changed_on_the_way_is_noticed() -> None:
    text = (HERE / "penicillin.csv").read_text().replace('27,"a","A"', '17,"a","A"', 1)
    scores = taken("penicillin.csv", text.encode(), LONG).sheets["scores"]
    assert scores["score"].mean() != pytest.approx(22.9722, abs=INTERCEPT_TOLERANCE)
