"""What the mash sheet, the vessel card, the bench and the still say of each batch."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from .chain import day_of, malt_id
from .ferment import Course

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
YEAST_KG_L = 0.0028


def mash_sheet(
    rng: np.random.Generator, courses: Sequence[Course], malts: pd.DataFrame
) -> pd.DataFrame:
    """One mash a batch, but every seventh batch is made of two mashes of the same malt."""
    analysis = malts.drop_duplicates("malt_id").set_index("malt_id")
    # 1 % extract is 3.86 litre-degrees a kilogram; the tun gives 98 % of the laboratory
    as_is = analysis["extract_pct_dm"] * (1 - analysis["moisture_pct"] / 100)
    litre_degrees = (as_is * 3.86 * 0.98).to_dict()
    rows = []
    for number, course in enumerate(courses):
        batch, og_sg = course.batch, course.makings.og_sg
        mashes = 2 if number % 7 == 4 else 1
        mashed = batch.pitched_at - pd.Timedelta(minutes=int(rng.integers(500, 620)))
        for mash_no in range(1, mashes + 1):
            grist = round(rng.normal(4420, 20) / mashes)
            volume = grist * litre_degrees[malt_id(batch)] / ((og_sg - 1) * 1000)
            rows.append(
                {
                    "batch_id": batch.batch_id,
                    "mash_no": mash_no,
                    "malt_id": malt_id(batch),
                    "mashed_at": (mashed + pd.Timedelta(hours=3 * (mash_no - 1))).floor("min"),
                    "grist_kg": float(grist),
                    "strike_temp_c": round(rng.normal(64.4, 0.3), 1),
                    "wort_l": float(round(volume, -1)),
                    "wort_sg": round(og_sg + rng.normal(0, 0.0002), 4),
                    "wort_ph": round(rng.normal(5.42, 0.04), 2),
                    "run_off_h": round(rng.normal(4.6, 0.4), 1),
                }
            )
    return pd.DataFrame(rows)


def fermentation_sheet(
    rng: np.random.Generator,
    courses: Sequence[Course],
    mashes: pd.DataFrame,
    given: dict[str, str],
) -> pd.DataFrame:
    """The card of each vessel, as the brewer filled it in."""
    wort = mashes.groupby("batch_id")["wort_l"].sum()
    rows = []
    for course in courses:
        batch = course.batch
        litres = float(wort[batch.batch_id])
        kind = course.fault.kind if course.fault else ""
        yeast = litres * YEAST_KG_L * (0.7 if kind == "old_yeast" else 1.0)
        rows.append(
            {
                "batch_id": batch.batch_id,
                "vessel": batch.vessel,
                "pitched_at": batch.pitched_at,
                "pitch_temp_c": round(float(course.temp_c[0]), 1),
                "wort_l": litres,
                "og_sg": round(course.makings.og_sg + rng.normal(0, 0.0002), 4),
                "yeast_kg": float(round(yeast)),
                "delivery_id": given[batch.batch_id],
                "ended_at": pd.NaT if course.running else course.ended_at,
                "planned_h": batch.planned_h,
                "note": _NOTES.get(kind),
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
                "limit_sg": round(course.makings.limit_sg + rng.normal(0, 0.0003), 4),
                "test_h": 24.0,
                "test_temp_c": 30.0,
            }
        )
    return pd.DataFrame(rows)


def spirit_sheet(
    rng: np.random.Generator, courses: Sequence[Course], mashes: pd.DataFrame
) -> pd.DataFrame:
    """One spirit run a batch, two for one of them; a batch still fermenting has none."""
    wort = mashes.groupby("batch_id")["wort_l"].sum()
    rows = []
    for course in courses:
        name = course.batch.batch_id
        if course.running:
            continue
        strength = (course.makings.og_sg - course.sg[-1]) * 1000 * STRENGTH_PER_DEGREE
        cut_on, cut_off = round(rng.normal(74.2, 0.3), 1), round(rng.normal(63.0, 0.8), 1)
        runs = 2 if name == TWO_RUNS else 1
        wash = float(wort[name]) * 0.99 / runs
        kept = rng.normal(0.984, 0.004)
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


def congener_sheet(rng: np.random.Generator, courses: Sequence[Course]) -> pd.DataFrame:
    """A laboratory looked at every seventh batch; esters rise with length."""
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
        if not course.running
        for compound, (at_118, per_10h) in COMPOUNDS.items()
    ]
    return pd.DataFrame(rows, columns=["batch_id", "compound", "g_100l_aa", "lab"])
