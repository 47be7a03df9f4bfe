"""The sparse equations of the profile against whole matrices and against the general engine."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from origin_compare import mixed
from origin_compare.panel import adjusted
from origin_compare.panel.profile import batch_test as batch_test_module
from origin_compare.panel.profile.batch_effects import Solution, solve
from origin_compare.panel.profile.batch_test import batch_test
from origin_compare.panel.profile.components import Layout, estimate_components, lay_out
from origin_compare.panel.profile.equations import equations
from origin_compare.panel.profile.variances import Likelihood
from tests.panel import dense
from tests.panel.invented import SDS, panel

REL = 1e-6


def incomplete() -> pd.DataFrame:
    """Every assessor tastes some of the batches only, each batch in several tastings."""
    scores, _ = panel(4, batches=12, per_tasting=12, replicates=2, assessors=9, control=False)
    rng = np.random.default_rng(1)
    cells = scores[["assessor_id", "batch_id"]].agg("/".join, axis=1)
    few = set(rng.choice(cells.unique(), len(cells.unique()) // 2, replace=False))
    day = cells.map({cell: f"T{rng.integers(8):02d}" for cell in cells.unique()})
    return scores.assign(tasting_id=day)[cells.isin(few)].reset_index(drop=True)


def scattered() -> pd.DataFrame:
    """Glasses missing here and there."""
    scores, _ = panel(2, batches=42, missing=0.1, assessors=6)
    return scores[np.random.default_rng(2).random(len(scores)) > 0.1].reset_index(drop=True)


NO_TASTING = {**SDS, "tasting": 0.0, "assessor:tasting": 0.0}
CASES = {
    "balanced": lambda: panel(1, batches=42, control=False)[0],
    "with a control": lambda: panel(1, batches=42)[0],
    "glasses missing": scattered,
    "incomplete blocks": incomplete,
    "few linked tastings": lambda: panel(3, batches=18)[0],
    "one tasting": lambda: panel(5, batches=10, per_tasting=10, control=False)[0],
    "no repeats": lambda: panel(6, batches=42, replicates=1)[0],
    "variances at zero": lambda: panel(7, batches=42, sds=NO_TASTING, missing=0.1)[0],
}
FEW = {"few linked tastings"}


def laid(scores: pd.DataFrame) -> tuple[Layout, np.ndarray]:
    place = scores["position"].to_numpy(dtype=float)
    layout = lay_out(*dense.codes(scores), {"position": place - place.mean()})
    return layout, scores["score"].to_numpy()


@pytest.fixture(params=CASES)
def case(request: pytest.FixtureRequest) -> tuple[str, Layout, np.ndarray]:
    return request.param, *laid(CASES[request.param]())


def solved(layout: Layout, y: np.ndarray) -> Solution:
    return solve(layout, y, estimate_components(layout, y[:, None])[0])


def test_components_are_those_of_the_general_engine(case: tuple[str, Layout, np.ndarray]) -> None:
    _, layout, y = case
    found = estimate_components(layout, y[:, None])[0]
    table = pd.DataFrame({"y": y, "place": layout.covariates[:, 0]}).assign(
        **{name: getattr(layout, name).astype(str) for name in ("batch", "assessor", "tasting")}
    )
    groups = [name for name in layout.used if name != "residual"]
    fit = mixed.fit(table, "y", "place", groups)
    known = fit.components.set_index("group")["variance"].fillna(0.0)
    assert_allclose(
        list(found.variance.values()), known.loc[list(found.variance)], rtol=REL, atol=1e-9
    )
    assert found.status == fit.status["y"]


def test_a_case_reaches_the_boundary() -> None:
    layout, y = laid(CASES["variances at zero"]())
    assert 0.0 in estimate_components(layout, y[:, None])[0].variance.values()


def test_their_doubt_is_the_inverse_of_the_information(
    case: tuple[str, Layout, np.ndarray],
) -> None:
    _, layout, y = case
    found = estimate_components(layout, y[:, None])[0]
    inside = np.array([v > 0 for v in found.variance.values()])
    whole = dense.information(layout, dict(found.variance))[np.ix_(inside, inside)]
    cov = found.cov[np.ix_(inside, inside)]
    assert_allclose(cov, np.linalg.inv(whole), rtol=REL, atol=1e-7 * np.abs(cov).max())


def test_slopes_are_those_of_the_criterion(case: tuple[str, Layout, np.ndarray]) -> None:
    _, layout, y = case
    names = [name for name in layout.used if name != "residual"]
    ratios = np.linspace(0.2, 0.9, len(names))
    fixed = np.column_stack([np.ones(layout.n), layout.covariates])
    of = equations({name: layout.codes[name] for name in names}, fixed)
    likelihood = Likelihood(of, names, (y - y.mean())[:, None])

    def value(at: np.ndarray) -> float:
        one = dict(zip(names, at.tolist(), strict=True)) | {"residual": 1.0}
        rss = y @ dense.projection(layout, one) @ y
        return dense.criterion(layout, y, one) - rss + likelihood.nu * np.log(rss)

    slope = likelihood.slope(np.array([0]), ratios[None])
    steps = 1e-5 * np.eye(len(names))
    numeric = [(value(ratios + step) - value(ratios - step)) / 2e-5 for step in steps]
    assert_allclose(slope.gradient[0], numeric, rtol=1e-6, atol=1e-5)


def test_estimates_and_their_errors(case: tuple[str, Layout, np.ndarray]) -> None:
    name, layout, y = case
    solution = solved(layout, y)
    whole = dense.Effects(layout, y, solution.components, name in FEW)
    assert_allclose(solution.estimate, whole.estimate, rtol=REL)
    assert_allclose(solution.cov, whole.cov, rtol=REL, atol=1e-9)
    level = np.eye(layout.batches)
    spread = solution.spread(np.arange(layout.batches))
    for contrasts, variance, df in (
        (level, spread.variance, spread.df),
        (level - 1 / layout.batches, spread.variance_compare, spread.df_compare),
    ):
        wanted, wanted_df = whole.variance_of(contrasts)
        for found, found_df in ((variance, df), solution.variance_of(contrasts)):
            assert_allclose(found, wanted, rtol=REL)
            assert_allclose(found_df, wanted_df, rtol=REL)


def test_each_assessors_part(case: tuple[str, Layout, np.ndarray]) -> None:
    name, layout, y = case
    solution = solved(layout, y)
    whole = dense.Effects(layout, y, solution.components, name in FEW)
    own, weight = solution.of_each_assessor(y)
    for who in range(len(own)):
        mine = np.flatnonzero(layout.assessor == who)
        assert_allclose(own[who], whole.weights[mine].T @ y[mine], rtol=REL, atol=1e-9)
        batch = layout.batch[mine]
        held = np.bincount(batch, whole.weights[mine, batch], layout.batches)
        assert_allclose(weight[who], held, rtol=REL, atol=1e-9)


@pytest.mark.parametrize("name", ["with a control", "glasses missing", "incomplete blocks"])
def test_past_many_batches_the_test_is_nearly_the_same(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    layout, y = laid(CASES[name]())
    solution = solved(layout, y)
    kept = np.arange(layout.batches - 1)
    f, q, df, _ = batch_test(solution, y, kept)
    monkeypatch.setattr(batch_test_module, "EVERY_DIRECTION", 5)
    f_too, q_too, df_too, _ = batch_test(solution, y, kept)
    assert (f_too, q_too) == (pytest.approx(f, rel=1e-9), q)
    assert df_too == pytest.approx(df, rel=0.1)


def test_attributes_with_other_rows_missing_are_fitted_on_their_own() -> None:
    scores, _ = panel(8, batches=24, attributes=3)
    missing = scores["attribute"].eq("attribute 2") & scores["assessor_id"].eq("A01")
    holed = scores[~missing]
    whole, alone = adjusted(holed), adjusted(holed[holed["attribute"].eq("attribute 2")])
    for table in (whole.table(), alone.table()):
        assert len(table)
    pd.testing.assert_series_equal(
        whole.wide()["attribute 2"], alone.wide()["attribute 2"], rtol=1e-9
    )
