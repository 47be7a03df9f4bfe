"""Rows held against the sheets they point to: what leads nowhere, and what must stay whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches

import numpy as np
import pandas as pd

from origin_compare.intake.checks.spelling import bare
from origin_compare.intake.clean import AT
from origin_compare.intake.findings import finding
from origin_compare.intake.ledger import ASIDE, Ledger
from origin_compare.sheets.catalogue import SHEETS, Column, Sheet


def check_links(
    ledgers: list[Ledger],
    sheet: Sheet,
    held: Mapping[str, set[str]],
    aside: Mapping[str, Mapping[str, str]],
    strict: bool,
) -> list[str]:
    """Rows that point to nothing are set aside, with the nearest name or where that row went.

    `held`: per sheet the names it holds; `aside`: per sheet names whose row was set aside, with
    the place. Returns the sheets that are absent altogether (checked only if `strict`).
    """
    absent: list[str] = []
    for column in sheet.columns:
        parent = column.links_to
        if parent is None:
            continue
        if not held[parent] and not aside[parent] and not strict:
            if any(one.frame[column.name].notna().any() for one in ledgers):
                absent.append(parent)
            continue
        for one in ledgers:
            _check_link(one, column, parent, held[parent], aside[parent])
    return absent


def keep_whole(ledgers: list[Ledger], sheet: Sheet) -> None:
    """A malt or a mash of which one part is set aside goes aside whole.

    The parts left alone would look like a single field's, and nothing would say otherwise.
    """
    whole = sheet.key[0]
    aside = _parts_lost(ledgers, sheet)
    for one in ledgers:
        names = one.frame[whole]
        rows = one.frame[names.isin(list(aside))]
        if rows.empty:
            continue
        values = rows[whole].tolist()
        wrong = [f"has another part that was set aside ({aside[name]})" for name in values]
        mend = "Mend that row, then bring all parts again: its origin must be known in full."
        one.put_aside(finding(rows[AT].to_numpy(), whole, values, wrong, mend))


def _parts_lost(ledgers: Sequence[Ledger], sheet: Sheet) -> dict[str, str]:
    """First key -> place of rows set aside whose whole key no good row carries."""
    good = {
        tuple(str(part) for part in parts)
        for one in ledgers
        for parts in one.frame[list(sheet.key)].itertuples(index=False)
    }
    lost: dict[str, str] = {}
    for one in ledgers:
        at = {m.column.name: m.at for m in one.cleaned.guess.mapped}
        fill = {name: sheet.column(name).default or "" for name in sheet.key}
        for position in np.flatnonzero(one.state == ASIDE):
            cells = one.cleaned.raw.cells.iloc[int(position)]
            parts = [" ".join(str(cells[at[n]]).split()) if n in at else "" for n in sheet.key]
            whole = tuple(part or fill[name] for part, name in zip(parts, sheet.key, strict=True))
            if whole not in good:
                lost.setdefault(whole[0], f"{one.label} row {one.rows[position]}")
    return lost


def names_of(frame: pd.DataFrame, sheet: str) -> set[str]:
    """The names by which other sheets point to this one."""
    return set(frame[SHEETS[sheet].key[0]].dropna().unique()) if len(frame) else set()


def names_aside(ledgers: Sequence[Ledger], sheet: str) -> dict[str, str]:
    """Name -> place of rows set aside, read from the raw cells of the first key column."""
    found: dict[str, str] = {}
    key = SHEETS[sheet].key[0]
    for one in ledgers:
        at = next((m.at for m in one.cleaned.guess.mapped if m.column.name == key), None)
        if at is None:
            continue
        for position in np.flatnonzero(one.state == ASIDE):
            name = " ".join(str(one.cleaned.raw.cells[at].iat[int(position)]).split())
            found.setdefault(name, f"{one.label} row {one.rows[position]}")
    return found


def _check_link(
    one: Ledger, column: Column, parent: str, held: set[str], aside: Mapping[str, str]
) -> None:
    """List the rows of one table whose link leads nowhere."""
    names = one.frame[column.name]
    lost = names.notna() & ~names.isin(held)
    if one.sheet == "scores":  # a control or warm-up sample need not be a batch of the house
        lost &= (one.frame["sample_kind"] == "batch").to_numpy()
    if not lost.any():
        return
    rows = one.frame[lost].drop_duplicates(AT)
    told = {name: _why_lost(name, parent, held, aside) for name in rows[column.name].unique()}
    values = rows[column.name].tolist()
    one.put_aside(
        finding(
            rows[AT].to_numpy(),
            column.name,
            values,
            [told[value][0] for value in values],
            [told[value][1] for value in values],
        )
    )


def _why_lost(name: str, parent: str, held: set[str], aside: Mapping[str, str]) -> tuple[str, str]:
    if name in aside:
        return (
            f"waits for its row in {parent}, which was set aside ({aside[name]})",
            "Mend that row first, then bring both again.",
        )
    wrong = f"is not in {parent}"
    near = _nearest(name, held)
    if near:
        return wrong, f"Was {near} meant? Write it exactly so."
    if not held:
        return wrong, f"Bring the {parent} sheet as well; there is none yet."
    return wrong, f"Add it to {parent}, or correct it here."


def _nearest(name: str, held: set[str]) -> str:
    """A held name, the same but for case, blanks, signs and leading zeros, else a close one."""
    same = {bare(other): other for other in held}.get(bare(name))
    if same:
        return same
    near = get_close_matches(name, sorted(held), n=1, cutoff=0.86) if len(held) < 5000 else []
    return near[0] if near and _figures(near[0]) == _figures(name) else ""


def _figures(name: str) -> str:
    """Two names with different figures are different things, however alike they look."""
    return "".join(sign for sign in name if sign.isdigit()).lstrip("0")
