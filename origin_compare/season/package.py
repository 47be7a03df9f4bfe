"""A season as plain files anyone can read in thirty years: CSV, with what each column means.

The form is the Data Package standard 2.0 (datapackage.org/standard): `datapackage.json` beside
one CSV per sheet. Text that a spreadsheet would run as a formula carries one leading apostrophe.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from origin_compare.answers import count
from origin_compare.errors import RefusedFile
from origin_compare.house import read_rules, rules_as_toml
from origin_compare.season.folder import RULES_FILE
from origin_compare.season.join import build_season, with_hours
from origin_compare.season.season import Season
from origin_compare.sheets.catalogue import SHEETS, Column, Kind, Sheet
from origin_compare.sheets.formula_signs import as_it_was, harmless
from origin_compare.sheets.frames import Sheets

DESCRIPTION = "datapackage.json"
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
RESOURCE_PROFILE = "https://datapackage.org/profiles/2.0/dataresource.json"
TYPES: Mapping[Kind, str] = {
    "key": "string",
    "text": "string",
    "number": "number",
    "gravity": "number",
    "temperature": "number",
    "count": "integer",
    "date": "date",
    "moment": "datetime",
}


@dataclass(frozen=True)
class Exported:
    """The folder written and how many rows each sheet has there (`sheet, file, rows`)."""

    folder: Path
    rows: pd.DataFrame

    def sentence(self) -> str:
        """What was written, in one sentence."""
        total = count(int(self.rows["rows"].sum()), "row")
        return f"{total} of {count(len(self.rows), 'sheet')} written to {self.folder}."

    def table(self) -> pd.DataFrame:
        return self.rows

    def rests_on(self) -> str:
        """The standard followed."""
        return "Data Package standard 2.0; text starting a formula carries an apostrophe."


def export_package(season: Season, folder: str | Path) -> Exported:
    """Write the sheets of a season to a new or empty folder, with schema and house rules.

    `read_package` reads them back identical. Raises `RefusedFile` if the folder holds anything.
    """
    place = Path(folder)
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise RefusedFile(f"{place}: this folder is not empty. Name a new one.")
    place.mkdir(parents=True, exist_ok=True)
    sheets = {name: as_given(name, frame, season) for name, frame in season.sheets.items()}
    for name, frame in sheets.items():
        written = harmless(canonical_text(name, frame)).to_csv(index=False, lineterminator="\r\n")
        (place / f"{name}.csv").write_text(written, encoding="utf-8")
    (place / RULES_FILE).write_text(rules_as_toml(season.rules), encoding="utf-8")
    said = json.dumps(_description(season, sheets), ensure_ascii=False, indent=2)
    (place / DESCRIPTION).write_text(said + "\n", encoding="utf-8")
    rows = [(name, f"{name}.csv", len(frame)) for name, frame in sheets.items()]
    return Exported(place, pd.DataFrame(rows, columns=["sheet", "file", "rows"]))


def read_package(folder: str | Path) -> Season:
    """A season written by `export_package`; `RefusedFile` if there is none."""
    place = Path(folder)
    if not (place / DESCRIPTION).is_file():
        raise RefusedFile(f"{place}: there is no {DESCRIPTION} in this folder. Check the path.")
    said = json.loads((place / DESCRIPTION).read_text("utf-8"))
    sheets = {
        one["name"]: _from_text(one["name"], place / one["path"]) for one in said["resources"]
    }
    rules = read_rules(place / RULES_FILE)
    return build_season(sheets, rules, site=said.get("title", ""))


def as_given(name: str, frame: pd.DataFrame, season: Season) -> pd.DataFrame:
    """Hours that were worked out from the clock are left to be worked out again."""
    if name != "readings":
        return frame
    blank = frame.assign(hours=np.nan)
    worked_out = with_hours(blank, season.sheets["fermentations"], season.rules.hour_zero)["hours"]
    return frame.assign(hours=frame["hours"].where(frame["hours"] != worked_out))


def canonical_text(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """A shaped sheet as it is exported: days and moments as ISO 8601 text, figures as they are."""
    columns = {
        column.name: _cells(frame[column.name], column.kind) for column in SHEETS[name].columns
    }
    return pd.DataFrame(columns)


def _cells(column: pd.Series, kind: Kind) -> pd.Series:
    if kind == "date":
        return column.dt.strftime("%Y-%m-%d").astype("str")
    if kind == "moment":
        fine = (column.dt.microsecond.fillna(0) != 0).any()
        return column.dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ" if fine else "%Y-%m-%dT%H:%M:%SZ")
    return column


def _from_text(name: str, file: Path) -> pd.DataFrame:
    frame = pd.read_csv(file, dtype="str", keep_default_na=False, na_values=[""])
    for column in SHEETS[name].columns:
        if column.name not in frame and column.since > 1:
            continue  # written before there was such a column
        cells = frame[column.name]
        if TYPES[column.kind] in ("number", "integer"):
            # Python's own reading of figures: the shortest text of a float gives it back exactly.
            frame[column.name] = cells.astype("float64")
        else:
            frame[column.name] = as_it_was(cells)
    return frame


def _description(season: Season, sheets: Sheets) -> dict[str, Any]:
    return {
        "$schema": PROFILE,
        "name": "harvest-records",
        "title": season.site or "Harvest records",
        "resources": [_resource(SHEETS[name], sheets) for name in sheets],
    }


def _resource(sheet: Sheet, sheets: Sheets) -> dict[str, Any]:
    frame = sheets[sheet.name]
    schema: dict[str, Any] = {"fields": [_field(column) for column in sheet.columns]}
    if not frame[list(sheet.key)].isna().any(axis=None):
        schema["primaryKey"] = list(sheet.key)
    links = _links(sheet, sheets)
    if links:
        schema["foreignKeys"] = links
    return {
        "$schema": RESOURCE_PROFILE,
        "name": sheet.name,
        "path": f"{sheet.name}.csv",
        "type": "table",
        "title": f"Each row is {sheet.row_is}",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": schema,
    }


def _field(column: Column) -> dict[str, Any]:
    constraints: dict[str, Any] = {"required": True} if column.needed else {}
    if column.possible:
        ends = [int(end) if column.kind == "count" else end for end in column.possible]
        constraints |= {"minimum": ends[0], "maximum": ends[1]}
    if column.choices:
        constraints["enum"] = list(column.choices)
    field = {"name": column.name, "type": TYPES[column.kind], "title": column.says}
    return field | ({"constraints": constraints} if constraints else {})


def _links(sheet: Sheet, sheets: Sheets) -> Sequence[dict[str, Any]]:
    """The links that hold for every row; one broken link would make the package invalid."""
    return [
        {
            "fields": [column.name],
            "reference": {"resource": column.links_to, "fields": [column.name]},
        }
        for column in sheet.columns
        if column.links_to
        and sheets[sheet.name][column.name]
        .dropna()
        .isin(sheets[column.links_to][column.name])
        .all()
    ]
