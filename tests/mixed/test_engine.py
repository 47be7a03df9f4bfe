"""The closed-form sums and derivatives against dense matrices written out in full."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from origin_compare.mixed.likelihood.criterion import Slope, profiled, terms, unprofiled
from origin_compare.mixed.likelihood.nesting import Nesting, nest
from origin_compare.mixed.likelihood.search import minimise
from origin_compare.mixed.likelihood.sums import Classes, Floats, Ints

CLOSE = 1e-7
"""Second derivatives are differences of large sums of squares; values agree to 1e-13."""

DESIGNS = {
    # name: (which groups, in the order given to the engine; chain, dense groups expected)
    "season": (["grower", "batch", "assessor", "cell"], ["cell", "batch", "grower"], ["assessor"]),
    "crossed": (["batch", "assessor"], ["batch"], ["assessor"]),
    "nested": (["grower", "batch"], ["batch", "grower"], []),
    "two dense": (["batch", "assessor", "sitting"], ["batch"], ["assessor", "sitting"]),
    "one": (["batch"], ["batch"], []),
}


def design(name: str, missed: float, seed: int) -> tuple[Nesting, list[Floats], Floats, Floats]:
    """The engine's design, indicators in its order, X and Y."""
    random = np.random.default_rng(seed)
    batch, assessor, _ = (a.ravel() for a in np.indices((11, 4, 2)))
    keep = random.random(len(batch)) >= missed
    batch, assessor = batch[keep], assessor[keep]
    raw = {
        "grower": batch // 3,
        "batch": batch,
        "assessor": assessor,
        "cell": batch * 4 + assessor,
        "sitting": random.integers(0, 3, len(batch)),
    }
    names = DESIGNS[name][0]
    codes = [np.unique(raw[g], return_inverse=True)[1] for g in names]
    sizes = [int(c.max()) + 1 for c in codes]
    X = np.column_stack([np.ones(len(batch)), random.normal(size=(len(batch), 2))])
    Y = random.normal(size=(len(batch), 3)) + random.normal(size=(11, 3))[batch]
    made = nest(codes, sizes, X, Y)
    assert [names[link.group] for link in made.chain] == DESIGNS[name][1]
    assert [names[g] for g in made.dense] == DESIGNS[name][2]
    return made, [np.eye(sizes[g])[codes[g]] for g in made.order], X, Y


@pytest.mark.parametrize("wide", [0, 32])
@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("missed", [0.0, 0.3])
@pytest.mark.parametrize("name", DESIGNS)
def test_every_term_equals_the_dense_formula(
    monkeypatch: pytest.MonkeyPatch, name: str, missed: float, reml: bool, wide: int
) -> None:
    monkeypatch.setattr("origin_compare.mixed.likelihood.criterion.WIDE", wide)
    made, Z, X, Y = design(name, missed, seed=7)
    random = np.random.default_rng(8)
    response = np.array([0, 2, 1])
    ratios = random.uniform(0, 3, (3, len(Z)))
    ratios[1, 0] = 0.0
    if wide:  # the wide forms are for dense ratios away from zero
        ratios[2, -1] = 0.0
    found = terms(made, response, ratios, reml=reml)
    for b, r in enumerate(response):
        y = Y[:, r]
        H = np.eye(len(y)) + sum(g * z @ z.T for g, z in zip(ratios[b], Z, strict=True))
        Hi = np.linalg.inv(H)
        C = np.linalg.inv(X.T @ Hi @ X)
        P = Hi - Hi @ X @ C @ X.T @ Hi
        Pd = P if reml else Hi
        logdet = np.linalg.slogdet(H)[1] + (np.linalg.slogdet(X.T @ Hi @ X)[1] if reml else 0)
        pulls = [z.T @ P @ y for z in Z]
        assert_allclose(found.logdet[b], logdet, rtol=1e-11)
        assert_allclose(found.rss[b], y @ P @ y, rtol=1e-11)
        assert_allclose(found.solution[b, made.n_dense :], C @ X.T @ Hi @ y, rtol=1e-9)
        assert_allclose(found.trace[b], [np.trace(z.T @ Pd @ z) for z in Z], rtol=CLOSE)
        assert_allclose(found.pull[b], [(v**2).sum() for v in pulls], rtol=CLOSE)
        assert_allclose(
            found.frobenius[b], [[((z.T @ Pd @ w) ** 2).sum() for w in Z] for z in Z], rtol=CLOSE
        )
        quad = [
            [v @ z.T @ P @ w @ u for w, u in zip(Z, pulls, strict=True)]
            for z, v in zip(Z, pulls, strict=True)
        ]
        assert_allclose(found.quad[b], quad, rtol=CLOSE)
        spread = [C @ X.T @ Hi @ z @ z.T @ Hi @ X @ C for z in Z]
        assert_allclose(found.spread[b], spread, rtol=1e-6, atol=1e-12)


