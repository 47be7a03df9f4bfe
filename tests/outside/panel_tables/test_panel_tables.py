"""Published and recomputed tables of discrimination tests and intraclass correlations."""

from hashlib import sha256
from pathlib import Path

import pandas as pd
import pytest

from origin_compare.panel import d_prime, intraclass, minimum_correct, p_value
from origin_compare.panel.discrimination.sensory_distance import distance, share_correct

HERE = Path(__file__).parent
PRINTED = 1e-6  # the table has six decimals
HASHES = {
    "triangle_minimum_correct.csv": "81d2bbe28c866ee3",
    "d_prime_inverse.csv": "98793234310179cd",
    "shrout_fleiss_ratings.csv": "2902661d03af5222",
    "shrout_fleiss_icc.csv": "28bb9fe57aa12489",
}


@pytest.mark.parametrize("name", HASHES)
def test_the_table_is_the_one_that_was_checked(name: str) -> None:
    assert sha256((HERE / name).read_bytes()).hexdigest()[:16] == HASHES[name]


def test_every_cell_of_the_triangle_table() -> None:
    table = pd.read_csv(HERE / "triangle_minimum_correct.csv")
    found = minimum_correct(table["n"], "triangle", table["alpha"])
    assert isinstance(found, pd.Series)
    pd.testing.assert_series_equal(found, table["minimum_correct"], check_names=False)


@pytest.mark.parametrize(
    ("method", "test"), [("triangle", "triangle"), ("duo-trio", "duo-trio"), ("2-AFC", "paired")]
)
def test_every_d_prime(method: str, test: str) -> None:
    table = pd.read_csv(HERE / "d_prime_inverse.csv")
    rows = table[table["method"].eq(method)]
    assert len(rows) == {"triangle": 14, "duo-trio": 10, "2-AFC": 10}[method]
    for share, value in zip(rows["pc"], rows["value"], strict=True):
        assert distance(float(share), test) == pytest.approx(value, abs=PRINTED)
        assert share_correct(float(value), test) == pytest.approx(share, abs=PRINTED)


@pytest.mark.parametrize(("n", "correct"), [(24, 12), (30, 15), (36, 20), (48, 24), (60, 30)])
def test_estimate_error_and_p_of_whole_triangle_tests(n: int, correct: int) -> None:
    table = pd.read_csv(HERE / "d_prime_inverse.csv").set_index("method")["value"]
    estimate, se = d_prime(correct, n, "triangle")
    case = f"n={n} x={correct}"
    assert estimate == pytest.approx(table[f"triangle estimate {case}: dprime"], abs=PRINTED)
    wanted = table[f"triangle estimate {case}: se(dprime) delta method"]
    assert se == pytest.approx(wanted, abs=1e-5)  # both slopes are numerical derivatives
    wanted = table[f"triangle {case}: exact p-value"]
    assert p_value(correct, n, "triangle") == pytest.approx(wanted, abs=PRINTED)


def test_the_six_coefficients_of_shrout_and_fleiss() -> None:
    table = pd.read_csv(HERE / "shrout_fleiss_icc.csv")
    found = intraclass(pd.read_csv(HERE / "shrout_fleiss_ratings.csv"))
    for name, value in zip(table["coefficient"], table["value"], strict=True):
        assert found[name] == pytest.approx(value, abs=5e-5)  # four decimals
        assert getattr(found, name) == found[name]
    published = {"ICC1": 0.17, "ICC2": 0.29, "ICC3": 0.71}
    published |= {"ICC1k": 0.44, "ICC2k": 0.62, "ICC3k": 0.91}
    assert {name: round(value, 2) for name, value in dict(found).items()} == published
