"""Rows held against one another, against the store, and against the sheets they point to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches

import numpy as np
import pandas as pd

from origin_compare.records.clean import AT
from origin_compare.records.findings import finding
from origin_compare.records.ledger import ASIDE, REPEATED, THERE, Ledger, together
from origin_compare.records.sheets import SHEETS, Column, Sheet

CONTENT = "_content"
"""In a frame of the store's rows: their `content_hash`, where their columns are not given."""


def content_hash(frame: pd.DataFrame, sheet: Sheet) -> pd.Series:
    """A number per row that is the same for rows of the same content (uint64).

    Over all columns of the sheet, in its order; figures to nine decimals, so that a value that
    went through a database compares equal.
    """
    return pd.util.hash_pandas_object(_comparable(frame, sheet.names()), index=False)


def drop_repeats(ledgers: list[Ledger], sheet: Sheet) -> None:
    """Identical rows are kept once, with a warning; the same key with other content is a fault."""
    if not ledgers or not sum(len(one.frame) for one in ledgers):
        return
    if not together(ledgers, sheet.key).duplicated(list(sheet.key)).any():
        return
    everything = together(ledgers, sheet.names())
    key = _key_numbers(everything, sheet)
    later = pd.Series(key).duplicated().to_numpy()
    first = _first_of(key)[later]
    content = content_hash(everything, sheet).to_numpy()
    rows = everything[later]
    same = content[later] == content[first]
    for at, one in enumerate(ledgers):
        mine = (rows["_table"] == at).to_numpy()
        if mine.any():
            _tell_repeats(one, rows[mine & same], everything, first[mine & same], ledgers)
            clash = mine & ~same
            _tell_clashes(one, rows[clash], everything, first[clash], ledgers, sheet)


def hold_against_store(ledgers: list[Ledger], sheet: Sheet, known: pd.DataFrame) -> int:
    """Rows the store has already leave quietly; other content under the same key is a fault.

    Returns how many clean rows the store has already.
    """
    there = 0
    for one in ledgers:
        if one.frame.empty or known.empty:
            continue
        partner = _partners(one.frame, known, sheet)
        met = partner >= 0
        if not met.any():
            continue
        mine, theirs = one.frame[met], known.iloc[partner[met]]
        same = _same_content(mine, theirs, sheet)
        _tell_store_clashes(one, mine[~same], theirs[~same], sheet)
        still = one.frame.index.isin(mine.index[same])
        there += int(still.sum())
        one.let_go(still, THERE)
    return there


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
    aside = names_aside(ledgers, sheet.name)
    for one in ledgers:
        names = one.frame[whole]
        rows = one.frame[names.isin(list(aside))]
        if rows.empty:
            continue
        values = rows[whole].tolist()
        wrong = [f"has another part that was set aside ({aside[name]})" for name in values]
        mend = "Mend that row, then bring all parts again: its origin must be known in full."
        one.put_aside(finding(rows[AT].to_numpy(), whole, values, wrong, mend))


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


