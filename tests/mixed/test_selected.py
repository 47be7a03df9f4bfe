"""The inverse on a sparse factor's pattern, against the whole inverse."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import sparse

from origin_compare.mixed.likelihood.selected import Factor


def matrix(seed: int, n: int, density: float) -> sparse.csc_matrix:
    """A positive definite matrix with few entries."""
    half = sparse.random(n, n, density, random_state=seed, format="csc")
    return (half @ half.T + sparse.diags(np.linspace(0.5, 3.0, n))).tocsc()


def entries(factor: Factor, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Row, column and place of every entry that the factor holds."""
    i, j = (one.ravel() for one in np.indices((n, n)))
    at = factor.pattern.find(i, j)
    return i[at >= 0], j[at >= 0], at[at >= 0]


@pytest.mark.parametrize(("n", "density"), [(1, 0.0), (7, 0.0), (12, 0.2), (60, 0.03), (40, 1.0)])
def test_entries_are_those_of_the_inverse(n: int, density: float) -> None:
    whole = matrix(3, n, density)
    factor = Factor(sparse.triu(whole, format="csc"))
    i, j, at = entries(factor, n)
    assert len(at) >= whole.nnz, "every entry of the matrix itself must be held"
    assert_allclose(factor.inverse()[at], np.linalg.inv(whole.toarray())[i, j], atol=1e-12)
    assert_allclose(factor.logdet, np.linalg.slogdet(whole.toarray())[1], rtol=1e-12)


def test_new_data_on_the_same_pattern() -> None:
    whole = matrix(5, 30, 0.08)
    upper = sparse.triu(whole, format="csc")
    factor = Factor(upper.copy())
    data = np.where(upper.indices == np.repeat(np.arange(30), np.diff(upper.indptr)), 9.0, 0.1)
    factor.update(data)
    upper.data = data
    dense = upper.toarray() + np.triu(upper.toarray(), 1).T
    i, j, at = entries(factor, 30)
    assert_allclose(factor.inverse()[at], np.linalg.inv(dense)[i, j], atol=1e-12)
    right = np.random.default_rng(1).normal(size=(30, 3))
    assert_allclose(factor.solve(right), np.linalg.solve(dense, right), atol=1e-12)


def test_an_entry_not_held_is_said() -> None:
    factor = Factor(sparse.triu(matrix(1, 6, 0.0), format="csc"))
    assert factor.pattern.find(np.array([0]), np.array([5]))[0] == -1
