"""A small season as files, and short ways to plan its intake."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from origin_compare.house import HouseRules, default_rules
from origin_compare.intake.asking.reading_plan import ReadingPlan
from origin_compare.intake.plan import IntakePlan, plan_intake
from origin_compare.sheets.catalogue import SHEETS
from origin_compare.sheets.fingerprint import content_prints, key_prints
from origin_compare.sheets.frames import shaped

SEASON = {
    "growers.csv": "grower_id,farm_name\nG1,North\nG2,South\n",
    "lots.csv": "lot_id,grower_id,season,grain_n_pct_dm\nL1,G1,2025,1.52\nL2,G2,2025,1.61\n",
    "malts.csv": "malt_id,lot_id,grain_t\nM1,L1,10\nM2,L2,9\n",
    "mashes.csv": "batch_id,malt_id,grist_kg\nB1,M1,10000\nB2,M2,10000\n",
    "fermentations.csv": (
        "batch_id,pitched_at,og_sg\nB1,2025-03-01 08:00,1.0650\nB2,2025-03-02 08:00,1.0660\n"
    ),
    "readings.csv": (
        "batch_id,read_at,sg,ph,temp_c\n"
        "B1,2025-03-01 16:00,1.0500,5.1,24.0\n"
        "B1,2025-03-02 00:00,1.0310,4.6,28.5\n"
        "B2,2025-03-02 16:00,1.0520,5.0,23.5\n"
    ),
}


def plan(
    files: Mapping[str, str | bytes],
    zone: str = "UTC",
    plans: Sequence[ReadingPlan] = (),
    known: Mapping[str, pd.DataFrame] | None = None,
) -> IntakePlan:
    """The plan for files given as text or bytes."""
    sources = [
        (name, text.encode() if isinstance(text, str) else text) for name, text in files.items()
    ]
    return plan_intake(sources, rules(zone), plans, None if known is None else InFrames(known))


@dataclass(frozen=True)
class InFrames:
    """`records.known.Known` with whole sheets at hand, such as those of another plan."""

    sheets: Mapping[str, pd.DataFrame]

    def holds(self, sheet: str) -> bool:
        return len(self._all(sheet)) > 0

    def contents(self, sheet: str, keys: pd.Series) -> pd.Series:
        rows = self._all(sheet)
        return content_prints(sheet, rows).set_axis(key_prints(sheet, rows))

    def rows(self, sheet: str, keys: pd.Series) -> pd.DataFrame:
        return self._all(sheet)

    def names(self, sheet: str) -> set[str]:
        return set(self._all(sheet)[SHEETS[sheet].key[0]].dropna())

    def ways(self, sheet: str, column: str) -> pd.Series:
        return self._all(sheet)[column].value_counts()

    def _all(self, sheet: str) -> pd.DataFrame:
        return shaped(sheet, self.sheets.get(sheet))


def rules(zone: str = "UTC") -> HouseRules:
    return dataclasses.replace(default_rules(), time_zone=zone, zone_stated=True)


def said(planned: IntakePlan, weight: str = "fault") -> list[str]:
    """What is to mend (or the warnings), as the user reads it."""
    to_mend = weight == "fault"
    return [str(fault) for fault in planned.faults if fault.is_to_mend == to_mend]


def balanced(planned: IntakePlan) -> bool:
    """Rows read = good + set aside + already there + repeated + blank, table by table."""
    account = planned.account
    parts = account[["good", "set_aside", "already_there", "repeated", "blank"]].sum(axis=1)
    return bool((parts == account["read"]).all())
