"""From a figure in a table to the recorded cells behind it: what the trace page is asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import pandas as pd

from origin_compare import words
from origin_compare.season.package import as_given
from origin_compare.season.season import Season
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.keys import key_text
from origin_compare.trace.sources import is_worked_out

CELL, FIGURE = "a recorded cell", "a worked-out figure"
NAMES = ("batch_id", "lot_id", "grower_id", "malt_id", "delivery_id")
"""Columns by which a table's row says what it is about."""

_SHEET_OF = {
    "batch_id": "fermentations",
    "lot_id": "lots",
    "grower_id": "growers",
    "malt_id": "malts",
    "delivery_id": "yeasts",
}
_STEP_SHEET = {
    "grower": "growers",
    "lot": "lots",
    "malt": "malts",
    "mash": "mashes",
    "yeast": "yeasts",
    "fermentation": "fermentations",
    "readings": "readings",
    "spirit": "spirits",
    "grain steeped": "malts",
    "alcohol in the wash": "spirits",
}
_STEP_FIGURE = {
    "malt mashed": "grist_kg",
    "extract in the malt": "extract_pct_dm",
    "extract in the wort": "mash_wort_sg",
    "alcohol by gravity": "wash_abv_calc_pct",
    "alcohol in new make": "lpa",
}
_CHANNEL_FIGURE = {
    "gravity": "max_rate_deg_h",
    "pH": "after_yeast_ph",
    "temperature": "h_above_window",
}
_ROUNDED_H = 0.006
"""Hours in a table may be rounded to two decimals."""


@dataclass(frozen=True, slots=True)
class Lead:
    """What a link to the trace page says, and what it asks that page for."""

    says: str
    query: Mapping[str, str]


Leading = Callable[[Mapping[str, object], str], list[Lead]]
"""From a table's row and column to the leads of the figure there."""


def leading(season: Season, /, **about: str) -> Leading:
    """`leads` for one table: `about` as there."""
    return lambda row, column: leads(season, row, column, about)


def leads(
    season: Season, row: Mapping[str, object], column: str, about: Mapping[str, str]
) -> list[Lead]:
    """Where the figure in `column` of a table's `row` came from, one lead per batch or row behind.

    `about`: names (`NAMES`, `season`; `beside`, a second batch) the whole table is about. A figure
    that no cell can be named for leads to the record of what its row is about; none: no lead.
    """
    named = {**about, **{name: str(row[name]) for name in (*NAMES, "season") if _filled(row, name)}}
    if "step" in row:
        return _step(season, str(row["step"]), str(row.get("name", "")), named)
    if "figure" in row:
        column = _column_called(season, str(row["figure"]))
    if "batch_id" in named:
        both = (named[name] for name in ("batch_id", "beside") if name in named)
        return [one for batch in both for one in _of_batch(season, row, column, batch)]
    lots = _lots(season, named)
    if column in SHEETS["lots"].names() and lots:
        return [_cell("lots", lot, column) for lot in lots]
    batches = _batches(season, lots)
    if _filled(row, "attribute"):
        return [_figure(batch, f"score_{row['attribute']}") for batch in batches]
    if is_worked_out(column):
        return [_figure(batch, column) for batch in batches]
    return _record(named, column)


def _of_batch(season: Season, row: Mapping[str, object], column: str, batch: str) -> list[Lead]:
    if _filled(row, "attribute"):
        return [_figure(batch, f"score_{row['attribute']}")]
    if column in SHEETS["readings"].names() and "hours" in row:
        return _reading(season, batch, row["hours"], column)
    if str(row.get("channel") or "") in _CHANNEL_FIGURE:
        return [_figure(batch, _CHANNEL_FIGURE[str(row["channel"])])]
    if is_worked_out(column):
        return [_figure(batch, column)]
    if column in _attributes(season):
        return [_figure(batch, f"score_{column}")]
    return _record({"batch_id": batch}, column)


def _step(season: Season, step: str, name: str, named: Mapping[str, str]) -> list[Lead]:
    """A step of a chain or of a balance."""
    batch = named.get("batch_id", "")
    if step in _STEP_FIGURE and batch:
        return [_figure(batch, _STEP_FIGURE[step])]
    sheet = _STEP_SHEET.get(step)
    if sheet is None or not batch:
        return []
    if SHEETS[sheet].key[0] == "batch_id":
        return [_cell(sheet, batch)]
    if name:
        return [_cell(sheet, name)]
    mashes = season.sheets["mashes"]
    malts = mashes.loc[mashes["batch_id"] == batch, "malt_id"].unique()
    return [_cell(sheet, malt, "grain_t") for malt in malts]


def _reading(season: Season, batch: str, hours: object, column: str) -> list[Lead]:
    readings = season.sheets["readings"]
    near = (readings["hours"] - float(str(hours))).abs() < _ROUNDED_H
    mine = as_given("readings", readings[(readings["batch_id"] == batch) & near], season)
    keys = key_text("readings", mine).str.removeprefix(f"{batch} / ")
    return [_cell("readings", batch, column, key) for key in keys]


def _record(named: Mapping[str, str], column: str) -> list[Lead]:
    """The recorded row of what a table's row is about; its own cell where it is one."""
    for name, sheet in _SHEET_OF.items():
        if name in named:
            own = column if column in SHEETS[sheet].names() else ""
            return [_cell(sheet, named[name], own)]
    return []


def _lots(season: Season, named: Mapping[str, str]) -> list[str]:
    """The lots a row without a batch is about: its own, or its grower's of its harvest."""
    lots = season.sheets["lots"]
    if "lot_id" in named:
        return [named["lot_id"]]
    if "grower_id" not in named or "season" not in named:
        return []
    mine = (lots["grower_id"] == named["grower_id"]) & (
        lots["season"].astype("str") == named["season"]
    )
    return list(lots.loc[mine, "lot_id"])


def _batches(season: Season, lots: list[str]) -> list[str]:
    shares = season.shares
    return list(shares.loc[shares["lot_id"].isin(lots), "batch_id"].unique())


def _attributes(season: Season) -> set[str]:
    return set(season.sheets["scores"]["attribute"].dropna())


def _column_called(season: Season, said: str) -> str:
    """The column that people call so, else what they call it."""
    names = [*SHEETS["lots"].names(), *season.batches.columns]
    return next((name for name in names if words.label(name) == said), said)


def _filled(row: Mapping[str, object], name: str) -> bool:
    value = row.get(name)
    return value is not None and not pd.isna(value) and str(value) != ""  # type: ignore[call-overload]


def _figure(batch: str, figure: str) -> Lead:
    called = words.label(figure)
    return Lead(f"{called} of {batch}", {"what": FIGURE, "of": batch, "figure": called})


def _cell(sheet: str, name: str, column: str = "", row: str = "") -> Lead:
    called = words.label(column) if column else "record"
    query = {"what": CELL, "sheet": sheet, "key": name}
    query |= {"row": row} if row else {}
    query |= {"column": called} if column else {}
    return Lead(f"{called} of {name}", query)
