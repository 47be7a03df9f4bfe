"""Folders and files, as a user names them, into a store: rules and headers beside them count."""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from origin_compare.errors import RefusedFile
from origin_compare.house import HouseRules, default_rules
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.plan import IntakePlan, plan_intake
from origin_compare.season.folder import PLAN_FILES, RULES_FILE, folder_plans, folder_rules
from origin_compare.store.store import Store
from origin_compare.store.taking import Taken

_TOLD = (RULES_FILE, *PLAN_FILES)


def gathered(paths: Iterable[str | Path]) -> list[tuple[str, bytes]]:
    """Every file named or lying in a folder named, hidden ones apart: (name, bytes).

    Names are relative to the folder; of files that would share a name each is called by its path
    from the folder they have in common, so that a row leads to the right one. Raises
    `RefusedFile` for a path that is not there.
    """
    names: dict[Path, str] = {}
    for path in map(Path, paths):
        if not path.exists():
            raise RefusedFile(f"{path}: there is no such file or folder. Check the path.")
        inside = sorted(path.rglob("*")) if path.is_dir() else [path]
        top = path if path.is_dir() else path.parent
        for file in inside:
            name = file.relative_to(top)
            if file.is_file() and file.name not in _TOLD and not _hidden(name):
                names.setdefault(file.resolve(), name.as_posix())
    return [(name, file.read_bytes()) for file, name in _told_apart(names).items()]


def _told_apart(names: Mapping[Path, str]) -> dict[Path, str]:
    often = Counter(names.values())
    shared = [file for file, name in names.items() if often[name] > 1]
    if not shared:
        return dict(names)
    top = os.path.commonpath([file.parent for file in shared])
    return dict(names) | {file: file.relative_to(top).as_posix() for file in shared}


def _hidden(path: Path) -> bool:
    return any(part.startswith((".", "~$", "__")) for part in path.parts)


def told_beside(paths: Iterable[str | Path]) -> tuple[HouseRules | None, tuple[ReadingPlan, ...]]:
    """House rules and reading plans lying in the folders named."""
    folders = [Path(path) for path in paths if Path(path).is_dir()]
    plans = tuple(one for folder in folders for one in folder_plans(folder))
    with_rules = [folder for folder in folders if (folder / RULES_FILE).is_file()]
    return (folder_rules(with_rules[-1]) if with_rules else None), plans


def check(paths: Sequence[str | Path], store: Store | None = None) -> IntakePlan:
    """What is in these files and folders, nothing stored; held against `store` if one is given."""
    rules, plans = told_beside(paths)
    if store is None:
        return plan_intake(gathered(paths), rules or default_rules(), plans)
    return store.plan(gathered(paths), rules=rules, plans=plans)


def bring_in(store: Store, paths: Sequence[str | Path], who: str = "") -> tuple[IntakePlan, Taken]:
    """Check files and folders and take in what is good.

    Reading plans lying beside the files are remembered; house rules lying there become the store's
    if it has none of its own yet.
    """
    rules, plans = told_beside(paths)
    if rules and not store.has_own_rules:
        store.set_rules(rules, who)
    new = [one for one in plans if one not in store.reading_plans()]
    if new:
        store.remember_plan(*new)
    files = gathered(paths)
    plan = store.plan(files)
    return plan, store.take_in(plan, who, files)


def folder_print(folder: Path) -> str:
    """A hex print of all files of a folder, names and bytes: another one when any changes."""
    whole = hashlib.sha256()
    for file in sorted(folder.rglob("*")):
        if file.is_file():
            whole.update(f"{file.relative_to(folder).as_posix()}\0".encode() + file.read_bytes())
    return whole.hexdigest()
