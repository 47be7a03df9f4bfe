"""The two figures of the chain draw what the answers hold, at sizes that follow the shares."""

from __future__ import annotations

import pytest

from origin_compare import figures
from origin_compare.chain.steps import chain_of, grower_chain
from origin_compare.season.join import build_season
from origin_compare.season.season import Season
from tests.chain.stills import A_THIRD_AT_30, rules, runs_of
from tests.store import small


def texts(figure: object) -> list[str]:
    return [note.text for note in figure.layout.annotations]  # type: ignore[attr-defined]


@pytest.mark.parametrize("dark", [False, True])
def test_boxes_are_as_wide_as_shares(dark: bool) -> None:
    view = chain_of(build_season(small.sheets(), rules("by grower")), "B3")
    figure = figures.chain(view, dark)
    first, second = figure.layout.shapes[:2]
    assert first.x1 - first.x0 == pytest.approx(0.75 - 0.012)
    assert second.x1 - second.x0 == pytest.approx(0.25 - 0.012)
    assert "its alcohol" not in figure.layout.yaxis.ticktext, "not distilled yet"
    dashed = [shape for shape in figure.layout.shapes if shape.line.dash == "dash"]
    assert len(dashed) == int((~view.steps["there"]).sum())


def test_the_alcohol_row_runs_from_least_to_most() -> None:
    view = chain_of(runs_of(["A"] * 20 + ["B"], rules("not stated", **A_THIRD_AT_30)), "B21")
    figure = figures.chain(view)
    assert "its alcohol" in figure.layout.yaxis.ticktext
    ends = [shape.x1 for shape in figure.layout.shapes if shape.opacity is not None]
    assert ends == pytest.approx([1 - 0.006, 16 / 26 - 0.006], abs=1e-6)
    assert "<b>B</b> &nbsp; 61 to 100 %, from least to most" in texts(figure)


@pytest.mark.parametrize("dark", [False, True])
def test_bands_join_lots_malts_and_batches(dark: bool) -> None:
    view = grower_chain(build_season(small.sheets(), rules("by grower")), "G1")
    figure = figures.grower_chain(view, dark)
    bands = [shape for shape in figure.layout.shapes if shape.type == "path"]
    # L1 to M1 to B1 and B3, L1 to M2 to B2, L2 to M2 to B2: four ways, each of two bands.
    assert len(bands) == 8
    drawn = texts(figure)
    for name in ("L1", "L2", "M1", "M2"):
        assert f"<b>{name}</b>" in drawn
    assert "<b>B3</b><br>75% of its malt; alcohol 75 %" in drawn
    assert "other growers" in drawn


def test_a_lot_not_mashed_and_a_grower_without_lots() -> None:
    season = build_season(small.sheets(), rules("by grower"))
    idle = figures.grower_chain(grower_chain(season, "G2"))
    assert "<b>L4</b>" in texts(idle)
    assert texts(figures.grower_chain(grower_chain(season, "G9"))) == ["lot", "malting", "batch"]


def test_the_demo_s_mixed_batch_and_its_growers(demo_season: Season) -> None:
    view = chain_of(demo_season, "Q25-09")
    assert view.sentence().startswith("Batch Q25-09 is mixed from several growers")
    assert view.purity.of == "G09" and not view.purity.single_origin
    assert view.account.flags == ()
    ways = grower_chain(demo_season, "G09").ways
    assert ways["malt_id"].nunique() == ways["batch_id"].nunique() == 4
