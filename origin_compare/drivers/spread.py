"""How far batches of like season, process and grower still differ: the doubt a trial must beat."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Unpack

import numpy as np
import pandas as pd

from origin_compare.drivers.model.study import Choices, Study, study_of
from origin_compare.drivers.model.usable_batches import ProfileLike
from origin_compare.drivers.wording import PROCESS


def spread(
    batches: pd.DataFrame,
    profile: ProfileLike,
    process: Iterable[str] = PROCESS,
    origin: str = "grower_id",
    **choices: Unpack[Choices],
) -> pd.DataFrame:
    """One row per attribute: `batch_sd` (between like batches), `panel_sd` (the panel's own
    error, root mean square), `sd`, the two together, and `grower_sd` (between growers), score
    points; `told_apart`.

    The variances of the model of `effects`. Raises NotEnoughData where a slope would.
    """
    return spread_of(study_of(batches, profile, process, origin, **choices))


def spread_of(study: Study) -> pd.DataFrame:
    """`spread` of a study already laid out."""
    study.refuse_few("A trial's doubt")
    grower, batch = study.fit().theta.T
    panel = study.panel.panel_variance
    return pd.DataFrame(
        {
            "attribute": list(study.names),
            "grower_sd": np.sqrt(grower),
            "batch_sd": np.sqrt(batch),
            "panel_sd": np.sqrt(panel),
            "sd": np.sqrt(batch + panel),
            "told_apart": study.told,
        }
    )
