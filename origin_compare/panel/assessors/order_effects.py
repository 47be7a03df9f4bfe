"""Does the place in the line, or the sample before, move a score?"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from origin_compare.panel.profile.batch_effects import solve
from origin_compare.panel.profile.components import Components, lay_out

COLUMNS = ["attribute", "effect", "estimate", "se", "p", "n_scores"]
EFFECTS = ("place, per glass later", "first glass", "sample before, per point of score")


def before(part: pd.DataFrame) -> pd.Series:
    """The batch served just before each score (NaN for the first glass), by the rows' index.

    Places that repeat within an assessor's tasting are taken to start anew with each replicate.
    """
    visit = ["tasting_id", "assessor_id"]
    again = part.duplicated([*visit, "position"], keep=False)
    twice = again.groupby([part[name] for name in visit], observed=True).transform("any")
    line = part["replicate"].where(twice, 0)
    keys = [part["tasting_id"].astype(str), part["assessor_id"].astype(str), line.astype(str)]
    ordered = part.assign(_line=keys[0] + "/" + keys[1] + "/" + keys[2])
    ordered = ordered.sort_values(["_line", "position"], kind="stable")
    groups = ordered.groupby("_line", sort=False)
    earlier, place = groups["batch_id"].shift(), groups["position"].shift()
    next_to = ordered["position"].sub(place).eq(1)
    return earlier.astype(object).where(next_to).reindex(part.index)


def order_effects(
    part: pd.DataFrame, effects: pd.Series, components: Components, attribute: str
) -> pd.DataFrame:
    """Effects of serving order on one attribute: `COLUMNS`, one row per effect of `EFFECTS`.

    All three are estimated at once, batches and the panel's noise as in the profile. Empty where
    places are missing or there is too little change of order to tell.
    """
    placed = part[part["position"].notna()].reset_index(drop=True)
    if placed["position"].nunique() < 3 or len(placed) < 0.9 * len(part):
        return pd.DataFrame(columns=COLUMNS)
    earlier = before(placed).map(effects).astype(float)
    first = placed["position"].eq(placed["position"].min())
    known = first | earlier.notna()
    placed = placed[known].reset_index(drop=True)
    earlier, first = earlier[known].reset_index(drop=True), first[known].reset_index(drop=True)
    line = np.column_stack(
        [
            placed["position"] - placed["position"].mean(),
            first - first.mean(),
            (earlier - earlier.mean()).fillna(0.0),
        ]
    )
    batch = pd.factorize(placed["batch_id"])[0]
    if _tied(line, batch):
        return pd.DataFrame(columns=COLUMNS)
    assessor = pd.factorize(placed["assessor_id"])[0]
    tasting = pd.factorize(placed["tasting_id"])[0]
    layout = lay_out(batch, assessor, tasting, dict(zip(EFFECTS, line.T, strict=True)))
    found = solve(layout, placed["score"].to_numpy(), components)
    se = np.sqrt(np.diag(found.slopes_cov))
    visits = len(placed.groupby(["assessor_id", "tasting_id"], observed=True))
    df = max(1, len(placed) - layout.batches - visits - 3)
    return pd.DataFrame(
        {
            "attribute": attribute,
            "effect": EFFECTS,
            "estimate": found.slopes,
            "se": se,
            "p": 2 * stats.t.sf(np.abs(found.slopes) / se, df),
            "n_scores": len(placed),
        }
    )


def _tied(line: np.ndarray, batch: np.ndarray) -> bool:
    """Whether the order moves with the batch, or two of its effects with one another."""
    frame = pd.DataFrame(line)
    within = (frame - frame.groupby(batch).transform("mean")).to_numpy()
    spread = within.std(axis=0)
    if (spread < 0.05 * line.std(axis=0)).any() or (spread == 0).any():
        return True
    return bool(np.linalg.cond(within / spread) > 30)
