"""Names across: a column per batch, assessor or compound, with one kind of figure in all cells."""

from __future__ import annotations

import re
from collections.abc import Sequence

from origin_compare.intake.blocks.block import Block
from origin_compare.intake.blocks.labels import (
    ATTRIBUTES,
    column_in,
    is_compound,
    is_summary,
    known,
    sheets_with,
)
from origin_compare.intake.blocks.names import LABELS, Names
from origin_compare.intake.blocks.stacking import Across, stack
from origin_compare.intake.grid import Kind, kind_of
from origin_compare.intake.headers import columns_for, plain
from origin_compare.intake.layouts.hours_across import CELLS, CHOICES, is_gravity, told_around
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.units import split_unit

NAME, COLUMNS = "names across", "columns are"
COLUMN_CHOICES = ("Batch", "Assessor", "Washback", "Compound", "Attribute")
_IDENTIFIER = re.compile(r"[\w/.\-#]*\d[\w/.\-]*")

UNIT = "compounds in"
UNITS = ("g/100 L AA", "mg/L AA", "mg/100 mL AA")


def names_as_rows(block: Block, names: Names) -> list[Block]:
    """Columns headed by names become rows with a name each."""
    if block.said(NAME) == "no":
        return [block]
    for reads in (_compounds, _scores, _readings):
        read = reads(block, names)
        if read is not None:
            return [read]
    return [block]


def _compounds(block: Block, names: Names) -> Block | None:
    """A laboratory's report: a row per sample, a column per compound."""
    fixed = [at for at, header in enumerate(block.headers) if _is_batch(header)]
    found = [
        at
        for at, header in enumerate(block.headers)
        if at not in fixed and (is_compound(header) or _per_alcohol(header))
    ]
    if not fixed or len(found) < 2 or "compound" in [plain(head) for head in block.headers]:
        return None
    units = {split_unit(block.headers[at])[1] for at in found}
    written = {_unit_written(block.headers[at]) for at in found}
    if len(units) > 1:
        return None
    unit = written.pop() if units != {""} else block.said(UNIT)
    sub = f"Result ({unit})" if unit else "Result"
    groups = [
        Across(split_unit(block.headers[at])[0], block.header_places[at], (at,)) for at in found
    ]
    says = f"turned {len(found)} columns of compounds into rows, one per compound"
    read = block.done(NAME, says, **stack(block, groups, [sub], "Compound"))
    return read if unit else _unit_asked(read)


def _unit_asked(block: Block) -> Block:
    """Figures of compounds without a unit wait for it; a title may say another than the usual."""
    around = "; ".join(line.text for line in block.titles)
    evidence = f"Around the table stands: {around}." if around else "Nothing around it says so."
    evidence += " Amounts per litre of sample cannot go in: turn them into amounts of pure alcohol."
    default = "" if around else UNITS[0]
    return block.asks(UNIT, "In which unit are the compounds?", evidence, UNITS, default)


def _is_batch(header: str) -> bool:
    column = column_in(header, SHEETS["congeners"]) or column_in(header, SHEETS["scores"])
    return column is not None and column.name == "batch_id"


def _per_alcohol(header: str) -> bool:
    unit = split_unit(header)[1]
    return unit.endswith("aa") and any(sign.isalpha() for sign in split_unit(header)[0])


def _unit_written(header: str) -> str:
    """The unit of a header as it is written there."""
    base = split_unit(header)[0]
    return header[len(base) :].strip(" ,()[]")


def _scores(block: Block, names: Names) -> Block | None:
    """A tasting form: a row per attribute, a column per assessor or per sample."""
    attribute = next(
        (at for at, header in enumerate(block.headers) if plain(header) in ATTRIBUTES), None
    )
    if attribute is None:
        return None
    given = (column_in(header, SHEETS["scores"]) for header in block.headers)
    if any(column is not None and column.name == "score" for column in given):
        return None
    block = _without_summaries(block)
    across = [
        at
        for at, header in enumerate(block.headers)
        if at != attribute and not known(header) and _figures(block, at)
    ]
    if not across:
        return None
    header, sure = _who(block, names, [block.headers[at] for at in across])
    groups = [Across(block.headers[at], block.header_places[at], (at,)) for at in across]
    says = f"turned {len(across)} columns of scores into rows, one per {header.casefold()}"
    heads = list(block.headers)
    heads[attribute] = "Attribute"
    named = block.done(NAME, says, headers=tuple(heads))
    result = named.done(NAME, says, steps=named.steps, **stack(named, groups, ["Score"], header))
    if sure:
        return result
    evidence = f"They are headed {', '.join(block.headers[at] for at in across[:6])}."
    return result.asks(
        COLUMNS, "What are the columns of scores?", evidence, ("Assessor", "Batch"), header
    )


