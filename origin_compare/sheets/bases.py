"""Figures of grain and malt on one basis, whatever basis, unit or moisture the paper gave them in.

Nitrogen, extract and predicted spirit yield are put on dry matter, field yields at the house's one
moisture. The sheets keep every figure as written; what is worked out here is said beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from origin_compare.house import HouseRules
from origin_compare.measures import (
    as_is_to_dm,
    at_moisture,
    l_deg_kg_to_pct,
    per_t_dry,
    protein_to_n,
)
from origin_compare.sheets.catalogue import AS_IS, SHEETS
from origin_compare.sheets.frames import Sheets


@dataclass(frozen=True, slots=True)
class Other:
    """The same figure in another unit, which `into` converts on the same basis.

    `apart`: how far the two may differ by rounding, or by what the conversion is good to.
    """

    column: str
    name: str
    unit: str
    into: Callable[[Any], Any]
    apart: float


@dataclass(frozen=True, slots=True)
class Based:
    """A figure wanted on dry matter, and the columns that say how it was given."""

    column: str
    name: str
    unit: str
    places: int
    to_dry: Callable[[Any, Any], Any]
    basis: str
    moisture: str
    other: Other | None = None


NITROGEN = Based(
    "grain_n_pct_dm",
    "nitrogen",
    "%",
    2,
    as_is_to_dm,
    "grain_n_basis",
    "grain_moisture_pct",
    # nitrogen to 0.01 and protein to 0.1: 0.005 + 0.05 / 6.25
    Other("grain_protein_pct", "protein", "%", protein_to_n, 0.013),
)
EXTRACT = Based(
    "extract_pct_dm",
    "extract",
    "%",
    2,
    as_is_to_dm,
    "extract_basis",
    "moisture_pct",
    # what the conversion is good to
    Other("extract_l_deg_kg", "", "L°/kg", l_deg_kg_to_pct, 0.3),
)
PREDICTED = Based(
    "predicted_lpa_t", "predicted yield", "L/t", 0, per_t_dry, "predicted_basis", "moisture_pct"
)
BASED: Mapping[str, tuple[Based, ...]] = {"lots": (NITROGEN,), "malts": (EXTRACT, PREDICTED)}
BASIS_OF: Mapping[str, str] = {
    name: of.basis
    for all_of in BASED.values()
    for of in all_of
    for name in (of.column, *((of.other.column,) if of.other else ()))
}
"""By column the column that holds its basis."""

NAMED = {"lots": ("lot_id", "lot"), "malts": ("malt_id", "malt")}
"""The column that names a row, and what it is called."""

ONE_MOISTURE = "yield_at_moisture_pct"
"""The house rule that holds the moisture field yields are brought to."""

YIELD, YIELD_MOISTURE = "yield_t_ha", "yield_moisture_pct"


def on_one_basis(sheet: str, frame: pd.DataFrame, rules: HouseRules) -> pd.DataFrame:
    """Rows of `lots` or `malts` as they are compared: on dry matter, yields at one moisture."""
    dry = on_dry(sheet, frame)
    return at_one_moisture(dry, one_moisture(rules)) if sheet == "lots" else dry


def on_dry(sheet: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Rows of `lots` or `malts` with nitrogen, extract and predicted yield on dry matter.

    As is to dry needs the row's moisture; where that is missing, or the outcome is beyond what the
    column can hold, the figure comes out missing. The other unit stands in where the figure itself
    is not given. What was worked in is emptied, so that a second call changes nothing.
    """
    dry = frame
    for of in BASED[sheet]:
        worked_in = [of.basis, of.other.column] if of.other else [of.basis]
        if frame.reindex(columns=worked_in).isna().all(axis=None):
            continue
        dry = dry.copy() if dry is frame else dry
        dry[of.column] = steps(sheet, of, frame)["dry"]
        dry[of.basis] = pd.Series(None, index=frame.index, dtype="str")
        if of.other:
            dry[of.other.column] = float("nan")
    return dry


def one_moisture(rules: HouseRules) -> float | None:
    """The moisture, %, the house compares field yields at; None where it holds to no single one."""
    window = rules.windows.get(ONE_MOISTURE)
    return window.low if window and window.low == window.high else None


