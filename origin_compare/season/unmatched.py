"""What would not join: rows without a partner, each with its cause, and a batch's missing links."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from origin_compare.answers import count
from origin_compare.sheets.catalogue import SHEETS, Column
from origin_compare.sheets.frames import Sheets
from origin_compare.sheets.keys import key_text

UNMATCHED_COLUMNS = ["sheet", "key", "missing_sheet", "missing_key", "cause"]

# What a row waits for when nothing further down the chain was made of it.
_ONWARD = (
    ("growers", "grower_id", "lots", "no lot of this grower"),
    ("lots", "lot_id", "malts", "lot not malted"),
    ("malts", "malt_id", "mashes", "malt not mashed"),
    ("yeasts", "delivery_id", "fermentations", "yeast delivery not pitched"),
    ("fermentations", "batch_id", "mashes", "no mash of this batch"),
)


def unmatched_rows(sheets: Sheets) -> pd.DataFrame:
    """Every row that found no partner, one line per missing partner: `UNMATCHED_COLUMNS`.

    A row not listed here has all its partners; where a chain ends before a batch, the row it ends
    at is listed. Samples which are not batches (controls, warm-ups) need no partner.
    """
    found = [*_links_without_target(sheets), *_rows_leading_nowhere(sheets)]
    filled = [rows for rows in found if len(rows)]
    if not filled:
        return pd.DataFrame(columns=UNMATCHED_COLUMNS, dtype="str")
    return pd.concat(filled, ignore_index=True)


def _links_without_target(sheets: Sheets) -> Iterator[pd.DataFrame]:
    for name, sheet in SHEETS.items():
        frame = sheets[name]
        if name == "scores":
            frame = frame[frame["sample_kind"].fillna("batch") == "batch"]
        for column in sheet.columns:
            if column.links_to:
                yield _without_target(name, frame, column, sheets[column.links_to])


def _without_target(
    name: str, frame: pd.DataFrame, column: Column, target: pd.DataFrame
) -> pd.DataFrame:
    value = frame[column.name]
    lost = frame[~value.isin(target[column.name].dropna())]
    noun, missing = _noun(column.name), lost[column.name]
    told = f"{noun} not in the {column.links_to} sheet"
    cause = pd.Series(told, index=lost.index).where(missing.notna(), f"no {noun} given")
    return _lines(name, lost, str(column.links_to), missing.fillna(""), cause)


def _rows_leading_nowhere(sheets: Sheets) -> Iterator[pd.DataFrame]:
    for name, key, onward, cause in _ONWARD:
        lost = sheets[name][~sheets[name][key].isin(sheets[onward][key].dropna())]
        blank = pd.Series("", index=lost.index, dtype="str")
        yield _lines(name, lost, onward, blank, pd.Series(cause, index=lost.index))


def _lines(
    name: str, lost: pd.DataFrame, sheet: str, key: pd.Series, cause: pd.Series
) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "sheet": name,
            "key": key_text(name, lost),
            "missing_sheet": sheet,
            "missing_key": key,
            "cause": cause,
        },
        columns=UNMATCHED_COLUMNS,
    ).astype("str")


def _noun(column: str) -> str:
    return {"delivery_id": "yeast delivery"}.get(column, column.removesuffix("_id"))


def cause_counts(unmatched: pd.DataFrame) -> pd.DataFrame:
    """How many rows there are per sheet and cause: `sheet, cause, rows`."""
    counts = unmatched.groupby(["sheet", "cause"], sort=False).size()
    return counts.rename("rows").reset_index()


def missing_links(table: pd.DataFrame, sheets: Sheets, shares: pd.DataFrame) -> pd.Series:
    """What each batch lacks, in words joined by `; `, empty where its chain is complete.

    `table` is indexed by batch and holds `status, n_readings, n_tastings, delivery_id`.
    """
    mashes = sheets["mashes"]
    no_malt = mashes.loc[~mashes["malt_id"].isin(sheets["malts"]["malt_id"]), "batch_id"]
    no_lot = shares.loc[shares["grower_id"].isna(), "batch_id"]
    unweighed = shares.loc[~shares["weighed"].astype(bool), "batch_id"]
    harvests = shares.groupby("batch_id")["season"].nunique()
    mixed_years = harvests[harvests > 1].index
    batch = table.index.to_series()
    fermenting = table["status"] == "fermenting"
    lacks = {
        "no mash": ~batch.isin(mashes["batch_id"]),
        "no malt": batch.isin(no_malt),
        "no lot": batch.isin(no_lot),
        "lots of two harvests": batch.isin(mixed_years),
        "weights missing, shares taken as equal": batch.isin(unweighed),
        "no yeast delivery": ~table["delivery_id"].isin(sheets["yeasts"]["delivery_id"]),
        "no readings": table["n_readings"] == 0,
        "still fermenting": fermenting,
        "not distilled": table["status"] == "ended",
        "not tasted": (table["n_tastings"] == 0) & ~fermenting,
    }
    words = pd.DataFrame(lacks, index=table.index)
    return pd.Series(
        ["; ".join(words.columns[row]) for row in words.to_numpy()], index=table.index, dtype="str"
    )


def missing_sentence(batches: pd.DataFrame) -> str:
    """How many batches are complete, in one sentence."""
    complete = int((batches["missing_links"] == "").sum())
    return f"{complete:,} of {count(len(batches), 'batch')} complete from field to panel."
