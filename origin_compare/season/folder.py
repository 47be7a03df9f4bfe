"""A folder of files joined in memory, without a store."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from origin_compare.errors import RefusedFile
from origin_compare.house import HouseRules, default_rules, read_rules
from origin_compare.intake.asking.reading_plan import ReadingPlan, read_plans
from origin_compare.intake.files.readers import read_folder
from origin_compare.intake.plan import plan_intake
from origin_compare.season.join import build_season
from origin_compare.season.season import Season

RULES_FILE = "house_rules.toml"
PLAN_FILES = ("reading_plans.toml", "headers.toml")
"""Where reading plans lie beside the files they were made for; the second is the older name."""


def load_folder(
    path: str | Path, rules: HouseRules | None = None, plans: Sequence[ReadingPlan] = ()
) -> Season:
    """The sheets of a folder, read, checked and joined to a `Season`.

    A `house_rules.toml` in the folder is followed unless `rules` are given, a
    `reading_plans.toml` tells how its files are read (before `plans`). What the files have
    wrong is in `Season.faults`, the rows concerned are left out. Raises `RefusedFile` when there
    is no such folder or no table in it.
    """
    folder = Path(path)
    rules = rules or folder_rules(folder)
    told = [*plans, *folder_plans(folder)]
    plan = plan_intake(read_folder(folder), rules, told)
    return build_season(plan.sheets, rules, faults=plan.faults, site=folder.resolve().name)


def folder_rules(folder: Path) -> HouseRules:
    """The house rules lying in a folder, else the shipped ones."""
    file = folder / RULES_FILE
    return read_rules(file) if file.is_file() else default_rules()


def folder_plans(folder: Path) -> tuple[ReadingPlan, ...]:
    """The reading plans lying in a folder (see `intake.asking.reading_plan` for their form)."""
    files = [folder / name for name in PLAN_FILES if (folder / name).is_file()]
    return tuple(plan for file in files for plan in _plans_in(file))


def _plans_in(file: Path) -> tuple[ReadingPlan, ...]:
    try:
        text = file.read_text("utf-8-sig")
    except UnicodeDecodeError as why:
        raise RefusedFile(f"{file}: its bytes are no text. Save it again as UTF-8.") from why
    return read_plans(text, str(file))
