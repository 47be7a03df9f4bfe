"""Grain nitrogen and malt extract on dry matter, whatever basis and unit the paper gave them in.

The sheets keep every figure as written; what is worked out here is said in words beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from origin_compare.measures import as_is_to_dm, l_deg_kg_to_pct, protein_to_n
from origin_compare.records.sheets import AS_IS, SHEETS


@dataclass(frozen=True, slots=True)
class Based:
    """A figure wanted on dry matter, and the columns that say how it was given.

    `other`: the same in another unit, which `into` converts, on the same basis; `apart`: how far
    the two may differ by rounding, or by what the conversion is good to, points.
    """

    column: str
    key: str
    row_is: str
    name: str
    other: str
    other_name: str
    other_unit: str
    into: Callable[[Any], Any]
    basis: str
    moisture: str
    apart: float


BASED: Mapping[str, Based] = {
    "lots": Based(
        "grain_n_pct_dm", "lot_id", "lot", "nitrogen", "grain_protein_pct", "protein", "%",
        protein_to_n, "grain_n_basis", "grain_moisture_pct",
        0.013,  # nitrogen to 0.01 and protein to 0.1: 0.005 + 0.05 / 6.25
    ),
    "malts": Based(
        "extract_pct_dm", "malt_id", "malt", "extract", "extract_l_deg_kg", "", "L°/kg",
        l_deg_kg_to_pct, "extract_basis", "moisture_pct",
        0.3,  # what the conversion is good to
    ),
}  # fmt: skip


def on_dry(sheet: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Rows of `lots` or `malts` with their figure on dry matter, %, in its `_dm` column.

    As is to dry needs the row's moisture; where that is missing, or the outcome is beyond what the
    column can hold, the figure comes out missing. The other unit stands in where the figure itself
    is not given. What was worked in is emptied, so that a second call changes nothing.
    """
    of = BASED[sheet]
    if frame.reindex(columns=[of.basis, of.other]).isna().all(axis=None):
        return frame
    dry = frame.copy()
    dry[of.column] = _steps(sheet, frame)["dry"]
    dry[of.other] = float("nan")
    dry[of.basis] = pd.Series(None, index=frame.index, dtype="str")
    return dry


def said(sheet: str, frame: pd.DataFrame) -> pd.Series:
    """Per row what was converted, chosen or left out, in words; empty where nothing was."""
    of, steps = BASED[sheet], _steps(sheet, frame)
    changed = steps["as_is"] | steps["by_other"] | steps["differ"]
    words = pd.Series("", index=frame.index, dtype="str")
    for at in frame.index[changed]:
        told = "; ".join(_words(of, steps.loc[at]))
        words[at] = f"{of.row_is} {frame.loc[at, of.key]}, {of.name}: {told}"
    return words


def cells_used(sheet: str, rows: pd.DataFrame, column: str) -> list[tuple[pd.DataFrame, str]]:
    """The cells `column` on dry matter came from: rows with the column used of them."""
    of = BASED.get(sheet)
    if of is None or column != of.column:
        return [(rows, column)]
    steps = _steps(sheet, rows)
    given = rows[steps["taken"].notna()]
    return [
        (rows, column),
        (rows[steps["by_other"] | steps["differ"]], of.other),
        (given, of.basis),
        (rows[steps["as_is"]], of.moisture),
    ]


def batch_notes(sheets: Mapping[str, pd.DataFrame], shares: pd.DataFrame) -> pd.Series:
    """What `said` has to say of the lots and malts of each batch, joined by `; `."""
    lots = sheets["lots"].drop_duplicates("lot_id")
    malts = sheets["malts"]
    of_batch = [
        _by_batch(shares, "lot_id", lots, said("lots", lots)),
        _by_batch(sheets["mashes"], "malt_id", malts, said("malts", malts)),
    ]
    lines = pd.concat(of_batch).drop_duplicates()
    return lines.groupby("batch_id")["note"].agg("; ".join).astype("str")


def _by_batch(
    rows: pd.DataFrame, key: str, described: pd.DataFrame, notes: pd.Series
) -> pd.DataFrame:
    told = described[[key]].assign(note=notes)[notes != ""]
    return rows[["batch_id", key]].merge(told, on=key)[["batch_id", "note"]]


def _steps(sheet: str, frame: pd.DataFrame) -> pd.DataFrame:
    """given, other, other_pct, taken, moisture, worked, dry; by_other, as_is, differ, no_basis."""
    of = BASED[sheet]
    frame = frame.reindex(columns=[of.key, of.column, of.other, of.basis, of.moisture])
    given, other = frame[of.column], frame[of.other]
    basis, moisture = frame[of.basis], frame[of.moisture]
    if sheet == "malts":  # a certificate is the whole malting's, written beside one lot or each
        malting = frame.groupby(of.key)
        basis = basis.fillna(malting[of.basis].transform("first"))
        moisture = moisture.fillna(malting[of.moisture].transform("mean"))
    other_pct = of.into(other)
    taken = given.fillna(other_pct)
    as_is = basis.eq(AS_IS).fillna(False).astype(bool) & taken.notna()
    worked = taken.where(~as_is, as_is_to_dm(taken, moisture))
    by_other = given.isna() & other.notna()
    low, high = SHEETS[sheet].column(of.column).possible or (float("-inf"), float("inf"))
    kept = worked.between(low, high) | ~(as_is | by_other)
    return pd.DataFrame(
        {
            "given": given, "other": other, "other_pct": other_pct, "taken": taken,
            "moisture": moisture, "worked": worked, "dry": worked.where(kept),
            "by_other": by_other, "as_is": as_is, "no_basis": basis.isna(),
            "differ": (given - other_pct).abs() > of.apart + 1e-9,
        }
    )  # fmt: skip


def _words(of: Based, row: pd.Series) -> Iterator[str]:
    other = f"{of.other_name} {row['other']:g} {of.other_unit}".lstrip()
    if row["by_other"]:
        yield f"{row['taken']:.2f} % from {other}"
        if row["no_basis"]:
            yield "no basis is given, taken as dry"
    if row["differ"]:
        yield f"{row['given']:g} % is kept, though {other} would be {row['other_pct']:.2f} %"
    if row["as_is"] and pd.isna(row["moisture"]):
        yield f"{row['taken']:.4g} % is as is and no moisture is given, so it is left out"
    elif row["as_is"]:
        at = f"at {row['moisture']:g} % moisture"
        yield f"{row['taken']:.4g} % as is {at} makes {row['worked']:.2f} % dry"
    if pd.notna(row["worked"]) and pd.isna(row["dry"]):
        yield f"{row['worked']:.2f} % cannot be, so it is left out"
