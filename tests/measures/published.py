"""Where the published values stand; a missing file fails the test that asks for it."""

from pathlib import Path

import pandas as pd

OUTSIDE = Path(__file__).resolve().parents[1] / "outside"


def published(case: str, name: str) -> pd.DataFrame:
    return pd.read_csv(OUTSIDE / case / name)
