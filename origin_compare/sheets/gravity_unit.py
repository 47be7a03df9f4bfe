"""Gravity of frames made by hand, settled to specific gravity before anything reads it.

Intake asks for the unit or reads it from the header; a frame given in a notebook has neither.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

GravityUnit = Literal["SG", "SG x 1000", "degrees"]


def gravity_unit(gravity: ArrayLike) -> GravityUnit:
    """The unit a whole column of gravities is in, told by its median: 1.065, 1065 or 65.

    A wash lies between 0.9 and 1.2 SG, and no median in degrees does unless nothing was read but
    water. A column without a number counts as SG.
    """
    values = np.asarray(gravity, dtype=float)
    known = values[np.isfinite(values)]
    middle = float(np.median(known)) if len(known) else 1.0
    if 0.9 < middle < 1.2:
        return "SG"
    return "SG x 1000" if 900 < middle < 1200 else "degrees"


def in_sg(gravity: pd.Series) -> pd.Series:
    """A column of gravities as SG; one that is SG already is given back as it is."""
    unit = gravity_unit(gravity)
    if unit == "SG":
        return gravity
    return gravity / 1000 if unit == "SG x 1000" else 1 + gravity / 1000
