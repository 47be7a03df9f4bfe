"""A tasting panel: assessors with a level, a width of scale and an unsteadiness of their own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

ATTRIBUTES = (
    "fruity estery",
    "floral",
    "cereal",
    "green grassy",
    "sweet",
    "oily",
    "spicy",
    "sulphury",
    "feinty",
    "sour",
)


@dataclass(frozen=True, slots=True)
class Panel:
    """Who tastes, how, and how the sheet rounds it."""

    assessors: int = 10
    replicates: int = 2
    batches_a_tasting: int = 10
    level_sd: float = 0.6
    scale_sd: float = 0.2
    noise_sd: float = 0.9
    session_sd: float = 0.15
    step: float = 0.1
    missed: float = 0.06
    control: bool = True


def scores(rng: np.random.Generator, profile: pd.DataFrame, panel: Panel) -> pd.DataFrame:
    """The scores of every tasting. `profile` is batch x attribute on the 0-10 scale.

    Levels and scales are centred over the panel, so that its mean, were it always complete and
    never clipped, is the true profile.
    """
    n, attributes = panel.assessors, len(profile.columns)
    level = rng.normal(0, panel.level_sd, (n, attributes))
    scale = np.exp(rng.normal(0, panel.scale_sd, n))
    noise = panel.noise_sd * np.exp(rng.normal(0, 0.2, n))
    level, scale = level - level.mean(axis=0), scale / scale.mean()
    middle = profile.mean()
    order = rng.permutation(len(profile))
    parts = []
    for number, start in enumerate(range(0, len(order), panel.batches_a_tasting)):
        served = profile.iloc[np.sort(order[start : start + panel.batches_a_tasting])]
        if panel.control:
            served = pd.concat([served, middle.to_frame("CONTROL").T])
        session = rng.normal(0, panel.session_sd, attributes)
        present = np.flatnonzero(rng.random(n) >= panel.missed)
        for who in present:
            pure = middle.to_numpy() + scale[who] * (served.to_numpy() - middle.to_numpy())
            pure = pure + level[who] + session
            parts.append(_sheet(rng, served.index, pure, noise[who], panel, number, int(who)))
    tall = pd.concat(parts, ignore_index=True)
    return tall.melt(
        [name for name in tall.columns if not isinstance(name, int)],
        var_name="attribute",
        value_name="score",
    ).assign(attribute=lambda t: t["attribute"].map(dict(enumerate(profile.columns))))


def _sheet(
    rng: np.random.Generator,
    names: pd.Index,
    pure: np.ndarray,
    noise_sd: float,
    panel: Panel,
    number: int,
    who: int,
) -> pd.DataFrame:
    """One assessor's sheet of one tasting, both replicates."""
    parts = []
    for replicate in range(1, panel.replicates + 1):
        given = pure + rng.normal(0, noise_sd, pure.shape)
        given = (np.clip(given, 0, 10) / panel.step).round() * panel.step
        sheet = pd.DataFrame(given.round(2))
        sheet.insert(0, "batch_id", names.to_numpy())
        sheet.insert(1, "replicate", replicate)
        order = rng.permutation(len(names)) + 1 + (replicate - 1) * len(names)
        sheet.insert(2, "position", order)
        parts.append(sheet)
    both = pd.concat(parts, ignore_index=True)
    both.insert(0, "tasting_id", f"T{number + 1:02d}")
    day = pd.Timestamp(2026, 6, 1) + pd.Timedelta(days=7 * number)
    both.insert(1, "tasted_on", day)
    both.insert(2, "assessor_id", f"A{who + 1:02d}")
    kinds = np.where(both["batch_id"] == "CONTROL", "control", "batch")
    both.insert(3, "sample_kind", kinds)
    both.insert(4, "served_abv_pct", 20.0)
    both.insert(5, "scale", "0-10")
    return both
