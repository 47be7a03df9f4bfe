"""One decorator for every measure: takes a number, an array or a Series, returns the same kind."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, ParamSpec

import numpy as np
import pandas as pd

from origin_compare.errors import OriginCompareError

Many = np.ndarray[Any, np.dtype[np.float64]]
P = ParamSpec("P")


class OutOfRange(OriginCompareError, ValueError):
    """A value that physics or the source of a formula does not allow; the text names it."""


@dataclass(frozen=True, slots=True)
class Span:
    """What a measure accepts: ends included, None is open; `shown` is how the ends are written."""

    low: float | None
    high: float | None
    shown: str

    def check(self, name: str, values: Many) -> None:
        """`OutOfRange` with the first value outside; NaN passes."""
        outside = np.zeros(values.shape, dtype=bool)
        if self.low is not None:
            outside |= values < self.low
        if self.high is not None:
            outside |= values > self.high
        if outside.any():
            refuse(name, values, outside, self.shown)


def refuse(name: str, values: Many, outside: np.ndarray[Any, np.dtype[np.bool_]], why: str) -> None:
    """Raise `OutOfRange` naming the first value marked in `outside`, and how many there are."""
    at = int(np.flatnonzero(outside)[0])
    text = f"{name}: {values.ravel()[at]:.10g} is {why}"
    if values.ndim and values.size > 1:
        text += f" (place {at + 1} of {values.size:,}; {int(outside.sum()):,} such in all)"
    raise OutOfRange(text)


def between(low: float, high: float, decimals: int = 0) -> Span:
    """A closed span, its ends shown to `decimals` places."""
    return Span(low, high, f"outside {low:.{decimals}f} to {high:.{decimals}f}")


def at_least(low: float) -> Span:
    """A span open upwards, yet finite: infinity is no measure."""
    return Span(low, float(np.finfo(float).max), f"below {low:g}, or not finite")


ABOVE_ZERO = Span(
    float(np.nextafter(0, 1)), float(np.finfo(float).max), "not above 0, or not finite"
)
AMOUNT = at_least(0)


def measure(**spans: Span) -> Callable[[Callable[P, Any]], Callable[P, Any]]:
    """Make a function of float arrays one of numbers, arrays or Series.

    Only parameters named in `spans` are turned into float64 arrays and checked; others pass as
    given. The result is a float when all were single numbers, a Series with the first Series'
    index (and no name: the unit is another one) when one was a Series, else an array.
    Missing values (None, NaN, pd.NA) come back as NaN. Several Series must carry one index.
    """

    def wrap(function: Callable[P, Any]) -> Callable[P, Any]:
        signature = inspect.signature(function)

        @functools.wraps(function)
        def measured(*args: P.args, **kwargs: P.kwargs) -> Any:
            bound = signature.bind(*args, **kwargs)
            bound.apply_defaults()
            index = _index(bound.arguments, spans)
            for name, span in spans.items():
                values = _numbers(name, bound.arguments[name])
                span.check(name, values)
                bound.arguments[name] = values
            result = np.asarray(function(*bound.args, **bound.kwargs), dtype=float)
            if index is not None:
                return pd.Series(np.broadcast_to(result, (len(index),)).copy(), index=index)
            return float(result) if result.ndim == 0 else result

        return measured

    return wrap


def _numbers(name: str, given: object) -> Many:
    if isinstance(given, pd.Series):
        given = pd.to_numeric(given, errors="coerce") if given.isna().all() else given
        try:
            return given.to_numpy(dtype=float, na_value=np.nan)
        except (TypeError, ValueError) as wrong:
            raise OutOfRange(f"{name}: this column holds text, not only numbers") from wrong
    try:
        return np.asarray(np.nan if given is pd.NA else given, dtype=float)
    except (TypeError, ValueError) as wrong:
        raise OutOfRange(f"{name}: {given!r} is not a number") from wrong


def _index(given: Mapping[str, Any], spans: Mapping[str, Span]) -> pd.Index[Any] | None:
    series = [(name, given[name]) for name in spans if isinstance(given[name], pd.Series)]
    if not series:
        return None
    first_name, first = series[0]
    for name, other in series[1:]:
        if not first.index.equals(other.index):
            raise OutOfRange(f"{first_name} and {name}: their rows do not carry the same index")
    return first.index
