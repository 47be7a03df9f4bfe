"""The demo's panel, whose habits are known: what was planted is found, what was not is not."""

import json

import pytest

import origin_compare as oc
from origin_compare import places
from origin_compare.panel import Performance, assess


@pytest.fixture(scope="module")
def truth() -> dict:
    return json.loads((places.demo_folder().parent / "truth.json").read_text())


@pytest.fixture(scope="module")
def report() -> Performance:
    return assess(oc.load_folder(places.demo_folder()).sheets["scores"])


def test_attributes_without_differences_are_not_told_apart(
    report: Performance, truth: dict
) -> None:
    told = set(report.profile.told)
    assert told < set(truth["attributes"])
    assert not told & set(truth["no_batch_differences"])
    assert len(told) >= len(truth["attributes"]) - len(truth["no_batch_differences"]) - 2


def test_the_poor_assessor_is_named_alone(report: Performance, truth: dict) -> None:
    poor = truth["panel"]["poor_assessor"]
    assert f"; {poor} is sound on fewer than half" in report.sentence()
    own = report.assessors.set_index("assessor_id")
    assert own["sound"].idxmin() == poor


def test_spread_of_scores_follows_the_planted_one(report: Performance, truth: dict) -> None:
    found = report.assessors.set_index("assessor_id")["spread_slope"]
    for who, planted in truth["panel"]["assessor_spread"].items():
        assert found[who] == pytest.approx(planted, abs=0.2)


def test_the_true_profile_is_met_as_well_as_the_panel_says(
    report: Performance, truth: dict
) -> None:
    wide = report.profile.wide()
    true = {one["batch_id"]: one["profile"] for one in truth["batches"]}
    said = report.profile.wide_se(comparing=True)
    for attribute in report.profile.told:
        off = wide[attribute] - [true[batch][attribute] for batch in wide.index]
        z = (off - off.mean()) / said[attribute]
        assert 0.6 < float((z**2).mean() ** 0.5) < 1.5
