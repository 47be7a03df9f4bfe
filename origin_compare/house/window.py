"""A window a figure is held to, and the flag raised by one outside it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from origin_compare.errors import OriginCompareError

_MOST_SAID = 80

COMMON = "common practice, no source"


class RuleFault(OriginCompareError):
    """House rules that cannot be used; the text says which line or name, and what to write."""


@dataclass(frozen=True, slots=True)
class Window:
    """A range the house holds to; either end may be open (None). `RuleFault` if low > high."""

    name: str
    says: str
    unit: str
    low: float | None
    high: float | None
    source: str = COMMON

    def __post_init__(self) -> None:
        for end in (self.low, self.high):
            if end is not None and not math.isfinite(end):
                raise RuleFault(f"{self.name}: {end} is no end of a window. Leave it open instead.")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise RuleFault(
                f"{self.name}: low {self.low:g} is above high {self.high:g}. Swap the two."
            )

    def holds(self, value: float) -> bool:
        """Whether `value` lies inside, ends included; NaN does not."""
        above = self.low is None or value >= self.low
        below = self.high is None or value <= self.high
        return bool(above and below) and not math.isnan(value)

    def words(self) -> str:
        """The window in words with its unit: `19 to 23 °C`, `at most 3.5`, `15 %`, `any`."""
        low, high = (None if end is None else f"{end:g}" for end in (self.low, self.high))
        if low is None and high is None:
            return "any"
        if low is None:
            return f"at most {high} {self.unit}".rstrip()
        if high is None:
            return f"at least {low} {self.unit}".rstrip()
        if low == high:
            return f"{low} {self.unit}".rstrip()
        return f"{low} to {high} {self.unit}".rstrip()


@dataclass(frozen=True, slots=True)
class Flag:
    """A value outside a window: `rule` names the window, `says` is the sentence to print."""

    rule: str
    value: float
    says: str


def flags_of(window: Window, value: float, rule: str, held_to: str) -> tuple[Flag, ...]:
    """One `Flag` under the name `rule` if `value` lies outside, else none; NaN earns none.

    `held_to`: what the window is, in words.
    """
    if math.isnan(value) or window.holds(value):
        return ()
    side = "below" if window.low is not None and value < window.low else "above"
    shown = f"{value:.6g} {window.unit}".rstrip()
    says = f"{window.says} {shown} is {side} {held_to}, {window.words()} ({window.source})"
    return (Flag(rule, float(value), says),)


def short(value: object) -> str:
    """A value as a message can bear it."""
    try:
        said = str(value)
    except (ValueError, RecursionError):  # more digits, or more tables, than can be written out
        return "what stands there"
    return said if len(said) <= _MOST_SAID else f"{said[:_MOST_SAID]} …"
