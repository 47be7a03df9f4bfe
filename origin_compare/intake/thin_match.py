"""How sure it is which sheet a table is: a thin match is asked about, with its evidence."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from origin_compare.answers import count, listed
from origin_compare.intake.open_points import OpenPoint

if TYPE_CHECKING:
    from origin_compare.intake.raw_table import RawTable
    from origin_compare.intake.recognise import Guess

SHEET, TWINS = "sheet", "repeated columns"
LEAVE_OUT_TWINS = "leave them out"
_NUMBERED = re.compile(r"^(?P<stem>.*\D)[\s_.#]*\d+(?P<unit>\s*[(\[].*)?$")


def with_doubt(guess: Guess, others: Sequence[Guess]) -> Guess:
    """The guess with the question whether it is that sheet at all, where its match is thin.

    Thin: another sheet knows more of the headers though it lacks a needed one, or no more than
    two are known and more than that are not.
    """
    rival = max(others, key=lambda one: one.weight, default=guess)
    unknown = len(guess.unknown)
    outweighed = rival.weight > guess.weight
    if not outweighed and not (guess.weight <= 2 and unknown > guess.weight):
        return guess
    name = guess.sheet.name
    headers = count(guess.weight + unknown, "header")
    known = listed([one.header for one in guess.mapped], 6)
    evidence = f"{guess.weight} of its {headers} are columns of {name} ({known})."
    if outweighed:
        lacks = f", which lacks {', '.join(rival.missing)}" if rival.missing else ""
        evidence += f" {rival.weight} are columns of {rival.sheet.name}{lacks}."
    choices = dict.fromkeys((name, *(one.sheet.name for one in others if one.weight)))
    asked = OpenPoint(
        SHEET,
        f"Is this table {name}?",
        evidence,
        tuple(choices),
        rival.sheet.name if outweighed and not rival.missing else "",
    )
    return replace(guess, open_points=(asked, *guess.open_points))


def twins_left_out(raw: RawTable, guess: Guess) -> OpenPoint | None:
    """The question about `Malt 2` left out beside a `Malt 1` that is read.

    A mash of two malts would look like one of the first alone.
    """
    if guess.answers.get(TWINS):
        return None
    read = {one.header for one in guess.mapped} | {raw.headers[at] for at, _ in guess.attributes}
    read |= {raw.headers[one.clock_at] for one in guess.mapped if one.clock_at >= 0}
    stems = {stem for header in read if (stem := _stem(header))}
    twins = [
        header
        for at, header in enumerate(raw.headers)
        if header not in read and _stem(header) in stems and bool((raw.cells[at] != "").any())
    ]
    if not twins:
        return None
    said = listed(twins, 4)
    return OpenPoint(
        TWINS,
        f"{said} {'is' if len(twins) == 1 else 'are'} left out, but another column of the same "
        "name is read. Shall the figures be left out?",
        "Two columns of one meaning: read as one, half of what they say is lost.",
        (LEAVE_OUT_TWINS,),
    )


def _stem(header: str) -> str:
    match = _NUMBERED.match(header.strip())
    return match["stem"].strip().casefold() if match else ""
