"""A panel's variance components against lme4's; source, versions and tolerance in SOURCE.md."""

import hashlib
from pathlib import Path

import pandas as pd
import pytest

from origin_compare.panel import adjusted

HERE = Path(__file__).parent
SD_REL = 1e-5


def test_standard_deviations_are_lme4s() -> None:
    for line in (HERE / "SOURCE.md").read_text("utf-8").split("sha256:\n")[1].splitlines():
        stated, name = line.split()
        assert hashlib.sha256((HERE / name).read_bytes()).hexdigest() == stated, name
    found = adjusted(pd.read_csv(HERE / "scores.csv")).components()
    ours = found.set_index("component")["sd"]
    expected = pd.read_csv(HERE / "expected.csv").set_index("component")["sd"]
    assert len(expected) == 6
    assert ours.loc[expected.index].to_dict() == pytest.approx(expected.to_dict(), rel=SD_REL)