def _who(block: Block, names: Names, headers: Sequence[str]) -> tuple[str, bool]:
    """`Assessor` or `Batch` over columns of scores, and whether that is sure."""
    said = block.said(COLUMNS)
    if said:
        return said, True
    kind = names.kind_of(headers)
    if kind in ("fermentations", "assessor"):
        return LABELS[kind], True
    scores = SHEETS["scores"]
    given = [*block.headers, *(head.label for head in block.heads)]
    columns = {column.name for label in given if (column := column_in(label, scores))}
    if ("batch_id" in columns) != ("assessor_id" in columns):
        return ("Assessor", True) if "batch_id" in columns else ("Batch", True)
    return ("Batch" if all(_IDENTIFIER.fullmatch(head) for head in headers) else "Assessor"), False


def _without_summaries(block: Block) -> Block:
    sums = [at for at, header in enumerate(block.headers) if is_summary(header)]
    if not sums:
        return block
    keep = [at for at in range(block.width) if at not in sums]
    names = ", ".join(block.headers[at] for at in sums)
    return block.done("totals", f"left out {names}, which sums up", **block.only_columns(keep))


def _figures(block: Block, at: int) -> bool:
    filled = block.filled(at)
    kinds = [kind_of(text) for text in filled]
    return bool(filled) and sum(kind == Kind.NUMBER for kind in kinds) * 2 > len(filled)


def _readings(block: Block, names: Names) -> Block | None:
    """Readings with a column per batch: hours or times down, one figure in each cell."""
    down = [at for at, header in enumerate(block.headers) if _is_time(header)]
    across = [
        at
        for at, header in enumerate(block.headers)
        if at not in down and not known(header) and not is_summary(header)
    ]
    others = [at for at in range(block.width) if at not in down and at not in across]
    if not down or len(across) < 2 or any(_is_reading(block.headers[at]) for at in others):
        return None
    headers = [block.headers[at] for at in across]
    over = {block.groups[at] for at in across}
    header, sure = _what(block, names, headers, over)
    if not header:
        return None
    texts = [text for at in across for text in block.filled(at)]
    cells = block.said(CELLS) or next((one for one in over if one and _is_reading(one)), "")
    cells = cells or told_around(block)
    default = cells or ("Gravity" if is_gravity(texts) else "")
    groups = [Across(block.headers[at], block.header_places[at], (at,)) for at in across]
    says = f"turned {len(across)} columns into rows, one per {header.casefold()}"
    result = block.done(NAME, says, **stack(block, groups, [default or "Reading"], header))
    if not sure:
        evidence = f"They are headed {', '.join(headers[:6])}."
        result = result.asks(
            COLUMNS, "What are the columns of readings?", evidence, COLUMN_CHOICES[:3], header
        )
    if not cells:
        evidence = f"They run from {min(texts)} to {max(texts)}." if texts else ""
        result = result.asks(
            CELLS, "What are the figures of these columns?", evidence, CHOICES, default
        )
    return result


def _what(block: Block, names: Names, headers: Sequence[str], over: set[str]) -> tuple[str, bool]:
    said = block.said(COLUMNS)
    if said:
        return said, True
    kind = names.kind_of(headers)
    if kind in ("fermentations", "vessel"):
        return LABELS[kind], True
    label = next((group for group in over if group and _is_batch(group)), "")
    if label and len(over) == 1:
        return "Batch", True
    if all(_IDENTIFIER.fullmatch(head) for head in headers):
        return "Batch", False
    return "", False


def _is_time(header: str) -> bool:
    column = column_in(header, SHEETS["readings"])
    return plain(header) in ("date", "day") or (
        column is not None and column.name in ("read_at", "hours")
    )


def _is_reading(header: str) -> bool:
    found = columns_for(header, SHEETS["readings"])[0] if "readings" in sheets_with(header) else ()
    return any(column.name in ("sg", "ph", "temp_c", "cooling_pct") for column in found)
