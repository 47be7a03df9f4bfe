"""Rows held against one another and against the store."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from origin_compare.intake.clean import AT
from origin_compare.intake.findings import finding
from origin_compare.intake.known import Known
from origin_compare.intake.ledger import REPEATED, THERE, Ledger, together
from origin_compare.sheets.catalogue import Column, Sheet
from origin_compare.sheets.fingerprint import content_prints, content_under, key_prints
from origin_compare.sheets.keys import key_text


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
    rows = everything[later]
    same = _same_content(rows, everything.iloc[first], sheet)
    for at, one in enumerate(ledgers):
        mine = (rows["_table"] == at).to_numpy()
        if mine.any():
            _tell_repeats(one, rows[mine & same], everything, first[mine & same], ledgers)
            clash = mine & ~same
            _tell_clashes(one, rows[clash], everything, first[clash], ledgers, sheet)


def hold_against_store(ledgers: list[Ledger], sheet: Sheet, known: Known) -> int:
    """Rows the store has already leave quietly; other content under the same key is a fault.

    Returns how many clean rows the store has already.
    """
    there = 0
    for one in ledgers:
        keys = key_prints(sheet.name, one.frame)
        stands, content = content_under(keys, known.contents(sheet.name, keys))
        met = one.frame[stands]
        same = content_prints(sheet.name, met).to_numpy() == content[stands]
        other = met[~same]
        if len(other):
            partners = known.rows(sheet.name, keys[other.index])
            same[~same] = _held_against(one, other, sheet, partners)
        still = one.frame.index.isin(met.index[same])
        there += int(still.sum())
        one.let_go(still, THERE)
    return there


def _held_against(one: Ledger, mine: pd.DataFrame, sheet: Sheet, known: pd.DataFrame) -> np.ndarray:
    """Tell the rows that contradict the store; whether each row says the same after all.

    A figure that was worked out, such as a gravity from degrees Plato, may differ in its last
    binary digit, and the prints with it.
    """
    theirs = known.iloc[_partners(mine, known, sheet)]
    same = _same_content(mine, theirs, sheet)
    if not same.all():
        one.against_store.append(differences(mine[~same], theirs[~same], sheet, one.label))
    _tell_store_clashes(one, mine[~same], theirs[~same], sheet)
    return same


DIFFERENCE = ["sheet", "key", "column", "in_store", "in_file", "file", "file_row"]


def differences(mine: pd.DataFrame, theirs: pd.DataFrame, sheet: Sheet, file: str) -> pd.DataFrame:
    """One line (`DIFFERENCE`) per cell of `mine` that differs from its partner in `theirs`."""
    names = [name for name in sheet.names() if name not in sheet.key]
    new, old = _comparable(mine, names), _comparable(theirs, names)
    keys = key_text(sheet.name, mine).tolist()
    rows = mine["_row"].tolist()
    lines: list[tuple[object, ...]] = []
    for name in names:
        a, b = new[name].to_numpy(), old[name].to_numpy()
        for at in np.flatnonzero(~((a == b) | (pd.isna(a) & pd.isna(b)))):
            was, now = (shown(one[name].iloc[at], sheet.column(name)) for one in (theirs, mine))
            lines.append((sheet.name, keys[at], name, was, now, file, rows[at]))
    return pd.DataFrame(lines, columns=DIFFERENCE)


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
    """(column, old text, new text) of the first column that differs in what it shows."""
    for name in sheet.names():
        if name in sheet.key:
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
    """Whether rows of one key say the same, pair by pair: figures to nine decimals."""
    names = [name for name in sheet.names() if name not in sheet.key]
    new, old = _comparable(mine, names), _comparable(theirs, names)
    same = np.ones(len(mine), dtype=bool)
    for name in names:
        a, b = new[name].to_numpy(), old[name].to_numpy()
        both_missing = pd.isna(a) & pd.isna(b)
        same &= (a == b) | both_missing
    return same