def _comparable(frame: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Columns in one form each, so that equal content is equal bytes."""
    plain: dict[str, pd.Series] = {}
    for name in names:
        values = frame[name]
        if isinstance(values.dtype, pd.DatetimeTZDtype) or values.dtype.kind == "M":
            plain[name] = values.astype("int64")
        elif pd.api.types.is_numeric_dtype(values.dtype):
            plain[name] = values.astype("float64").round(9) + 0.0
        else:
            plain[name] = values.astype("str").fillna("")
    return pd.DataFrame(plain, index=frame.index)


def _key_numbers(frame: pd.DataFrame, sheet: Sheet) -> np.ndarray:
    """One number per row, equal exactly where all key columns are (missing equals missing)."""
    return frame.groupby(list(sheet.key), dropna=False, sort=False).ngroup().to_numpy()


def _first_of(key: np.ndarray) -> np.ndarray:
    """Per row the position of the first row with its number."""
    order = pd.Series(np.arange(len(key))).groupby(key).transform("first")
    return order.to_numpy()


def _tell_repeats(
    one: Ledger,
    rows: pd.DataFrame,
    everything: pd.DataFrame,
    first: np.ndarray,
    ledgers: list[Ledger],
) -> None:
    if rows.empty:
        return
    at, where = _by_source(rows, everything, first, ledgers)
    one.let_go(one.frame[AT].notna().to_numpy() & _at_places(one, rows), REPEATED)
    text = [f"says the same as {place}" for place in where]
    one.put_aside(finding(at, "", "", text, "It is kept once; nothing to mend.", "warning"))


def _tell_clashes(
    one: Ledger,
    rows: pd.DataFrame,
    everything: pd.DataFrame,
    first: np.ndarray,
    ledgers: list[Ledger],
    sheet: Sheet,
) -> None:
    if rows.empty:
        return
    at, where = _by_source(rows, everything, first, ledgers)
    begins = pd.Series(np.arange(len(rows))).groupby(rows[AT].to_numpy()).first().to_numpy()
    mine, theirs = rows.iloc[begins], everything.iloc[first[begins]]
    wrong, values, columns = [], [], []
    for (_, new), (_, old), place in zip(mine.iterrows(), theirs.iterrows(), where, strict=True):
        column, was, now = first_difference(old, new, sheet)
        columns.append(column)
        values.append(now)
        wrong.append(f"differs from {was} in {place}, which is the same {_key_says(new, sheet)}")
    _put_by_column(one, at, columns, values, wrong, "Keep the right one of the two rows.")


def _tell_store_clashes(one: Ledger, rows: pd.DataFrame, known: pd.DataFrame, sheet: Sheet) -> None:
    if rows.empty:
        return
    begins = pd.Series(np.arange(len(rows))).groupby(rows[AT].to_numpy()).first().to_numpy()
    mine, theirs = rows.iloc[begins], known.iloc[begins]
    wrong, values, columns = [], [], []
    for (_, new), (_, old) in zip(mine.iterrows(), theirs.iterrows(), strict=True):
        column, was, now = first_difference(old, new, sheet)
        columns.append(column)
        values.append(now)
        wrong.append(f"clashes with the store, which has {was} for {_key_says(new, sheet)}")
    mend = "If the file is right, correct the row in the store; if not, mend the file."
    _put_by_column(one, mine[AT].to_numpy(), columns, values, wrong, mend)


def _put_by_column(
    one: Ledger,
    at: np.ndarray,
    columns: Sequence[str],
    values: Sequence[str],
    wrong: Sequence[str],
    mend: str,
) -> None:
    named = np.asarray(columns, dtype=object)
    for column in dict.fromkeys(columns):
        here = np.flatnonzero(named == column)
        one.put_aside(
            finding(
                at[here],
                column,
                [values[int(i)] for i in here],
                [wrong[int(i)] for i in here],
                mend,
            )
        )


def first_difference(old: pd.Series, new: pd.Series, sheet: Sheet) -> tuple[str, str, str]:
    """(column, old text, new text) of the first column that differs, empty texts if unknown."""
    for name in sheet.names():
        if name in sheet.key or name not in old.index:
            continue
        was, now = shown(old[name], sheet.column(name)), shown(new[name], sheet.column(name))
        if was != now:
            return name, was, now
    return "", "other content", ""


def shown(value: object, column: Column) -> str:
    """A stored value in words."""
    if value is None or pd.isna(value):  # type: ignore[call-overload]
        return "nothing"
    if isinstance(value, pd.Timestamp):
        if column.kind == "date":
            return value.date().isoformat()
        return f"{value.tz_convert('UTC') if value.tzinfo else value:%Y-%m-%d %H:%M} UTC"
    if column.kind == "gravity":
        return f"{float(value):.4f}"  # type: ignore[arg-type]
    if isinstance(value, int | float | np.number):
        return f"{round(float(value), 6):.10g}"
    return str(value)


def _key_says(row: pd.Series, sheet: Sheet) -> str:
    parts = [
        f"{name} {shown(row[name], sheet.column(name))}"
        for name in sheet.key
        if pd.notna(row[name])
    ]
    return ", ".join(parts)


def _by_source(
    rows: pd.DataFrame, everything: pd.DataFrame, first: np.ndarray, ledgers: list[Ledger]
) -> tuple[np.ndarray, list[str]]:
    """Raw positions the rows come from, once each, and the place of the row each repeats."""
    begins = pd.Series(np.arange(len(rows))).groupby(rows[AT].to_numpy()).first().to_numpy()
    partners = everything.iloc[first[begins]]
    where = [
        f"{ledgers[table].label} row {row}"
        for table, row in zip(partners["_table"], partners["_row"], strict=True)
    ]
    return rows[AT].to_numpy()[begins], where


def _at_places(one: Ledger, rows: pd.DataFrame) -> np.ndarray:
    mask = np.zeros(len(one.frame), dtype=bool)
    mask[rows["_place"].to_numpy()] = True
    return mask


def _partners(frame: pd.DataFrame, known: pd.DataFrame, sheet: Sheet) -> np.ndarray:
    """Per row of `frame` the position of the row of `known` with the same key, -1 if none."""
    names = list(sheet.key)
    both = pd.concat([_comparable(known, names), _comparable(frame, names)], ignore_index=True)
    numbers = both.groupby(names, dropna=False, sort=False).ngroup().to_numpy()
    old, new = numbers[: len(known)], numbers[len(known) :]
    place = np.full(numbers.max() + 1, -1, dtype=np.int64)
    place[old[::-1]] = np.arange(len(known))[::-1]
    return place[new]


def _same_content(mine: pd.DataFrame, theirs: pd.DataFrame, sheet: Sheet) -> np.ndarray:
    if CONTENT in theirs:
        hashes = content_hash(mine, sheet).to_numpy()
        return hashes == theirs[CONTENT].to_numpy().astype(np.uint64)
    shared = [name for name in sheet.names() if name in theirs and name not in sheet.key]
    new, old = _comparable(mine, shared), _comparable(theirs, shared)
    same = np.ones(len(mine), dtype=bool)
    for name in shared:
        a, b = new[name].to_numpy(), old[name].to_numpy()
        both_missing = pd.isna(a) & pd.isna(b)
        same &= (a == b) | both_missing
    return same


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
    bare = {_bare(other): other for other in held}
    same = bare.get(_bare(name))
    if same:
        return same
    near = get_close_matches(name, sorted(held), n=1, cutoff=0.86) if len(held) < 5000 else []
    return near[0] if near and _figures(near[0]) == _figures(name) else ""


def _bare(name: str) -> str:
    kept = "".join(sign for sign in name.casefold() if sign.isalnum())
    return kept.lstrip("0") if kept.isdigit() else kept


def _figures(name: str) -> str:
    """Two names with different figures are different things, however alike they look."""
    return "".join(sign for sign in name if sign.isdigit()).lstrip("0")
