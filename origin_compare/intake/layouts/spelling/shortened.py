"""Numbers written short below a whole one: `24-097`, then `098` and `099`."""

from __future__ import annotations

import re

from origin_compare.intake.blocks.block import Block
from origin_compare.intake.blocks.labels import sheets_with
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.headers import columns_for
from origin_compare.sheets.catalogue import SHEETS

NAME = "shortened numbers"
_WHOLE = re.compile(r"^(?P<before>.*[^\W_]\W)(?P<figures>\d{2,})$")


def written_out(block: Block, names: Names) -> list[Block]:
    """A key of figures alone takes what stands before the figures of the whole one above it.

    Asked before it goes in: the short form may be a name of its own.
    """
    if block.said(NAME) == "no":
        return [block]
    cells = block.cells.copy()
    told = [
        (block.headers[at], *found)
        for at in range(block.width)
        if _holds_keys(block.headers[at]) and (found := _write_out(cells[:, at], names))
    ]
    if not told:
        return [block]
    says = ", ".join(f"{header} ({count} cells)" for header, count, *_ in told)
    header, count, short, whole = told[0]
    return [
        block.done(NAME, f"wrote shortened numbers out in {says}", cells=cells).asks(
            NAME,
            f"Does {short} in the column {header} stand for {whole}?",
            f"{count} cells hold the figures alone, below one that is written in full.",
            ("yes", "no"),
            "yes",
        )
    ]


def _holds_keys(header: str) -> bool:
    columns = [one for name in sheets_with(header) for one in columns_for(header, SHEETS[name])[0]]
    return any(one.kind == "key" for one in columns)


def _write_out(column: object, names: Names) -> tuple[int, str, str] | None:
    """Write a column out in place: how many cells, the first as it was and as it is.

    None, and nothing written, where a cell is neither whole nor short, or is a known name.
    """
    texts = [str(text) for text in column]  # type: ignore[attr-defined]
    full, before, figures = list(texts), "", ""
    for at, text in enumerate(texts):
        whole = _WHOLE.match(text)
        if whole:
            before, figures = whole["before"], whole["figures"]
        elif text:
            known = any(names.holds(kind, text) for kind in names.by_kind)
            if known or not (text.isdecimal() and 2 <= len(text) <= len(figures)):
                return None
            full[at] = before + figures[: len(figures) - len(text)] + text
    changed = [at for at, text in enumerate(texts) if full[at] != text]
    if not changed:
        return None
    column[:] = full  # type: ignore[index]
    return len(changed), texts[changed[0]], full[changed[0]]