def at_one_moisture(lots: pd.DataFrame, wanted: float | None) -> pd.DataFrame:
    """Rows of `lots` with their yields at `wanted` % moisture, where theirs is stated.

    A yield without a moisture stays as harvested. A second call changes nothing.
    """
    if wanted is None or not {YIELD, YIELD_MOISTURE} <= set(lots):
        return lots
    stated = lots[YIELD].notna() & lots[YIELD_MOISTURE].notna()
    if not stated.any():
        return lots
    brought = at_moisture(lots[YIELD], lots[YIELD_MOISTURE], wanted)
    return lots.assign(
        **{
            YIELD: lots[YIELD].where(~stated, brought),
            YIELD_MOISTURE: lots[YIELD_MOISTURE].where(~stated, wanted),
        }
    )


def said(sheet: str, frame: pd.DataFrame, rules: HouseRules | None = None) -> pd.Series:
    """Per row what was converted, chosen or left out, in words; empty where nothing was.

    Without `rules` only what was put on dry matter is told.
    """
    key, row_is = NAMED[sheet]
    lines: dict[Any, list[str]] = {at: [] for at in frame.index}
    for of in BASED[sheet]:
        for at, told in _told(sheet, of, frame):
            lines[at].append(f"{row_is} {frame[key][at]}, {of.name}: {told}")
    if sheet == "lots" and rules is not None:
        for at, told in _yields_told(frame, one_moisture(rules)):
            lines[at].append(f"{row_is} {frame[key][at]}, yield: {told}")
    return pd.Series(["; ".join(one) for one in lines.values()], frame.index, dtype="str")


def said_of(sheet: str, frame: pd.DataFrame, column: str, rules: HouseRules) -> list[str]:
    """What `said` has to say of one column of `lots` or `malts`, each once; empty for others."""
    if sheet not in BASED:
        return []
    key, row_is = NAMED[sheet]
    name = next((of.name for of in BASED[sheet] if of.column == column), "yield")
    told = told_by_row(sheet, frame, column, rules)
    lines = [f"{row_is} {frame[key][at]}, {name}: {text}" for at, text in told.items()]
    return list(dict.fromkeys(lines))


def told_by_row(sheet: str, frame: pd.DataFrame, column: str, rules: HouseRules) -> dict[Any, str]:
    """By row of `lots` or `malts` how a figure was brought to one basis, where it was."""
    of = next((one for one in BASED[sheet] if one.column == column), None)
    if of is not None:
        return dict(_told(sheet, of, frame))
    if (sheet, column) == ("lots", YIELD):
        return dict(_yields_told(frame, one_moisture(rules)))
    return {}


def cells_used(sheet: str, rows: pd.DataFrame, column: str) -> list[tuple[pd.DataFrame, str]]:
    """The cells a compared figure came from: rows with the column used of them."""
    if sheet == "lots" and column == YIELD:
        return [(rows, YIELD), (rows[rows[YIELD].notna()], YIELD_MOISTURE)]
    of = next((one for one in BASED.get(sheet, ()) if one.column == column), None)
    if of is None:
        return [(rows, column)]
    done = steps(sheet, of, rows)
    others = [(rows[done["by_other"] | done["differ"]], of.other.column)] if of.other else []
    return [
        (rows, column),
        *others,
        (rows[done["taken"].notna()], of.basis),
        (rows[done["as_is"]], of.moisture),
    ]


def batch_notes(sheets: Sheets, shares: pd.DataFrame, rules: HouseRules) -> pd.Series:
    """What `said` has to say of the lots and malts of each batch, joined by `; `."""
    lots = sheets["lots"].drop_duplicates("lot_id")
    malts = sheets["malts"]
    of_batch = [
        _by_batch(shares, "lot_id", lots, said("lots", lots, rules)),
        _by_batch(sheets["mashes"], "malt_id", malts, said("malts", malts)),
    ]
    lines = pd.concat(of_batch).drop_duplicates()
    return lines.groupby("batch_id")["note"].agg("; ".join).astype("str")


