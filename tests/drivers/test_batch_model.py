"""The model over batches against a plain dense likelihood and against balanced tables."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import optimize

from origin_compare.drivers.model.batch_model import fit_batches

Floats = NDArray[np.float64]
VARIANCE = 1e-5
"""Both searches stop on a flat likelihood: a gain of 1e-8 is worth about 1e-5 of a variance."""


def _world(seed: int, full: bool) -> tuple[Floats, Floats, NDArray[np.intp], Floats]:
    rng = np.random.default_rng(seed)
    n, growers, attributes = 40, 8, 3
    g = np.concatenate([np.arange(growers), rng.integers(0, growers, n - growers)])
    X = np.column_stack([np.ones(n), rng.normal(size=(n, 2))])
    root = rng.normal(size=(attributes, n, n)) / np.sqrt(n)
    noise = 0.1 * root @ root.transpose(0, 2, 1) + 0.05 * np.eye(n)
    if not full:
        noise = noise * np.eye(n)
    Y = X @ rng.normal(size=(3, attributes)) + rng.normal(size=(growers, attributes))[g]
    Y = Y + 0.5 * rng.normal(size=(n, attributes))
    return Y, X, g, noise


def _dense(
    y: Floats, X: Floats, g: NDArray[np.intp], S: Floats, theta: Floats
) -> tuple[float, Floats, Floats, Floats]:
    same = (g[:, None] == g).astype(float)
    inverse = np.linalg.inv(theta[0] * same + theta[1] * np.eye(len(y)) + S)
    M = X.T @ inverse @ X
    beta = np.linalg.solve(M, X.T @ inverse @ y)
    left = y - X @ beta
    loglik = -0.5 * (
        -np.linalg.slogdet(inverse)[1] + np.linalg.slogdet(M)[1] + left @ inverse @ left
    )
    P = inverse - inverse @ X @ np.linalg.solve(M, X.T @ inverse)
    Z = np.eye(g.max() + 1)[g]
    modes = theta[0] * Z.T @ P @ y
    error = theta[0] * np.eye(Z.shape[1]) - theta[0] ** 2 * Z.T @ P @ Z
    return float(loglik), beta, np.linalg.inv(M), np.array([modes, np.sqrt(np.diag(error))])


def _for_weights(X: Floats, g: NDArray[np.intp], S: Floats, theta: Floats, cov: Floats) -> Floats:
    """Kenward and Roger's addition, term by term as printed."""
    K = [(g[:, None] == g).astype(float), np.eye(len(g))]
    V = np.linalg.inv(theta[0] * K[0] + theta[1] * K[1] + S)
    P = V - V @ X @ cov @ X.T @ V
    info = [[0.5 * np.trace(P @ K[i] @ P @ K[j]) for j in range(2)] for i in range(2)]
    W = np.linalg.inv(np.array(info))
    added = np.zeros_like(cov)
    for i in range(2):
        for j in range(2):
            Pi, Pj = (-X.T @ V @ K[k] @ V @ X for k in (i, j))
            Q = X.T @ V @ K[i] @ V @ K[j] @ V @ X
            added += W[i, j] * (Q - Pi @ cov @ Pj)
    return np.asarray(2 * cov @ added @ cov)


def _for_prediction(
    X: Floats, g: NDArray[np.intp], S: Floats, theta: Floats, cov: Floats
) -> Floats:
    """Twice Prasad and Rao's third term, the weights' derivatives taken numerically."""
    Z = np.eye(int(g.max()) + 1)[g]
    K = [Z @ Z.T, np.eye(len(g))]

    def v(at: Floats) -> Floats:
        return np.asarray(at[0] * K[0] + at[1] * K[1] + S)

    inverse = np.linalg.inv(v(theta))
    P = inverse - inverse @ X @ cov @ X.T @ inverse
    info = np.array([[0.5 * np.trace(P @ K[i] @ P @ K[j]) for j in range(2)] for i in range(2)])
    W = np.linalg.inv(info)
    kicks = []
    for k in range(2):
        ends = []
        for sign in (1, -1):
            at = theta.copy()
            at[k] += sign * 1e-5
            ends.append(at[0] * Z.T @ np.linalg.inv(v(at)))
        kicks.append((ends[0] - ends[1]) / 2e-5)
    total = np.zeros(Z.shape[1])
    for i in range(2):
        for j in range(2):
            total += 2 * W[i, j] * np.diag(kicks[i] @ v(theta) @ kicks[j].T)
    return total


