"""The verdict on many findings asked together."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from origin_compare.drivers.wording import Limits
from origin_compare.estimates import false_discovery

CLEAR, HINT, NOT_SHOWN = "clear", "a hint", "not shown"
TIED, BLIND = "cannot be told apart", "panel cannot tell"
VERDICTS = (CLEAR, HINT, NOT_SHOWN, TIED, BLIND)


def judged(table: pd.DataFrame, told: Any, refused: Any, limits: Limits) -> pd.DataFrame:
    """`table` (n rows with `p`) with `q` over all that could be asked, and `verdict`.

    `told`: the panel tells the attribute apart; `refused`: it cannot be told what the finding
    is of (n true or false each). What has no p is refused too.
    """
    told = np.asarray(told, dtype=bool)
    refused = np.asarray(refused, dtype=bool) | table["p"].isna().to_numpy()
    q = false_discovery(table["p"], told & ~refused)
    verdict = np.select(
        [~told, refused, q <= limits.clear_q, q <= limits.hint_q],
        [BLIND, TIED, CLEAR, HINT],
        default=NOT_SHOWN,
    )
    return table.assign(q=q, verdict=verdict.astype(object))