def _by_batch(
    rows: pd.DataFrame, key: str, described: pd.DataFrame, notes: pd.Series
) -> pd.DataFrame:
    told = described[[key]].assign(note=notes)[notes != ""]
    return rows[["batch_id", key]].merge(told, on=key)[["batch_id", "note"]]


def steps(sheet: str, of: Based, frame: pd.DataFrame) -> pd.DataFrame:
    """How each row's figure came to dry matter.

    Columns: given, other and other_into (the other unit, and the same converted), taken (which of
    them counts), moisture, worked, dry (worked, or missing where it cannot be); by_other, as_is,
    differ, no_basis.
    """
    key = NAMED[sheet][0]
    other_column = of.other.column if of.other else "_no_other"
    frame = frame.reindex(columns=[key, of.column, other_column, of.basis, of.moisture])
    given, other = frame[of.column], frame[other_column].astype("float64")
    basis, moisture = frame[of.basis], frame[of.moisture]
    if sheet == "malts":  # a certificate is the whole malting's, written beside one lot or each
        malting = frame.groupby(key)
        basis = basis.fillna(malting[of.basis].transform("first"))
        moisture = moisture.fillna(malting[of.moisture].transform("mean"))
    into = of.other.into(other) if of.other else other
    taken = given.fillna(into)
    as_is = basis.eq(AS_IS).fillna(False).astype(bool) & taken.notna()
    worked = taken.where(~as_is, of.to_dry(taken, moisture))
    by_other = given.isna() & other.notna()
    low, high = SHEETS[sheet].column(of.column).possible or (float("-inf"), float("inf"))
    kept = worked.between(low, high) | ~(as_is | by_other)
    apart = of.other.apart if of.other else 0.0
    return pd.DataFrame(
        {
            "given": given,
            "other": other,
            "other_into": into,
            "taken": taken,
            "moisture": moisture,
            "worked": worked,
            "dry": worked.where(kept),
            "by_other": by_other,
            "as_is": as_is,
            "no_basis": basis.isna(),
            "differ": (given - into).abs() > apart + 1e-9,
        }
    )


def _told(sheet: str, of: Based, frame: pd.DataFrame) -> Iterator[tuple[Any, str]]:
    done = steps(sheet, of, frame)
    changed = done["as_is"] | done["by_other"] | done["differ"]
    for at in frame.index[changed]:
        yield at, "; ".join(_words(of, done.loc[at]))


def _words(of: Based, row: pd.Series) -> Iterator[str]:
    worked = f"{row['worked']:.{of.places}f} {of.unit}"
    if of.other:
        other = f"{of.other.name} {row['other']:g} {of.other.unit}".lstrip()
        if row["by_other"]:
            yield f"{row['taken']:.2f} {of.unit} from {other}"
            if row["no_basis"]:
                yield "no basis is given, taken as dry"
        if row["differ"]:
            into = f"{row['other_into']:.2f} {of.unit}"
            yield f"{row['given']:g} {of.unit} is kept, though {other} would be {into}"
    if row["as_is"] and pd.isna(row["moisture"]):
        yield f"{row['taken']:.4g} {of.unit} is as is and no moisture is given, so it is left out"
    elif row["as_is"]:
        at = f"at {row['moisture']:g} % moisture"
        yield f"{row['taken']:.4g} {of.unit} as is {at} makes {worked} dry"
    if pd.notna(row["worked"]) and pd.isna(row["dry"]):
        yield f"{worked} cannot be, so it is left out"


def _yields_told(lots: pd.DataFrame, wanted: float | None) -> Iterator[tuple[Any, str]]:
    """The yields that were brought to another moisture than their own."""
    brought = at_one_moisture(lots, wanted)
    if brought is lots:
        return
    for at in lots.index[(brought[YIELD_MOISTURE] != lots[YIELD_MOISTURE]) & lots[YIELD].notna()]:
        given, moisture, now = lots.loc[at, YIELD], lots.loc[at, YIELD_MOISTURE], brought[YIELD][at]
        if pd.notna(moisture):
            yield at, f"{given:g} t/ha at {moisture:g} % moisture makes {now:.2f} at {wanted:g} %"
