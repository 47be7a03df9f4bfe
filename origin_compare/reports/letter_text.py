"""The words and figures of a grower letter, as plain data for the template."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pandas as pd

from origin_compare import words
from origin_compare.answers import count
from origin_compare.growers.grower_letter import GrowerLetter

PAST_SHOWN = 2
LEVERS_SHOWN = 2
INTERVALS = ("own", "low", "high", "low_all", "high_all", "group_median", "group_low", "group_high")

Row = Mapping[Hashable, Any]


@dataclass(frozen=True)
class Room:
    """How much goes on the page: letters of `size_pt`, so many lots and flavours."""

    size_pt: float
    lots: int
    flavours: int


def letter_data(letter: GrowerLetter, site: str, stamp: datetime, room: Room) -> dict[str, Any]:
    """Everything the template prints; what does not fit is counted, never dropped silently."""
    flavours = letter.flavours.to_dict("records")
    lots = letter.lots.to_dict("records")
    past = _past(letter)
    return {
        "size": room.size_pt,
        "site": site or "The distillery",
        "grower": letter.grower_id,
        "farm": letter.farm,
        "season": letter.season,
        "made_on": f"{stamp.day} {stamp:%B %Y}",
        "sentence": letter.sentence(),
        "rests_on": letter.rests_on(),
        "lots": [_lot(row) for row in lots[: room.lots]],
        "more_lots": _more(len(lots) - room.lots, "lot"),
        "past": list(past),
        "figures": [_figure(row, past) for row in letter.figures.to_dict("records")],
        "figures_grouped": bool(letter.figures["group_median"].notna().any()),
        "bases": [*letter.handling, *letter.bases],
        "flavours": [_flavour(row) for row in flavours[: room.flavours]],
        "flavours_grouped": bool(letter.flavours["group_median"].notna().any()),
        "more_flavours": _more(len(flavours) - room.flavours, "flavour"),
        "levers": list(letter.levers["says"][:LEVERS_SHOWN]),
        "unknown": unknowns(letter),
    }


def unknowns(letter: GrowerLetter) -> list[str]:
    """What the letter cannot say, in words."""
    said = []
    if not letter.tasted:
        said.append("How your barley tastes as spirit: none of your grain alone has been scored.")
    elif letter.tasted == 1:
        said.append(
            "Whether the field or the way this one batch ran made the difference: "
            "that would take at least two batches of your grain."
        )
    else:
        said.append(
            "Whether the field or the weeks in which its batches ran made the difference: "
            "they cannot be told apart where a lot is used up in one go."
        )
    said.append("Whether next year would taste the same: one season is one draw of the weather.")
    if letter.levers.empty:
        said.append(
            "What in your hands would change grain or spirit: this season's figures do not bear it."
        )
    return said


def _past(letter: GrowerLetter) -> dict[str, dict[str, float]]:
    """The latest earlier harvests, newest first, each with its figures by name in words."""
    earlier = letter.past[letter.past["season"] < letter.season].tail(PAST_SHOWN)
    return {
        str(row["season"]): {words.label(str(name)): figure for name, figure in row.items()}
        for row in reversed(earlier.to_dict("records"))
    }


def _lot(row: Row) -> dict[str, str]:
    return {
        "lot": str(row["lot_id"]),
        "field": _text(row.get("field")),
        "variety": _text(row.get("variety")),
        "harvested": _day(row.get("harvested_on")),
        "delivered": _number(row.get("delivered_t"), 1),
    }


def _figure(row: Row, past: dict[str, dict[str, float]]) -> dict[str, Any]:
    hidden = pd.isna(row["group_median"])
    return {
        "figure": str(row["figure"]),
        "own": _sized(row["own"]),
        "past": [_sized(figures.get(str(row["figure"]))) for figures in past.values()],
        "middle": "" if hidden else _sized(row["group_median"]),
        "half": "" if hidden else f"{_sized(row['group_low'])} to {_sized(row['group_high'])}",
    }


def _flavour(row: Row) -> dict[str, Any]:
    numbers = {name: None if pd.isna(row[name]) else float(row[name]) for name in INTERVALS}
    name = words.flavour(str(row["attribute"]))
    alt = f"{name}: yours {row['own']:.1f}, plausibly {row['low']:.1f} to {row['high']:.1f}"
    if numbers["group_low"] is not None:
        alt += f"; middle half of the growers {row['group_low']:g} to {row['group_high']:g}"
    says = f"{row['evidence']}: {row['side']}" if row["side"] else str(row["evidence"])
    return {"name": name, "says": says, "clear": row["evidence"] == "clear", "alt": alt, **numbers}


def _more(number: int, noun: str) -> str:
    return f"and {count(number, 'more ' + noun)}" if number > 0 else ""


def _text(value: Any) -> str:
    return "" if pd.isna(value) else str(value)


def _number(value: Any, digits: int) -> str:
    return "" if pd.isna(value) else f"{float(value):,.{digits}f}"


def _sized(value: Any) -> str:
    if value is None or pd.isna(value):
        return ""
    size = abs(float(value))
    return _number(value, 0 if size >= 100 else 1 if size >= 10 else 2)


def _day(value: Any) -> str:
    if pd.isna(value):
        return ""
    day = pd.Timestamp(value)
    return f"{day.day} {day:%b %Y}"
