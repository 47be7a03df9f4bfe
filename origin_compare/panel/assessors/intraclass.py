"""How far judges agree on the same targets: the six intraclass correlations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from origin_compare.answers import count

NAMES = ("ICC1", "ICC2", "ICC3", "ICC1k", "ICC2k", "ICC3k")


@dataclass(frozen=True)
class Intraclass:
    """The six coefficients of Shrout and Fleiss, as attributes or by name in brackets.

    ICC1: each target by other judges; ICC2: the same judges, drawn from many; ICC3: only these
    judges. With k: reliability of the mean of all judges instead of a single one.
    """

    ICC1: float
    ICC2: float
    ICC3: float
    ICC1k: float
    ICC2k: float
    ICC3k: float
    targets: int
    judges: int

    def __getitem__(self, name: str) -> float:
        if name not in NAMES:
            raise KeyError(name)
        return float(getattr(self, name))

    def keys(self) -> tuple[str, ...]:
        """The six names, so that `dict(result)` works."""
        return NAMES

    def sentence(self) -> str:
        return (
            f"A single judge's scores are {100 * max(0.0, self.ICC2):.0f} % the targets' own "
            f"(ICC2 {self.ICC2:.2f}); the mean of all {self.judges} is "
            f"{100 * max(0.0, self.ICC2k):.0f} % (ICC2k {self.ICC2k:.2f})."
        )

    def table(self) -> pd.DataFrame:
        return pd.DataFrame({"coefficient": NAMES, "value": [self[name] for name in NAMES]})

    def rests_on(self) -> str:
        return f"{count(self.targets, 'target')} scored by each of {count(self.judges, 'judge')}."


def intraclass(scores: Any) -> Intraclass:
    """The six intraclass correlations of a targets x judges table without gaps.

    Shrout and Fleiss, Psychological Bulletin 86 (1979) 420. Raises `ValueError` for a gap or for
    fewer than two targets or judges.
    """
    x = np.asarray(scores, dtype=float)
    if x.ndim != 2 or min(x.shape) < 2:
        raise ValueError(
            f"scores: shape {x.shape} is not targets x judges with at least two of each."
        )
    if np.isnan(x).any():
        row, column = np.argwhere(np.isnan(x))[0]
        raise ValueError(
            f"scores: no score in row {row + 1}, column {column + 1}. "
            "Leave out the targets or judges with gaps."
        )
    n, k = x.shape
    grand = x.mean()
    targets = k * float(((x.mean(axis=1) - grand) ** 2).sum()) / (n - 1)
    judges = n * float(((x.mean(axis=0) - grand) ** 2).sum()) / (k - 1)
    total = float(((x - grand) ** 2).sum())
    within = (total - targets * (n - 1)) / (n * (k - 1))
    error = (total - targets * (n - 1) - judges * (k - 1)) / ((n - 1) * (k - 1))
    return Intraclass(
        ICC1=_share(targets - within, targets + (k - 1) * within),
        ICC2=_share(targets - error, targets + (k - 1) * error + k * (judges - error) / n),
        ICC3=_share(targets - error, targets + (k - 1) * error),
        ICC1k=_share(targets - within, targets),
        ICC2k=_share(targets - error, targets + (judges - error) / n),
        ICC3k=_share(targets - error, targets),
        targets=n,
        judges=k,
    )


def _share(part: float, whole: float) -> float:
    return part / whole if whole != 0 else float("nan")
