"""Columns that come again: `Malt 1, kg 1, Malt 2, kg 2`, or a block per assessor, vessel, batch."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from origin_compare.intake.asking.reading_plan import IGNORE
from origin_compare.intake.blocks.block import Block
from origin_compare.intake.blocks.labels import hours_of, is_unit, known, pair_in, sheets_with
from origin_compare.intake.blocks.names import LABELS, Names
from origin_compare.intake.blocks.stacking import Across, stack
from origin_compare.intake.grid import Kind, kind_of
from origin_compare.intake.headers import columns_for, plain
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.units import split_unit

NAME, GROUPS = "repeated columns", "groups are"
_NUMBERED = re.compile(
    r"^(?P<before>.*?)(?<!\d)(?<!\d[.,])(?P<number>[1-9])(?![\d.,])(?P<after>[\s(\[_].*)?$"
)
_SIGNS = " #_.-"
_AMOUNT = {"malt": "Grist", "maltno": "Grist", "lot": "Grain", "lotno": "Grain"}
GROUP_CHOICES = ("Assessor", "Batch", "Washback", "Malt")


def repeats_as_rows(block: Block, names: Names) -> list[Block]:
    """Columns that stand there several times become rows."""
    if block.said(NAME) == "no":
        return [block]
    numbered = _numbered(block)
    if numbered:
        return [_by_number(block, numbered)]
    period = _period(block)
    return [_by_group(block, names, *period)] if period else [block]


def _numbered(block: Block) -> dict[str, dict[int, int]]:
    """Header without its number -> number -> position, where a key is among them."""
    found: dict[str, dict[int, int]] = {}
    for at, header in enumerate(block.headers):
        match = _NUMBERED.match(header)
        if match is None or hours_of(header) is not None:
            continue
        if block.said(f"column: {header}") == IGNORE:
            return {}  # some of them were not wanted: which belong together is then not sure
        base = f"{match['before'].strip(_SIGNS)} {(match['after'] or '').strip(_SIGNS)}".strip()
        if base:
            found.setdefault(base, {})[int(match["number"])] = at
    several = {base: at for base, at in found.items() if len(at) > 1}
    numbers = {tuple(sorted(at)) for at in several.values()}
    keyed = any(_is_key(base) for base in several)
    return several if len(numbers) == 1 and keyed else {}


def _is_key(header: str) -> bool:
    return any(
        column.kind == "key"
        for name in sheets_with(header)
        for column in columns_for(header, SHEETS[name])[0]
    )


def _by_number(block: Block, numbered: Mapping[str, Mapping[int, int]]) -> Block:
    key = next(base for base in numbered if _is_key(base))
    subs = [_with_amount(base, key) for base in numbered]
    numbers = sorted(next(iter(numbered.values())))
    groups = [
        Across(str(number), (0, 0), tuple(at[number] for at in numbered.values()))
        for number in numbers
    ]
    says = f"put columns {', '.join(numbered)} that come {len(numbers)} times into rows"
    return block.done(NAME, says, **stack(block, groups, subs, None))


def _with_amount(base: str, key: str) -> str:
    """`kg` beside `Malt` is the grist in kg; `Malt kg` as well."""
    amount = _AMOUNT.get(plain(key))
    name, unit = split_unit(base)
    if amount and is_unit(base):
        return f"{amount} ({base})"
    if amount and plain(name) == plain(key) and unit:
        return f"{amount} ({unit})"
    return base


def _period(block: Block) -> tuple[int, int, int] | None:
    """First column, width and number of a run of columns that comes again with the same headers."""
    heads = [plain(header) for header in block.headers]
    best: tuple[int, int, int] | None = None
    for width in range(1, block.width // 2 + 1):
        for start in range(block.width - 2 * width + 1):
            run = heads[start : start + width]
            times = 1
            while heads[start + times * width : start + (times + 1) * width] == run:
                times += 1
            groups = _group_names(block, start, width, times)
            enough = times > 1 and (width > 1 or groups is not None)
            if enough and (best is None or times * width > best[1] * best[2]):
                best = start, width, times
    return best


def _group_names(block: Block, start: int, width: int, times: int) -> list[str] | None:
    """The names over the repeated runs, None where they have none or share one."""
    names = []
    for number in range(times):
        over = set(block.groups[start + number * width : start + (number + 1) * width])
        if len(over) != 1 or "" in over:
            return None
        names.append(over.pop())
    return names if len(set(names)) == times else None


def _by_group(block: Block, names: Names, start: int, width: int, times: int) -> Block:
    titles = _group_names(block, start, width, times)
    subs = list(block.headers[start : start + width])
    columns = [
        tuple(range(start + number * width, start + (number + 1) * width))
        for number in range(times)
    ]
    if titles is None:
        if not any(_is_key(sub) for sub in subs):
            return block
        groups = [Across("", (0, 0), one) for one in columns]
        says = f"put {times} runs of {', '.join(subs)} one below the other"
        return block.done(NAME, says, **stack(block, groups, subs, None))
    header, values, sure = _group_header(block, names, titles, start, width * times)
    places = [
        (max(block.header_places[one[0]][0] - 1, 0), block.header_places[one[0]][1])
        for one in columns
    ]
    groups = [
        Across(value, place, one) for value, place, one in zip(values, places, columns, strict=True)
    ]
    says = f"put the blocks of {', '.join(values[:6])} one below the other"
    result = block.done(NAME, says, **stack(block, groups, subs, header))
    if sure:
        return result
    evidence = f"They are headed {', '.join(titles[:6])}."
    return result.asks(
        GROUPS, "What are the blocks that stand side by side?", evidence, GROUP_CHOICES, header
    )


def _group_header(
    block: Block, names: Names, titles: Sequence[str], start: int, width: int
) -> tuple[str, list[str], bool]:
    """The header of the groups' names, the names, and whether that is sure."""
    pairs = [pair_in(title) for title in titles]
    labels = {pair[0] for pair in pairs if pair}
    if all(pairs) and len(labels) == 1:
        return labels.pop(), [pair[1] for pair in pairs if pair], True
    hours = [hours_of(title) for title in titles]
    if all(hours):
        return "Hours", [f"{hour[1]:g}" for hour in hours if hour], True
    if all(kind_of(title) == Kind.CLOCK for title in titles):
        return "Time", list(titles), True
    said = block.said(GROUPS)
    if said:
        return said, list(titles), True
    kind = names.kind_of(titles)
    if kind:
        return LABELS[kind], list(titles), True
    fixed = [header for at, header in enumerate(block.headers) if not start <= at < start + width]
    subs = block.headers[start : start + width]
    scored = not any(known(sub) for sub in subs)
    has_batch = any("scores" in sheets_with(head) and _is_key(head) for head in fixed)
    return ("Assessor" if scored and has_batch else "Batch"), list(titles), False
