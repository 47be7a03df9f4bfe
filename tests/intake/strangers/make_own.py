"""Write the files of `own/` and their `truth.json`.

    python -m tests.intake.strangers.make_own

File and truth come from the same drawn rows. The bytes are the same on each run with the same
writing libraries.
"""

from __future__ import annotations

import importlib
import json
from pathlib import Path

from .making.case import Case

OWN = Path(__file__).parent / "own"
MODULES = (
    "reading_tables",
    "reading_figures",
    "loggers",
    "registers",
    "grain",
    "malt",
    "stills",
    "panel",
    "panel_plans",
    "shorthand",
    "books",
    "from_abroad",
    "refused",
    "whole_seasons",
)


def cases() -> list[Case]:
    """All cases, in the order of their numbers."""
    made = [
        make()
        for name in MODULES
        for make in importlib.import_module(f"{__package__}.making.{name}").CASES
    ]
    return sorted(made, key=lambda case: case.id)


def truth_text(made: list[Case]) -> str:
    """The whole of `truth.json`: one row to a line, so that a change reads as one."""
    return "[\n" + ",\n".join(_entry(case) for case in made) + "\n]\n"


def _entry(case: Case) -> str:
    parts = [
        f"  {json.dumps(key)}: {_sheets(value) if key in ('parents', 'truth') else _line(value)}"
        for key, value in case.entry().items()
    ]
    return " {\n" + ",\n".join(parts) + "\n }"


def _sheets(sheets: dict[str, list[dict[str, object]]]) -> str:
    if not sheets:
        return "{}"
    parts = [
        f"   {json.dumps(name)}: [\n" + ",\n".join(f"    {_line(row)}" for row in rows) + "\n   ]"
        for name, rows in sheets.items()
    ]
    return "{\n" + ",\n".join(parts) + "\n  }"


def _line(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def main() -> None:
    files = OWN / "files"
    files.mkdir(parents=True, exist_ok=True)
    made = cases()
    for case in made:
        for name, content in case.files.items():
            (files / name).write_bytes(content)
    for path in set(files.iterdir()) - {files / name for case in made for name in case.files}:
        path.unlink()
    (OWN / "truth.json").write_text(truth_text(made), encoding="utf-8")


if __name__ == "__main__":
    main()
