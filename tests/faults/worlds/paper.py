"""Sheets put down as files a distillery could have sent: plain CSV, and its own rules."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

DAYS = ("_on",)
MOMENTS = ("_at",)


def write_sheets(sheets: Mapping[str, pd.DataFrame], folder: str | Path) -> None:
    """Each sheet as `name.csv`; dates as 2025-10-06, moments as 2025-10-06 09:04."""
    into = Path(folder)
    into.mkdir(parents=True, exist_ok=True)
    for name, sheet in sheets.items():
        if len(sheet):
            _plain(sheet).to_csv(into / f"{name}.csv", index=False)


def write_rules(windows: Mapping[str, tuple[float, float]], folder: str | Path) -> None:
    """`house_rules.toml` with the windows the house holds to."""
    lines = ['time_zone = "UTC"']
    for name, (low, high) in windows.items():
        lines += ["", f"[windows.{name}]", f"low = {float(low)}", f"high = {float(high)}"]
        lines.append('source = "house"')
    (Path(folder) / "house_rules.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _plain(sheet: pd.DataFrame) -> pd.DataFrame:
    made = sheet.copy()
    for column in made.columns:
        if column.endswith(MOMENTS):
            made[column] = pd.to_datetime(made[column]).dt.strftime("%Y-%m-%d %H:%M")
        elif column.endswith(DAYS):
            made[column] = pd.to_datetime(made[column]).dt.strftime("%Y-%m-%d")
    return made
