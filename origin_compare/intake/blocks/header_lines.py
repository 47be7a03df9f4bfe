"""Headers on two or three lines, brought to one line."""

from __future__ import annotations

from collections import Counter

from origin_compare.intake.blocks.block import Block
from origin_compare.intake.blocks.labels import is_unit, known
from origin_compare.intake.blocks.names import Names
from origin_compare.intake.headers import plain

NAME = "header lines"


def one_line(block: Block, names: Names) -> list[Block]:
    """Each header with the group above it, where it does not say enough alone.

    `Yeast` over `kg` is `Yeast kg`; `Setting` over `Vol (L)` stays `Vol (L)` where no other group
    has such a column.
    """
    if not any(block.groups):
        return [block]
    often = Counter(plain(header) for header in block.headers)
    headers = tuple(
        _joined(header, group, often[plain(header)] > 1)
        for header, group in zip(block.headers, block.groups, strict=True)
    )
    if headers == block.headers:
        return [_plain(block, headers)]
    return [_plain(block, headers).done(NAME, "joined header lines to one")]


def _plain(block: Block, headers: tuple[str, ...]) -> Block:
    return block.done(
        NAME, "", steps=block.steps, headers=headers, groups=("",) * len(block.headers)
    )


def _joined(header: str, group: str, repeated: bool) -> str:
    if not group:
        return header
    whole = f"{group} {header}"
    if known(whole) or repeated or is_unit(header) or not known(header):
        return whole
    return header
