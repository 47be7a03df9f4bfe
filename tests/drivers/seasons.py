"""Invented seasons with a known split: what the answers are held against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
UNIT = {"length_h": (130.0, 10.0), "peak_temp_c": (29.0, 1.0), "final_ph": (3.4, 0.1)}


@dataclass(frozen=True)
class Tasted:
    """The least a profile must offer: estimates, standard errors, what is told apart."""

    estimates: pd.DataFrame
    errors: pd.DataFrame
    told: tuple[str, ...]

    @property
    def attributes(self) -> tuple[str, ...]:
        return tuple(self.estimates.columns)

    def wide(self) -> pd.DataFrame:
        return self.estimates

    def wide_se(self) -> pd.DataFrame:
        return self.errors


@dataclass(frozen=True)
class Invented:
    """A season whose slopes (3 x A, per step), grower effects and signal are known."""

    batches: pd.DataFrame
    profile: Tasted
    slopes: Floats
    growers: Floats
    x: Floats
    signal: Floats
    batch_sd: float


def invent(
    seed: int,
    growers: int = 10,
    each: int = 6,
    attributes: int = 6,
    tied: float = 0.0,
    panel_sd: float = 0.3,
    batch_sd: float = 0.5,
    grower_sd: float = 0.5,
    slopes: Floats | None = None,
    together: float = 0.0,
    seasons: int = 1,
    hidden: float = 0.0,
    season_sd: float = 0.4,
) -> Invented:
    """A season: `tied` is the share of the process variables' variance that is the growers' own,
    `together` the correlation of length with final pH, `hidden` how far what growers do to
    length goes with what their barley gives (score points per step of their own length);
    `season_sd` how far several seasons differ."""
    rng = np.random.default_rng(seed)
    n = growers * each
    g = np.repeat(np.arange(growers), each)
    habit = rng.normal(size=(growers, 3))
    x = np.sqrt(tied) * habit[g] + np.sqrt(1 - tied) * rng.normal(size=(n, 3))
    x[:, 2] = together * x[:, 0] + np.sqrt(1 - together**2) * x[:, 2]
    B = np.zeros((3, attributes)) if slopes is None else slopes
    effect = grower_sd * rng.normal(size=(growers, attributes)) + hidden * habit[:, :1]
    signal = x @ B + effect[g]
    harvest = rng.permutation(np.arange(n) % seasons) if seasons > 1 else np.zeros(n, dtype=int)
    if seasons > 1:
        signal = signal + season_sd * rng.normal(size=(seasons, attributes))[harvest]
    scores = signal + batch_sd * rng.normal(size=signal.shape)
    scores = scores + panel_sd * rng.normal(size=signal.shape)
    ids = [f"B{k:03d}" for k in range(n)]
    names = [f"attribute {k + 1}" for k in range(attributes)]
    batches = pd.DataFrame(
        {
            "batch_id": ids,
            "season": pd.array(2024 + harvest, dtype="Int64"),
            "status": "distilled",
            "grower_id": [f"G{k:02d}" for k in g],
            "lot_id": [f"L{k:02d}" for k in g],
            "variety": [f"V{k % 3}" for k in g],
            "vessel": [f"W{k % 4}" for k in range(n)],
            **{name: at + by * x[:, k] for k, (name, (at, by)) in enumerate(UNIT.items())},
        }
    )
    profile = Tasted(
        pd.DataFrame(scores, index=ids, columns=names),
        pd.DataFrame(panel_sd, index=ids, columns=names),
        tuple(names),
    )
    return Invented(batches, profile, B, effect, x, signal, batch_sd)


def two_true(attributes: int = 6) -> Floats:
    """Attribute 1 goes with length (+0.5), attribute 2 with final pH (-0.5), nothing else."""
    slopes = np.zeros((3, attributes))
    slopes[0, 0], slopes[2, 1] = 0.5, -0.5
    return slopes
