"""Rows that count together: several loads of one lot summed, withdrawn rows left out."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from origin_compare.intake.blocks.block import Block, Left
from origin_compare.intake.blocks.labels import is_summary
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.headers import plain
from origin_compare.intake.layouts.constants import fitting
from origin_compare.intake.recognise import Guess

SUMS, WITHDRAWN, MEANS = "rows to sum", "withdrawn rows", "rows of means"
# A malt or a mash whose part is told twice is not summed: there it is more likely a mistake.
_AMOUNTS = {
    "lots": frozenset(("delivered_t",)),
    "spirits": frozenset(("wash_l", "new_make_l")),
}
_STATUS = frozenset(("status", "state", "condition"))
_GONE = re.compile(r"\b(cancel\w*|void\w*|withdrawn|aborted|abandoned|not used|deleted)\b", re.I)
_FIGURE = re.compile(r"\d+(\.\d+)?")


def without_withdrawn(block: Block, names: Names) -> list[Block]:
    """Rows whose status says cancelled or withdrawn are left out, and asked about."""
    at = next((i for i, head in enumerate(block.headers) if plain(head) in _STATUS), None)
    if at is None or block.said(WITHDRAWN) == "no":
        return [block]
    gone = np.array([bool(_GONE.search(str(text))) for text in block.cells[:, at]], dtype=bool)
    if not gone.any() or gone.all():
        return [block]
    left = [
        _left(block, int(row), f"its {block.headers[at]} says so") for row in np.flatnonzero(gone)
    ]
    says = f"left out {int(gone.sum())} rows whose {block.headers[at]} says they were withdrawn"
    result = block.done(WITHDRAWN, says, **block.only_rows(~gone), left=(*block.left, *left))
    texts = ", ".join(dict.fromkeys(str(text) for text in block.cells[gone, at]))
    evidence = f"{int(gone.sum())} rows say {texts}."
    what = "Shall the rows that were cancelled or withdrawn be left out?"
    return [result.asks(WITHDRAWN, what, evidence, ("yes", "no"), "yes")]


def summed(block: Block, names: Names) -> list[Block]:
    """Rows of one key that differ in amounts alone are added up, and asked about."""
    guess = fitting(block)
    if guess is None or guess.attributes or block.height < 2:
        return [block]
    keys = [one.at for one in guess.mapped if one.column.name in guess.sheet.key]
    lines = ["\x1f".join(str(block.cells[row, at]) for at in keys) for row in range(block.height)]
    if len(set(lines)) == len(lines):
        return [block]
    means = _means(block, guess, lines)
    if means is not None:
        return [means]
    amounts = _AMOUNTS.get(guess.sheet.name, frozenset())
    added = [one.at for one in guess.mapped if one.column.name in amounts]
    same = [one.at for one in guess.mapped if one.at not in added]
    if not added or block.said(SUMS) == "no" or not _differ_only_in(block, lines, added, same):
        return [block]
    return [_summed(block, lines, added)]


def _differ_only_in(
    block: Block, lines: Sequence[str], added: Sequence[int], same: Sequence[int]
) -> bool:
    """Whether rows of one key say the same but in the amounts, which are plain figures."""
    first: dict[str, int] = {}
    for row, line in enumerate(lines):
        start = first.setdefault(line, row)
        for at in same:
            one, other = str(block.cells[start, at]), str(block.cells[row, at])
            if one and other and one != other:
                return False
    texts = [str(text) for at in added for text in block.cells[:, at] if text]
    return bool(texts) and all(_FIGURE.fullmatch(text) for text in texts)


def _summed(block: Block, lines: Sequence[str], added: Sequence[int]) -> Block:
    first: dict[str, int] = {}
    cells = block.cells.copy()
    for row, line in enumerate(lines):
        start = first.setdefault(line, row)
        if start == row:
            continue
        for at in range(block.width):
            one, other = str(cells[start, at]), str(block.cells[row, at])
            if at in added and one and other:
                cells[start, at] = f"{float(one) + float(other):.10g}"
            elif not one:
                cells[start, at] = other
    kept = np.array(sorted(first.values()))
    heads = ", ".join(block.headers[at] for at in added)
    says = f"added up {heads} of {block.height} rows to {len(kept)}"
    result = block.done(SUMS, says, cells=cells[kept], places=block.places[kept])
    what = f"Shall {heads} of the rows that name the same be added up?"
    evidence = f"{block.height} rows name {len(kept)} and say the same but for {heads}."
    return result.asks(SUMS, what, evidence, ("yes", "no"), "yes")


def _means(block: Block, guess: Guess, lines: Sequence[str]) -> Block | None:
    """Where one row of each key is headed Mean, that row, and a question."""
    used = {at for one in guess.mapped for at in (one.at, one.clock_at)}
    for at in range(block.width):
        if at in used or block.said(MEANS) == "no":
            continue
        mean = np.array([is_summary(str(text)) for text in block.cells[:, at]], dtype=bool)
        named = [line for line, yes in zip(lines, mean, strict=True) if yes]
        if mean.any() and len(set(named)) == len(named) == len(set(lines)):
            says = f"took the rows that {block.headers[at]} calls means"
            result = block.done(MEANS, says, **block.only_rows(mean))
            what = f"Shall only the rows that {block.headers[at]} calls means be taken?"
            evidence = f"{block.height} rows name {len(named)} things."
            return result.asks(MEANS, what, evidence, ("yes", "no"), "yes")
    return None


def _left(block: Block, row: int, why: str) -> Left:
    text = " | ".join(str(one) for one in block.cells[row] if one)
    return Left(int(block.places[row, 0, 0]), int(block.places[row, 0, 1]), text, why)
