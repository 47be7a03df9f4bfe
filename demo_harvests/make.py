"""Make the demo: `python demo_harvests/make.py [--seed N] [--out DIR]`.

Writes DIR/sheets, the files as a user would drop them in, and DIR/truth.json, what is true of
them. The same seed gives the same bytes.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

if not __package__:  # run as a script: find the neighbours without installing anything
    _HERE = Path(__file__).resolve().parent
    sys.path.insert(0, str(_HERE.parent))
    __package__ = _HERE.name

from . import chain, ferment, still, taste
from .truth import panel_truth, season_truth
from .world import (
    EFFECTS,
    FAULTS,
    GROWERS,
    MINUTE_LOG_BATCH,
    SEASONS,
    Effects,
    Fault,
    Noise,
)
from .write import write

SEED = 20


@dataclass(frozen=True)
class Made:
    """`sheets`: clean frames by sheet name, in the sheet's own columns; moments are UTC.

    `truth`: everything planted, ready for JSON.
    """

    sheets: dict[str, pd.DataFrame]
    truth: dict[str, Any]


def make(seed: int = SEED) -> Made:
    """The demo's two harvests."""
    return simulate(seed)


def simulate(
    seed: int,
    effects: Effects = EFFECTS,
    faults: Sequence[Fault] = FAULTS,
    seasons: Sequence[int] = SEASONS,
    noise: Noise | None = None,
) -> Made:
    """Other harvests of the same distillery: other effects, faults, seasons or reading errors.

    Each stage draws from its own stream, so that a change in one leaves the others alone.
    """
    noise = noise or Noise()
    streams = iter(np.random.default_rng(seed).spawn(12))
    batches = chain.plan_batches(next(streams), seasons)
    held = {batch.batch_id for batch in batches}
    faults = tuple(fault for fault in faults if fault.batch_id in held)
    lots = chain.lot_sheet(next(streams), batches)
    malts = chain.malt_sheet(next(streams), batches, lots)
    yeasts, given = chain.yeast_sheet(next(streams), batches, faults)
    courses = ferment.run_batches(next(streams), batches, faults)
    og = pd.Series({course.batch.batch_id: course.og_sg for course in courses})
    mashes = chain.mash_sheet(next(streams), batches, malts, og)
    readings, wrong = ferment.hand_readings(next(streams), courses, noise)
    logged = [c for c in courses if c.batch.batch_id == MINUTE_LOG_BATCH]
    log_rng = next(streams)
    readings = pd.concat(
        [readings, *(ferment.minute_log(log_rng, course) for course in logged)], ignore_index=True
    )
    vessel_rng, spirit_rng, profile_rng, panel_rng = (next(streams) for _ in range(4))
    fermentations = still.fermentation_sheet(vessel_rng, courses, mashes, given, faults)
    limits = still.limit_sheet(vessel_rng, courses)
    spirits = still.spirit_sheet(spirit_rng, courses, fermentations)
    congeners = still.congener_sheet(spirit_rng, courses, spirits)
    drivers, origins = _drivers(courses, lots, spirits), _origins(courses, lots)
    distilled = drivers.index
    profile, grower_effect = taste.profile(profile_rng, drivers, origins.loc[distilled], effects)
    panel = taste.hire_panel(panel_rng, effects)
    ready = _ready(courses, spirits)
    sittings = taste.plan_sittings(panel_rng, ready)
    scores = taste.score(panel_rng, profile, panel, sittings, effects)
    sheets = {
        "growers": chain.grower_sheet(),
        "lots": lots,
        "malts": malts,
        "mashes": mashes,
        "yeasts": yeasts,
        "fermentations": fermentations,
        "readings": readings,
        "attenuations": limits,
        "spirits": spirits,
        "congeners": congeners,
        "scores": scores,
    }
    truth = season_truth(seed, effects, courses, drivers, origins, profile, grower_effect)
    truth["panel"] = panel_truth(panel, sittings, effects)
    truth["reading_noise_sd"] = asdict(noise)
    truth["wrong_readings"] = wrong
    return Made(sheets, truth)


def _drivers(
    courses: Sequence[ferment.Course], lots: pd.DataFrame, spirits: pd.DataFrame
) -> pd.DataFrame:
    """True value of every driver for each distilled batch."""
    nitrogen = lots.set_index("lot_id")["grain_n_pct_dm"]
    cut_off = spirits.groupby("batch_id")["cut_off_abv_pct"].mean()
    rows = []
    for course in courses:
        batch = course.batch
        if batch.batch_id not in cut_off.index:
            continue
        grain_n = sum(
            nitrogen[chain.lot_id(batch.season, *origin)] * share
            for origin, share in batch.shares.items()
        )
        rows.append(
            {
                "batch_id": batch.batch_id,
                "length_h": course.length_h,
                "final_ph": course.final_ph,
                "peak_temp_c": course.peak_temp_c,
                "grain_n_pct_dm": grain_n,
                "cut_off_abv_pct": cut_off[batch.batch_id],
            }
        )
    return pd.DataFrame(rows).set_index("batch_id")


def _origins(courses: Sequence[ferment.Course], lots: pd.DataFrame) -> pd.DataFrame:
    variety = {grower.grower_id: grower.variety for grower in GROWERS}
    first = min(course.batch.season for course in courses)
    rows = []
    for course in courses:
        shares = course.batch.grower_shares
        grown = {variety[name] for name in shares}
        rows.append(
            {
                "batch_id": course.batch.batch_id,
                "season": course.batch.season,
                "grower_shares": shares,
                "variety": grown.pop() if len(grown) == 1 else "",
                "second_season": float((course.batch.season - first) % 2),
                "fault": course.fault.kind if course.fault else "",
            }
        )
    return pd.DataFrame(rows).set_index("batch_id")


def _ready(courses: Sequence[ferment.Course], spirits: pd.DataFrame) -> pd.DataFrame:
    season = pd.Series({course.batch.batch_id: course.batch.season for course in courses})
    ready = spirits.groupby("batch_id", as_index=False, sort=False)["distilled_on"].max()
    return ready.assign(season=ready["batch_id"].map(season))


def write_all(seed: int, out: Path) -> Made:
    """The messy files and the truth about them, into `out`."""
    made = make(seed)
    made.truth["file_faults"] = write(made, out / "sheets")
    text = json.dumps(made.truth, indent=1, ensure_ascii=False, sort_keys=False)
    (out / "truth.json").write_text(text + "\n", encoding="utf-8")
    return made


def main(arguments: Sequence[str] | None = None) -> int:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--out", type=Path, default=Path(__file__).resolve().parent)
    chosen = parser.parse_args(arguments)
    made = write_all(chosen.seed, chosen.out)
    rows = ", ".join(f"{len(frame):,} {name}" for name, frame in made.sheets.items())
    print(f"{chosen.out / 'sheets'}: {rows}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
