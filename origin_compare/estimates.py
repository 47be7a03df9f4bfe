"""Estimates with their doubt: intervals and p-values, and many tests judged together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

LEVEL = 0.95
"""Every interval of this package unless it says otherwise."""
ALPHA = 0.05
"""Below it a test, adjusted for all asked together, is called told apart."""

Array = NDArray[np.floating[Any]]
Many = TypeVar("Many", pd.Series, Array)


@dataclass(frozen=True, slots=True)
class Estimates:
    """Estimates with their standard errors and degrees of freedom, each a number or n of them.

    Infinite degrees of freedom are the normal distribution's; an error of 0 gives p of 0 (1 for
    an estimate of 0 too), a missing one an interval and p that are missing.
    """

    value: Any
    se: Any
    df: Any = np.inf

    def reach(self, level: float = LEVEL) -> Any:
        """Half the width of the interval."""
        return quantile(0.5 + level / 2, self.df) * self.se

    def interval(self, level: float = LEVEL) -> tuple[Any, Any]:
        """Low and high."""
        reach = self.reach(level)
        return self.value - reach, self.value + reach

    @property
    def p(self) -> Any:
        """Two-sided p of being nothing."""
        from scipy.special import stdtr

        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.abs(self.value) / self.se
        return 2 * stdtr(self.df, -np.where((self.value == 0) & (self.se == 0), 0.0, t))

    def columns(self, name: str, prefix: str | None = None) -> dict[str, Any]:
        """`name`, `low`, `high`, for the columns of a table; with a `prefix` those two read
        `prefix_low`, `prefix_high`."""
        low, high = self.interval()
        before = "" if prefix is None else f"{prefix}_"
        return {name: self.value, f"{before}low": low, f"{before}high": high}


def quantile(chance: float, df: Any) -> Any:
    """Student's t with `df` degrees of freedom (the normal for infinitely many)."""
    # SciPy's own ufunc: the distribution object takes fifty times as long for one number.
    from scipy.special import stdtrit

    return stdtrit(df, chance)


def false_discovery(p: Many, asked: Any = None) -> Many:
    """p (n) adjusted by Benjamini and Hochberg (J. R. Stat. Soc. B 57 (1995) 289) over those known.

    A missing p stays missing and counts for nothing; so does one not `asked` (n true or false).
    """
    from statsmodels.stats.multitest import multipletests

    values = np.asarray(p, dtype=float)
    counted = np.isfinite(values) & (True if asked is None else np.asarray(asked, dtype=bool))
    found = np.full(len(values), np.nan)
    if counted.any():
        found[counted] = multipletests(values[counted], method="fdr_bh")[1]
    return pd.Series(found, index=p.index) if isinstance(p, pd.Series) else found


def holm(p: ArrayLike) -> Array:
    """p (n) adjusted by Holm (Scand. J. Stat. 6 (1979) 65): bounds the chance of any false find."""
    from statsmodels.stats.multitest import multipletests

    values = np.asarray(p, dtype=float)
    return np.asarray(multipletests(values, method="holm")[1]) if len(values) else values
