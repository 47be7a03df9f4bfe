"""The cut as covariate between batches: textbook identities, planted slopes, refusals."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from origin_compare.errors import NotEnoughData
from origin_compare.panel import Profile, adjusted, at_one_cut
from tests.answers import owed
from tests.panel.invented import SDS, panel

SLOPE = -0.5


def season(
    seed: int, slope: float = SLOPE, batches: int = 24, attributes: int = 2
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Scores of batches and their cuts; attribute 1 goes with the cut, attribute 2 does not."""
    sds = {**SDS, "batch": 0.5}
    scores, _ = panel(seed, batches, 6, per_tasting=6, attributes=attributes, sds=sds)
    random = np.random.default_rng(seed)
    names = sorted(set(scores["batch_id"]) - {"control"})
    cut = pd.Series(random.normal(63.0, 1.2, len(names)), names)
    moved = scores["batch_id"].map(slope * (cut - 63)).fillna(0.0)
    score = scores["score"] + moved.where(scores["attribute"].eq("attribute 1"), 0.0)
    table = pd.DataFrame({"batch_id": names, "cut_on_abv_pct": 72.0, "cut_off_abv_pct": cut})
    return scores.assign(score=score), table.reset_index(drop=True)


@pytest.fixture(scope="module")
def asked() -> tuple[Profile, pd.DataFrame]:
    scores, batches = season(4)
    return adjusted(scores), batches


def test_a_planted_slope_is_found_and_no_other(asked: tuple[Profile, pd.DataFrame]) -> None:
    profile, batches = asked
    found = at_one_cut(profile, batches)
    owed(found)
    table = found.table().set_index("attribute")
    assert table["goes_with"].to_dict() == {"attribute 1": True, "attribute 2": False}
    row = table.loc["attribute 1"]
    assert row["low"] < SLOPE < row["high"] < 0
    assert found.constant == ("cut_on_abv_pct",)
    assert found.sentence() == (
        f"With the strength of the cut goes attribute 1 ({row['slope']:+.2f} points per % vol of "
        f"cut-off); profiles stand at cut-off {batches['cut_off_abv_pct'].mean():.1f} % vol."
    )
    assert "24 batches, each counting once; 2 slopes allowed for all of them." in found.rests_on()
    assert found.rests_on().endswith(" Cut-on hardly changed.")


def test_at_the_mean_cut_nothing_of_the_cut_is_left(asked: tuple[Profile, pd.DataFrame]) -> None:
    profile, batches = asked
    found = at_one_cut(profile, batches)
    cut = batches.set_index("batch_id")["cut_off_abv_pct"]
    slope = found.slopes.set_index("attribute").loc["attribute 1", "slope"]
    moved = profile.wide()["attribute 1"] - found.wide()["attribute 1"]
    np.testing.assert_allclose(moved, slope * (cut - cut.mean()).loc[moved.index])
    nearest = (cut - cut.mean()).abs().idxmin()
    own = found.estimates.set_index(["attribute", "batch_id"]).loc[("attribute 1", nearest)]
    assert own["se"] == pytest.approx(profile.wide_se().loc[nearest, "attribute 1"], rel=0.02)


def test_slopes_are_those_of_generalised_least_squares(
    asked: tuple[Profile, pd.DataFrame],
) -> None:
    """With the spread between batches found, statsmodels' GLS gives the same slope and error."""
    profile, batches = asked
    row = at_one_cut(profile, batches).slopes.set_index("attribute").loc["attribute 2"]
    y = profile.wide()["attribute 2"]
    x = sm.add_constant(batches.set_index("batch_id")["cut_off_abv_pct"].loc[y.index])
    noise = profile.error_cov("attribute 2").to_numpy()

    def fitted(between: float) -> object:
        return sm.GLS(y, x, sigma=noise + between * np.eye(len(y))).fit(cov_type="fixed scale")

    def restricted(between: float) -> float:
        cov = noise + between * np.eye(len(y))
        fit = fitted(between)
        information = x.T @ np.linalg.solve(cov, x)
        rest = fit.resid @ np.linalg.solve(cov, fit.resid)
        return float(np.linalg.slogdet(cov)[1] + np.linalg.slogdet(information)[1] + rest)

    grid = np.linspace(0.2, 2.0, 721)
    best = fitted(grid[int(np.argmin([restricted(one) for one in grid]))])
    assert row["slope"] == pytest.approx(best.params.iloc[1], rel=1e-3)
    assert row["se"] == pytest.approx(best.bse.iloc[1], rel=5e-3)


def test_too_little_of_a_cut_is_refused(asked: tuple[Profile, pd.DataFrame]) -> None:
    profile, batches = asked
    for table, many, which in (
        (batches.assign(cut_off_abv_pct=63.0), 24, "none"),
        (batches.head(9), 9, "cut-off"),
    ):
        wanted = (
            f"{many} tasted batches with a cut on record, of which {which} changed by more than "
            "0.5 % vol: what goes with the cut cannot be told. 10 batches are needed for each cut "
            "that changed."
        )
        with pytest.raises(NotEnoughData, match=f"^{re.escape(wanted)}$"):
            at_one_cut(profile, table)
    assert at_one_cut(profile, batches.iloc[2:]).left_out == ("B001", "B002")


def test_intervals_of_slopes_hold_the_truth() -> None:
    held = []
    for seed in range(30):
        scores, batches = season(100 + seed, slope=0.3, batches=12, attributes=1)
        row = at_one_cut(adjusted(scores), batches).slopes.iloc[0]
        held.append(row["low"] < 0.3 < row["high"])
    assert np.mean(held) > 0.85