def test_derivatives_agree_with_differences() -> None:
    made, Z, X, _ = design("season", 0.2, seed=3)
    at = np.random.default_rng(1).uniform(0.2, 2, (1, len(Z)))
    response = np.zeros(1, dtype=np.intp)
    nu = made.n_rows - X.shape[1]
    exact = profiled(terms(made, response, at), nu)
    free = unprofiled(terms(made, response, at), nu, np.array([0.8]))
    for k in range(len(Z)):
        move = np.zeros_like(at)
        move[0, k] = 1e-5
        up, down = (terms(made, response, at + s * move) for s in (1, -1))
        a, b = profiled(up, nu), profiled(down, nu)
        assert_allclose((a.value - b.value) / 2e-5, exact.gradient[:, k], rtol=1e-5, atol=1e-6)
        assert_allclose((a.gradient - b.gradient) / 2e-5, exact.hessian[:, k], rtol=1e-5, atol=1e-6)
        c, d = unprofiled(up, nu, np.array([0.8])), unprofiled(down, nu, np.array([0.8]))
        assert_allclose((c.gradient - d.gradient) / 2e-5, free.hessian[:, k], rtol=1e-5, atol=1e-6)


def test_problems_worked_in_turns_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    made, Z, _, _ = design("season", 0.2, seed=5)
    response = np.array([0, 1, 2, 1])
    at = np.random.default_rng(1).uniform(0.2, 2, (4, len(Z)))
    whole = terms(made, response, at)
    monkeypatch.setattr("origin_compare.mixed.likelihood.criterion.MOST_NUMBERS", 1)
    turns = terms(made, response, at)
    assert_allclose(turns.quad, whole.quad, rtol=1e-12)
    assert_allclose(turns.spread, whole.spread, rtol=1e-12)


def test_many_level_sizes_take_the_other_path(monkeypatch: pytest.MonkeyPatch) -> None:
    made, Z, _, _ = design("season", 0.3, seed=5)
    assert not isinstance(made.finest.handed_up, Classes)
    monkeypatch.setattr("origin_compare.mixed.likelihood.sums.MOST_SIZES", 0)
    other, _, _, _ = design("season", 0.3, seed=5)
    assert isinstance(other.finest.handed_up, Classes)
    at = np.full((1, len(Z)), 0.7)
    response = np.zeros(1, dtype=np.intp)
    assert_allclose(terms(other, response, at).quad, terms(made, response, at).quad, rtol=1e-9)


def test_a_coordinate_that_is_not_free_stays_where_it_is() -> None:
    rng = np.random.default_rng(4)
    half = rng.normal(size=(200, 5, 5))
    curves, best = half @ half.transpose(0, 2, 1) + np.eye(5), rng.normal(size=(200, 5))

    def bowls(which: Ints, at: Floats) -> Slope:
        away = at - best[which]
        gradient = np.einsum("bij,bj->bi", curves[which], away)
        return Slope(0.5 * (away * gradient).sum(axis=1), gradient, curves[which])

    free = np.array([True, False, True, True, False])
    found = minimise(bowls, np.zeros((200, 5)), np.tile(free, (200, 1)), reach=np.inf)
    assert (found.point[:, ~free] == 0.0).all()
    assert found.converged.all()