def test_leaving_one_batch_out_is_a_fit_without_it() -> None:
    Y, X, g, noise = _world(8, True)
    fit = fit_batches(Y, X, g, noise, one_out=True)
    assert fit.without is not None
    for i in (0, 7, 39):
        keep = np.arange(40) != i
        _, beta, _, _ = _dense(
            Y[keep, 1], X[keep], g[keep], noise[1][np.ix_(keep, keep)], fit.theta[1]
        )
        np.testing.assert_allclose(fit.without[1, i], beta, atol=1e-9)


@pytest.mark.parametrize("full", [False, True], ids=["apart", "correlated"])
def test_it_finds_the_top_of_the_dense_likelihood(full: bool) -> None:
    Y, X, g, noise = _world(5, full)
    fit = fit_batches(Y, X, g, noise)
    assert fit.settled.all()
    for a in range(Y.shape[1]):

        def minus(log_theta: Floats, a: int = a) -> float:
            return -_dense(Y[:, a], X, g, noise[a], np.exp(log_theta))[0]

        found = optimize.minimize(
            minus,
            [-1.0, -1.0],
            method="Nelder-Mead",
            options={"xatol": 1e-7, "fatol": 1e-11, "maxiter": 4000},
        )
        loglik, beta, cov, modes = _dense(Y[:, a], X, g, noise[a], fit.theta[a])
        assert fit.loglik[a] >= -found.fun - 1e-8
        np.testing.assert_allclose(fit.theta[a], np.exp(found.x), atol=VARIANCE)
        assert fit.loglik[a] == pytest.approx(loglik, abs=1e-9)
        np.testing.assert_allclose(fit.beta[a], beta, atol=1e-10)
        inflated = cov + _for_weights(X, g, noise[a], fit.theta[a], cov)
        np.testing.assert_allclose(fit.cov[a], inflated, atol=1e-10)
        np.testing.assert_allclose(fit.growers[a], modes[0], atol=1e-9)
        wider = _for_prediction(X, g, noise[a], fit.theta[a], cov)
        np.testing.assert_allclose(fit.grower_se[a] ** 2, modes[1] ** 2 + wider, atol=1e-8)


def test_variances_apart_and_as_a_matrix_are_one_answer() -> None:
    Y, X, g, noise = _world(6, False)
    flat = fit_batches(Y, X, g, np.einsum("aii->ia", noise))
    full = fit_batches(Y, X, g, noise)
    np.testing.assert_allclose(flat.theta, full.theta, atol=1e-9)
    np.testing.assert_allclose(flat.df, full.df, rtol=1e-7)


def test_a_balanced_table_gives_the_mean_squares() -> None:
    """Balanced and without panel error, REML is the analysis of variance (positive estimates),
    and the mean has growers minus one degrees of freedom."""
    rng = np.random.default_rng(1)
    g = np.repeat(np.arange(6), 5)
    y = 2 * rng.normal(size=6)[g] + rng.normal(size=30)
    table = y.reshape(6, 5)
    between = 5 * table.mean(axis=1).var(ddof=1)
    within = table.var(axis=1, ddof=1).mean()
    fit = fit_batches(y[:, None], np.ones((30, 1)), g, np.zeros((30, 1)))
    np.testing.assert_allclose(fit.theta[0], [(between - within) / 5, within], rtol=1e-6)
    assert fit.se[0, 0] == pytest.approx(np.sqrt(between / 30), rel=1e-6)
    assert fit.df[0, 0] == pytest.approx(5.0, rel=1e-5)


def test_without_growers_and_error_it_is_least_squares() -> None:
    Y, X, _, _ = _world(7, False)
    fit = fit_batches(Y, X, np.empty(0, dtype=np.intp), np.zeros_like(Y))
    beta, rss, *_ = np.linalg.lstsq(X, Y, rcond=None)
    np.testing.assert_allclose(fit.beta, beta.T, atol=1e-10)
    np.testing.assert_allclose(fit.theta[:, 1], rss / 37, rtol=1e-6)
    np.testing.assert_allclose(fit.df, 37.0, rtol=1e-9)
