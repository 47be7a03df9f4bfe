"""What the vessel card, the bench and the still say of each batch."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from .chain import day_of
from .ferment import Course
from .world import Fault

STRENGTH_PER_DEGREE = 0.1335
"""% vol for each degree of apparent fall at these gravities [own arithmetic, Balling]."""
COMPOUNDS = {
    "ethyl acetate": (28.0, 1.6),
    "isoamyl alcohols": (160.0, 0.0),
    "isoamyl acetate": (2.4, 0.25),
    "ethyl lactate": (1.8, 0.5),
    "acetaldehyde": (7.5, 0.0),
}
"""g/100 L of pure alcohol at 118 h, and the change for 10 h more."""
TWO_RUNS = "Q24-20"


def fermentation_sheet(
    rng: np.random.Generator,
    courses: Sequence[Course],
    mashes: pd.DataFrame,
    given: dict[str, str],
    faults: Sequence[Fault],
) -> pd.DataFrame:
    """The card of each vessel, as the brewer filled it in."""
    wort = mashes.groupby("batch_id")["wort_l"].sum()
    noted = {fault.batch_id: _NOTES.get(fault.kind, "") for fault in faults}
    rows = []
    for course in courses:
        batch = course.batch
        litres = float(wort[batch.batch_id])
        yeast = litres * 0.0028 * (0.7 if noted.get(batch.batch_id) == _NOTES["old_yeast"] else 1)
        rows.append(
            {
                "batch_id": batch.batch_id,
                "vessel": batch.vessel,
                "pitched_at": batch.pitched_at,
                "pitch_temp_c": round(float(course.temp_c[0]), 1),
                "wort_l": litres,
                "og_sg": round(course.og_sg + rng.normal(0, 0.0002), 4),
                "yeast_kg": float(round(yeast)),
                "delivery_id": given[batch.batch_id],
                "ended_at": pd.NaT if course.running else course.ended_at,
                "planned_h": batch.planned_h,
                "note": noted.get(batch.batch_id) or None,
            }
        )
    return pd.DataFrame(rows)


_NOTES = {
    "old_yeast": "last of the old yeast – new delivery late",
    "hot": "jacket pump tripped, fitter called – probe read 34 °C",
}


def limit_sheet(rng: np.random.Generator, courses: Sequence[Course]) -> pd.DataFrame:
    """Bench limit tests: 24 h at 30 °C with yeast to spare; not every batch was tested."""
    rows = []
    for number, course in enumerate(courses):
        sound = course.fault is None
        if sound and number % 6 == 5:
            continue
        rows.append(
            {
                "batch_id": course.batch.batch_id,
                "tested_on": day_of(course.batch.pitched_at) + pd.Timedelta(days=1),
                "limit_sg": round(course.limit_sg + rng.normal(0, 0.0003), 4),
                "test_h": 24.0,
                "test_temp_c": 30.0,
            }
        )
    return pd.DataFrame(rows)


def spirit_sheet(
    rng: np.random.Generator, courses: Sequence[Course], fermentations: pd.DataFrame
) -> pd.DataFrame:
    """One spirit run a batch, two for one of them; a batch still fermenting has none."""
    wort = dict(zip(fermentations["batch_id"], fermentations["wort_l"].astype(float), strict=True))
    rows = []
    for course in courses:
        name = course.batch.batch_id
        if course.running:
            continue
        strength = (course.og_sg - course.sg[-1]) * 1000 * STRENGTH_PER_DEGREE
        cut_on, cut_off = round(rng.normal(74.2, 0.3), 1), round(rng.normal(63.0, 0.8), 1)
        runs = 2 if name == TWO_RUNS else 1
        wash = wort[name] * 0.985 / runs
        kept = rng.normal(0.968, 0.004)
        distilled = day_of(course.ended_at) + pd.Timedelta(days=int(rng.integers(0, 2)))
        for run_no in range(1, runs + 1):
            new_make_abv = round(68.9 + 0.35 * (cut_off - 63.0) + rng.normal(0, 0.25), 1)
            new_make = wash * strength / 100 * kept / (new_make_abv / 100)
            rows.append(
                {
                    "batch_id": name,
                    "run_no": run_no,
                    "distilled_on": distilled + pd.Timedelta(days=run_no - 1),
                    "still": "S1",
                    "wash_l": float(round(wash, -1)),
                    "wash_abv_pct": round(strength + rng.normal(0, 0.05), 2),
                    "new_make_l": float(round(new_make)),
                    "new_make_abv_pct": new_make_abv,
                    "cut_on_abv_pct": cut_on,
                    "cut_off_abv_pct": cut_off,
                }
            )
    return pd.DataFrame(rows)


def congener_sheet(
    rng: np.random.Generator, courses: Sequence[Course], spirits: pd.DataFrame
) -> pd.DataFrame:
    """A laboratory looked at every seventh batch; esters rise with length."""
    distilled = set(spirits["batch_id"])
    rows = [
        {
            "batch_id": course.batch.batch_id,
            "compound": compound,
            "g_100l_aa": round(
                (at_118 + per_10h * (course.length_h - 118) / 10) * rng.normal(1, 0.04), 2
            ),
            "lab": "outside laboratory, GC",
        }
        for course in courses[::7]
        if course.batch.batch_id in distilled
        for compound, (at_118, per_10h) in COMPOUNDS.items()
    ]
    return pd.DataFrame(rows, columns=["batch_id", "compound", "g_100l_aa", "lab"])
