"""How far batches of like season, process and grower still differ: the doubt a trial must beat."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from origin_compare.drivers.model.batch_model import fit_batches, turn_noise
from origin_compare.drivers.model.fixed_columns import lay_out
from origin_compare.drivers.model.usable_batches import (
    ProfileLike,
    anchored,
    chosen,
    keep,
    refuse_below,
    scores_of,
)
from origin_compare.drivers.wording import PROCESS, STILL, USUAL, Limits


def spread(
    batches: pd.DataFrame,
    profile: ProfileLike,
    process: Iterable[str] = PROCESS,
    origin: str = "grower_id",
    *,
    still: Iterable[str] = STILL,
    leave_out: Iterable[str] = (),
    limits: Limits = USUAL,
) -> pd.DataFrame:
    """One row per attribute: `batch_sd` (between like batches), `panel_sd` (the panel's own
    error, root mean square), `sd`, the two together, and `grower_sd` (between growers), score
    points; `told_apart`.

    The variances of the model of `effects`. Raises NotEnoughData where a slope would.
    """
    kept = keep(batches, profile, process := tuple(process), origin, still, leave_out)
    layout = lay_out(kept, process, origin, limits)
    refuse_below(len(kept.rows), layout.least, "A trial's doubt")
    names = chosen(profile, None)
    scores, noise = scores_of(kept, profile, names)
    fit = fit_batches(scores, layout.X, layout.groups, turn_noise(anchored(noise)))
    panel = np.einsum("aii->a", noise) / (len(kept.rows) - 1)
    batch = fit.theta[:, 1]
    return pd.DataFrame(
        {
            "attribute": names,
            "grower_sd": np.sqrt(fit.theta[:, 0]),
            "batch_sd": np.sqrt(batch),
            "panel_sd": np.sqrt(panel),
            "sd": np.sqrt(batch + panel),
            "told_apart": [name in set(profile.told) for name in names],
        }
    )
