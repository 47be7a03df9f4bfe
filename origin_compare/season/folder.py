"""A folder of files joined in memory, without a store."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from origin_compare.errors import RefusedFile
from origin_compare.house import HouseRules, default_rules, read_rules
from origin_compare.intake.files.readers import read_folder
from origin_compare.intake.plan import plan_intake
from origin_compare.intake.recognise import HeaderMap
from origin_compare.season.join import build_season
from origin_compare.season.season import Season

RULES_FILE, HEADERS_FILE = "house_rules.toml", "headers.toml"


def load_folder(
    path: str | Path, rules: HouseRules | None = None, maps: Sequence[HeaderMap] = ()
) -> Season:
    """The sheets of a folder, read, checked and joined to a `Season`.

    A `house_rules.toml` in the folder is followed unless `rules` are given, a `headers.toml`
    tells which of its headers stands for which column (besides `maps`). What the files have
    wrong is in `Season.faults`, the rows concerned are left out. Raises `RefusedFile` when there
    is no such folder or no table in it.
    """
    folder = Path(path)
    rules = rules or folder_rules(folder)
    maps = [*maps, *folder_maps(folder)]
    plan = plan_intake(read_folder(folder), rules, maps=maps)
    return build_season(plan.sheets, rules, faults=plan.faults, site=folder.resolve().name)


def folder_rules(folder: Path) -> HouseRules:
    """The house rules lying in a folder, else the shipped ones."""
    file = folder / RULES_FILE
    return read_rules(file) if file.is_file() else default_rules()


def folder_maps(folder: Path) -> tuple[HeaderMap, ...]:
    """The header maps lying in a folder: one `[[map]]` table per kind of file.

    [[map]]
    sheet = "readings"
    columns = { "Back temp" = "temp_c", "Ask Jo" = "ignore" }
    """
    file = folder / HEADERS_FILE
    if not file.is_file():
        return ()
    try:
        tables = tomllib.loads(file.read_text("utf-8-sig")).get("map", [])
        return tuple(_one_map(table) for table in tables)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, TypeError, ValueError) as why:
        raise RefusedFile(
            f"{file}: this is no header map: {why}. Write a [[map]] with a sheet and its columns."
        ) from why


def _one_map(table: dict[str, Any]) -> HeaderMap:
    return HeaderMap(columns=table["headers"], **{k: v for k, v in table.items() if k != "headers"})
