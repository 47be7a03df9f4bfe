"""What a field gave and what handling did: do the stated intervals hold the planted truth?

    python -m tests.faults.field_parted 20

Seasons of the second flavour world, tasted by its panel; process figures as they truly were, so
that what is held to account is the parting alone.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable

import numpy as np
import pandas as pd

from origin_compare import panel
from origin_compare.drivers import PROCESS, FieldAndHandling, field_and_handling
from origin_compare.drivers.field_and_handling import BATCH, HANDLING, ORIGIN
from tests.faults.worlds import flavour, making

WORLDS: dict[str, dict[str, object]] = {
    "60 batches, 12 growers": {},
    "24 batches, 6 growers": {"batches": 24, "growers": 6},
    "length and pH tied, r = .9": {"tie": "pair", "r": 0.9},
    "heavy tails": {"tail": "heavy"},
}


def held(made: flavour.Flavours, found: FieldAndHandling) -> pd.DataFrame:
    """One row per kind of figure: the share of intervals that hold the truth, their mean width."""
    truth = made.truth
    origin = truth.grower_part + truth.lot_part
    handling = _handled(truth, [*PROCESS, *found.kept.still])
    # What the still did without being allowed for is the batch's own.
    own = truth.profile - origin - handling
    planted = {
        HANDLING: handling,
        ORIGIN: origin,
        BATCH: own,
        "at the usual process": origin + own,
    }
    usual = found.batches.rename(columns={"usual_low": "low", "usual_high": "high"})
    usual = usual.assign(
        part="at the usual process",
        low=usual["low"] - usual["middle"],
        high=usual["high"] - usual["middle"],
    )
    rows = pd.concat([found.parts, usual[["batch_id", "attribute", "part", "low", "high"]]])
    used = found.kept.rows.index
    rows = rows[rows["part"].isin(planted)]
    right = [_at(planted[row.part].loc[used], row.batch_id, row.attribute) for row in _each(rows)]
    rows = rows.assign(held=(rows["low"] <= right) & (right <= rows["high"]))
    rows["width"] = rows["high"] - rows["low"]
    growers = found.growers[found.growers["part"].isin([HANDLING, ORIGIN])]
    return pd.concat(
        [
            rows.groupby("part")[["held", "width"]].mean(),
            _growers(growers, planted, truth.batches.set_index("batch_id").loc[used]),
        ]
    )


def _handled(truth: flavour.Truth, used: list[str]) -> pd.DataFrame:
    """What the variables in the model gave, batch x attribute."""
    figures = truth.batches.set_index("batch_id")[used]
    return (figures - figures.mean()) / pd.Series(making.STEP)[used] @ truth.slopes.loc[used]


def _each(rows: pd.DataFrame) -> Iterable[object]:
    return rows.itertuples(index=False)


def _at(planted: pd.DataFrame, batch: str, attribute: str) -> float:
    column = planted[attribute]
    return float(column[batch] - column.mean())


def _growers(
    rows: pd.DataFrame, planted: dict[str, pd.DataFrame], batches: pd.DataFrame
) -> pd.DataFrame:
    whose = batches["grower_id"]
    means = {
        part: (whole.loc[batches.index] - whole.loc[batches.index].mean()).groupby(whose).mean()
        for part, whole in planted.items()
    }
    right = [means[row.part].loc[row.grower_id, row.attribute] for row in _each(rows)]
    rows = rows.assign(held=(rows["low"] <= right) & (right <= rows["high"]))
    rows["width"] = rows["high"] - rows["low"]
    return rows.groupby("part")[["held", "width"]].mean().rename(lambda part: f"grower: {part}")


def one(seed: int, options: dict[str, object]) -> pd.DataFrame:
    """What one season's intervals hold."""
    made = flavour.season(seed, **options)
    profile = panel.adjusted(made.sheets["scores"])
    batches = made.truth.batches.assign(season=2024, status="distilled")
    found = field_and_handling(batches, profile, attributes=profile.attributes)
    return held(made, found)


def main(seasons: int = 20) -> None:
    """Print a table per world."""
    for name, options in WORLDS.items():
        tables = [one(seed, options) for seed in range(seasons)]
        mean = pd.concat(tables).groupby(level=0).mean()
        print(f"\n{name}, {seasons} seasons\n{mean.round(3).to_string()}", flush=True)


if __name__ == "__main__":
    np.seterr(all="ignore")
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
