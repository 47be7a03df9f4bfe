"""On which line of a TOML text a key stands, so that a fault can name it."""

from __future__ import annotations

import re

Place = tuple[str, ...]
"""A key by its parts: `("windows", "final_ph", "high")`."""


def line_of(text: str, path: Place) -> int | None:
    """The line on which a key or its table stands; None where it cannot be told."""
    header: Place = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if found := re.match(r"\s*\[([^\[\]]+)\]", line):
            header = _parts(found[1])
            at = header
        elif found := re.match(r"\s*([^=#\s][^=#]*?)\s*=", line):
            at = (*header, *_parts(found[1]))
        else:
            continue
        if at[: len(path)] == path or (line.rstrip().endswith("}") and path[: len(at)] == at):
            return number
    return None


def _parts(dotted: str) -> Place:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))
