"""The grower letter as a PDF on one side of A4, tagged so that a screen reader can follow it."""

from __future__ import annotations

import json
import re
import tempfile
import unicodedata
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from origin_compare.errors import OriginCompareError
from origin_compare.growers.grower_letter import GrowerLetter
from origin_compare.places import PACKAGE
from origin_compare.reports.letter_text import Room, letter_data, unknowns

__all__ = ["LetterFault", "letter_pdf", "unknowns"]

TEMPLATE = PACKAGE / "reports" / "letter.typ"
ROOMS = (
    Room(10, 10, 40),
    Room(9.5, 10, 40),
    Room(9, 10, 40),
    Room(8.5, 8, 20),
    Room(8, 6, 16),
    Room(8, 4, 12),
    Room(8, 2, 8),
)
"""Tried in turn until the letter stands on one side; under 8 points nobody reads on."""

_TRIES = 12
_UNSEEN = re.compile(r'the text `"(.+?)"` could not be displayed')


class LetterFault(OriginCompareError):
    """The letter cannot be set on one side; the text says what to shorten."""


def letter_pdf(letter: GrowerLetter, site: str, made_on: datetime | None = None) -> bytes:
    """The letter as PDF bytes (PDF/UA-1), one side of A4.

    The text goes in as data, never as markup; a sign the font has not is written in words or as
    a question mark. The same letter and `made_on` (UTC if it names no zone) give the same bytes.
    Raises `LetterFault` if even the smallest setting runs over one side.
    """
    stamp = made_on or datetime.now(UTC)
    stamp = stamp if stamp.tzinfo else stamp.replace(tzinfo=UTC)
    for room in ROOMS:
        pages, pdf = _set(letter_data(letter, site, stamp, room), stamp)
        if pages == 1:
            return pdf
    raise LetterFault(
        f"The letter to grower {letter.grower_id} does not fit on one side of A4. "
        "Shorten the names of its fields, or of the distillery."
    )


def _set(data: dict[str, Any], stamp: datetime) -> tuple[int, bytes]:
    """The number of pages and the PDF."""
    import typst

    unseen: set[str] = set()
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        source = root / "letter.typ"
        source.write_text(TEMPLATE.read_text("utf-8"), "utf-8")
        for _ in range(_TRIES):
            (root / "letter.json").write_text(json.dumps(_printable(data, unseen)), "utf-8")
            where: dict[str, Any] = {"root": str(root), "ignore_system_fonts": True}
            try:
                pdf = typst.compile(
                    str(source),
                    format="pdf",
                    pdf_standards=["ua-1"],
                    timestamp=int(stamp.timestamp()),
                    **where,
                )
            except typst.TypstError as refused:
                found = _not_in_font(str(refused)) - unseen
                if not found:
                    raise
                unseen |= found
                continue
            pages = typst.query(str(source), "<pages>", field="value", one=True, **where)
            return int(json.loads(pages)), pdf
    raise LetterFault(
        "The letter holds too many signs its font has not. Write the names in Latin letters."
    )


def _not_in_font(refused: str) -> set[str]:
    return {sign for text in _UNSEEN.findall(refused) for sign in text if ord(sign) > 127}


def _printable(value: Any, unseen: set[str]) -> Any:
    """`value` with every text in it made of signs that can be printed."""
    if isinstance(value, str):
        return "".join(_sign(sign, unseen) for sign in value)
    if isinstance(value, dict):
        return {key: _printable(one, unseen) for key, one in value.items()}
    if isinstance(value, list):
        return [_printable(one, unseen) for one in value]
    return value


def _sign(sign: str, unseen: set[str]) -> str:
    kind = unicodedata.category(sign)
    if kind in ("Zl", "Zp") or sign in "\t\n\r":
        return " "
    if kind in ("Cc", "Cf", "Cs", "Co", "Cn"):
        return ""
    if sign not in unseen:
        return sign
    if kind == "So":
        return f"[{unicodedata.name(sign, 'sign').lower()}]"
    return "" if kind in ("Mn", "Me") else "?"
