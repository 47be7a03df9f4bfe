"""The plan as a sheet to fill in that the intake reads back as fermentations."""

from __future__ import annotations

import pandas as pd

from origin_compare.drivers.slopes.randomised import note_of
from origin_compare.drivers.wording import joined, title
from origin_compare.trials.proposal import KINDS, Trials

AIMED = {"length_h": "planned_h", "pitch_temp_c": "pitch_temp_c"}
"""Settings that the fermentations sheet has a column for; the others are told in the note."""


def run_sheet(plan: Trials) -> pd.DataFrame:
    """One row per batch in the order to make them, headers as the fermentations sheet has them:
    `batch_id`, `pitched_at` and `ended_at` to be written in, `vessel`, `planned_h`, `pitch_temp_c`,
    and a `note` that states the randomised trial, what to aim at and whose barley."""
    runs = plan.table()
    settings = [str(name) for name in runs if name not in KINDS]
    sheet = pd.DataFrame({"batch_id": "", "vessel": ""}, index=runs.index)
    if "vessel" in runs:
        sheet["vessel"] = runs["vessel"]
    sheet = sheet.assign(pitched_at="", ended_at="")
    for name, column in AIMED.items():
        if name in settings:
            sheet[column] = runs[name]
    sheet["note"] = [_note(row, settings, len(runs)) for row in runs.to_dict("records")]
    return sheet


def _note(row: dict, settings: list[str], runs: int) -> str:
    aims = joined(f"{title(name)} {row[name]:g}" for name in settings)
    barley = f"lot {row['lot_id']}; " if "lot_id" in row else ""
    again = f"; as run {row['repeats']}" if row["repeats"] else ""
    return f"{note_of(settings)}: run {row['order']} of {runs}; {barley}aim at {aims}{again}"
