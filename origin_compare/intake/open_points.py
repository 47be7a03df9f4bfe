"""What headers and cells leave open, before it is told where: asked, never guessed."""

from __future__ import annotations

from dataclasses import dataclass

UNIT, ZONE, DATES, DECIMALS, SCALE = "unit", "time zone", "date order", "decimal sign", "gravity"
DAY_FIRST, MONTH_FIRST = "day first", "month first"
POINT, COMMA = "decimal point", "decimal comma"


@dataclass(frozen=True, slots=True)
class OpenPoint:
    """One thing a table does not tell by itself.

    `key`: what the answer is kept under, such as `unit: gal` or `date order`; `what`: the
    question; `evidence`: what in the table speaks for the default; `choices`: the answers there
    are, empty where any text may be one; `default`: the likeliest, "" where nothing is likelier;
    `holds`: whether the table waits for the answer, or goes in as the default says; `column`: the
    header or column it is about, "" for the whole table.
    """

    key: str
    what: str
    evidence: str
    choices: tuple[str, ...] = ()
    default: str = ""
    holds: bool = True
    column: str = ""

    def __str__(self) -> str:
        default = f" Likeliest: {self.default}." if self.default else ""
        evidence = f" {self.evidence}" if self.evidence else ""
        return f"{self.what}{evidence}{default}"


def told_apart(points: tuple[OpenPoint, ...]) -> tuple[OpenPoint, ...]:
    """Each question once, in the order they were met."""
    return tuple({one.key: one for one in reversed(points)}.values())[::-1]
