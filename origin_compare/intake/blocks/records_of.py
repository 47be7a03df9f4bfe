"""A record of its own: the labels and values of a card's head, as a table of one row."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from origin_compare.intake.asking.reading_plan import ReadingPlan, plan_for
from origin_compare.intake.blocks.block import Block, Head, Step
from origin_compare.intake.blocks.labels import known_words
from origin_compare.intake.headers import plain

NAME = "card"


def record_of(
    file: str, tab: str, source: str, heads: Sequence[Head], plans: Sequence[ReadingPlan]
) -> Block:
    """Heads as a block of one row, a label said twice counting once."""
    own: dict[str, Head] = {}
    for head in heads:
        own.setdefault(plain(head.label), head)
    kept = list(own.values())
    headers = tuple(head.label for head in kept)
    kind = known_words(headers)
    return Block(
        file,
        tab,
        source,
        headers,
        ("",) * len(kept),
        tuple((head.row, head.column) for head in kept),
        np.array([[head.value for head in kept]], dtype=object).reshape(1, len(kept)),
        np.array([[[head.row, head.column] for head in kept]], dtype=np.int32).reshape(
            1, len(kept), 2
        ),
        kind=kind,
        plan=plan_for(kind, headers, plans),
        steps=(Step(NAME, f"took {len(kept)} labels with values for one record"),),
    )


def records_in(heads: Sequence[Head]) -> list[tuple[Head, ...]]:
    """Heads cut into records: a label that comes again begins the next one."""
    records: list[list[Head]] = [[]]
    for head in heads:
        if any(plain(head.label) == plain(other.label) for other in records[-1]):
            records.append([])
        records[-1].append(head)
    return [tuple(record) for record in records if record]
