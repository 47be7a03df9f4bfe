"""The grower letter as a PDF on one side of A4, tagged so that a screen reader can follow it."""

from __future__ import annotations

import json
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from origin_compare import words
from origin_compare.harvest.grower import GrowerLetter
from origin_compare.places import PACKAGE

TEMPLATE = PACKAGE / "reports" / "letter.typ"


def letter_pdf(letter: GrowerLetter, site: str, made_on: datetime | None = None) -> bytes:
    """The letter as PDF bytes (PDF/UA-1), one side of A4.

    The text goes in as data, never as markup. The same letter and `made_on` give the same bytes.
    """
    import typst

    stamp = made_on or datetime.now(UTC)
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        (root / "letter.typ").write_text(TEMPLATE.read_text("utf-8"), "utf-8")
        (root / "letter.json").write_text(json.dumps(_as_data(letter, site, stamp)), "utf-8")
        return typst.compile(
            str(root / "letter.typ"),
            root=str(root),
            format="pdf",
            pdf_standards=["ua-1"],
            ignore_system_fonts=True,
            timestamp=int(stamp.timestamp()),
        )


def _as_data(letter: GrowerLetter, site: str, stamp: datetime) -> dict[str, object]:
    lots = [
        {
            "lot": str(lot.lot_id),
            "field": _text(lot.field),
            "variety": _text(lot.variety),
            "harvested": _day(lot.harvested_on),
            "delivered": _number(lot.delivered_t, 1),
        }
        for lot in letter.lots.itertuples()
    ]
    return {
        "site": site or "The distillery",
        "grower": letter.grower_id,
        "season": letter.season,
        "made_on": stamp.strftime("%d %B %Y"),
        "sentence": letter.sentence(),
        "rests_on": letter.rests_on(),
        "lots": lots,
        "figures": [_figure(row) for row in letter.figures.to_dict("records")],
        "flavours": [_flavour(row) for row in letter.flavours.to_dict("records")],
        "grouped": letter.group_size > 0,
        "unknown": unknowns(letter),
    }


def unknowns(letter: GrowerLetter) -> list[str]:
    """What the letter cannot say, in words."""
    said = []
    if letter.flavours.empty:
        said.append("How your barley tasted: no spirit of your grain alone was scored.")
    elif len(letter.batches) == 1:
        said.append(
            "Whether the field or the way this one batch ran made the difference: "
            "that would take at least two batches of your grain."
        )
    said.append("Whether next year would taste the same: one season is one draw of the weather.")
    said.append("What would change the flavour: talk to your agronomist before changing anything.")
    return said


def _figure(row: dict[str, object]) -> dict[str, str]:
    return {
        "figure": str(row["figure"]),
        "own": _sized(row["own"]),
        "middle": _sized(row["group_median"]),
        "half": f"{_sized(row['group_low'])} to {_sized(row['group_high'])}",
    }


def _flavour(row: dict[str, object]) -> dict[str, object]:
    kept = ("own", "low", "high", "group_median", "group_low", "group_high")
    numbers = {name: None if pd.isna(row[name]) else float(str(row[name])) for name in kept}
    return {"name": words.flavour(str(row["attribute"])), "says": _says(row), **numbers}


def _says(row: dict[str, object]) -> str:
    evidence = str(row["evidence"])
    return f"{evidence}: {row['side']}" if row["side"] else evidence


def _text(value: object) -> str:
    return "" if pd.isna(value) else str(value)  # type: ignore[call-overload]


def _number(value: float, digits: int) -> str:
    return "" if pd.isna(value) else f"{value:,.{digits}f}"


def _sized(value: object) -> str:
    number = float(str(value))
    if pd.isna(number):
        return ""
    return f"{number:,.0f}" if abs(number) >= 100 else f"{number:.2f}".rstrip("0").rstrip(".")


def _day(value: object) -> str:
    return "" if pd.isna(value) else pd.Timestamp(str(value)).strftime("%d %b %Y")  # type: ignore[call-overload]
