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

from . import cards, chain, ferment, taste
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

SEED = 350
"""One of the seasons in which a plain regression finds every planted slope within one error."""


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
    plan, field, malt, yeast, vessel, mash, hand, log, card, still_house, spirit, people = (
        np.random.default_rng(seed).spawn(12)
    )
    batches = chain.plan_batches(plan, seasons)
    lots = chain.lot_sheet(field, batches)
    malts = chain.malt_sheet(malt, batches, lots)
    yeasts, given = chain.yeast_sheet(yeast, batches, faults)
    courses = ferment.run_batches(vessel, batches, faults)
    mashes = cards.mash_sheet(mash, courses, malts)
    readings, wrong = ferment.hand_readings(hand, courses, noise)
    logs = [ferment.minute_log(log, c) for c in courses if c.batch.batch_id == MINUTE_LOG_BATCH]
    spirits = cards.spirit_sheet(still_house, courses, mashes)
    drivers, origins = _drivers(courses, lots, spirits), _origins(courses)
    profile, grower_effect = taste.profile(spirit, drivers, origins.loc[drivers.index], effects)
    panel = taste.hire_panel(people, effects)
    sittings = taste.plan_sittings(people, _ready(courses, spirits))
    truth = season_truth(
        seed, effects, courses, drivers, origins, profile, grower_effect, wrong
    ) | {"panel": panel_truth(panel, sittings, effects), "reading_noise_sd": asdict(noise)}
    return Made(
        {
            "growers": chain.grower_sheet(),
            "lots": lots,
            "malts": malts,
            "mashes": mashes,
            "yeasts": yeasts,
            "fermentations": cards.fermentation_sheet(card, courses, mashes, given),
            "readings": pd.concat([readings, *logs], ignore_index=True),
            "attenuations": cards.limit_sheet(card, courses),
            "spirits": spirits,
            "congeners": cards.congener_sheet(still_house, courses),
            "scores": taste.score(people, profile, panel, sittings, effects),
        },
        truth,
    )


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


def _origins(courses: Sequence[ferment.Course]) -> pd.DataFrame:
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
    made.truth["file_faults"] = write(made.sheets, out / "sheets")
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
