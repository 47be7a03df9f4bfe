"""From batch to score: the true profile of each spirit, and ten people trying to find it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from .world import ATTRIBUTES, DRIVER_CENTRES, DRIVER_UNITS, GROWERS, Effects

CONTROL = "CONTROL"
ASSESSORS = tuple(f"A{number:02d}" for number in range(1, 11))
NEW_A_SITTING = 5
"""New batches a sitting; one batch of an earlier sitting comes back, so sittings are joined."""


@dataclass(frozen=True)
class Sitting:
    """One tasting: its samples, who came and how often each sample was served."""

    tasting_id: str
    season: int
    tasted_on: pd.Timestamp
    batches: tuple[str, ...]
    assessors: tuple[str, ...]
    replicates: int


@dataclass(frozen=True)
class Panel:
    """What the panel brings: level (assessor x attribute), spread and error per assessor."""

    level: pd.DataFrame
    spread: pd.Series
    residual_sd: pd.Series


def profile(
    rng: np.random.Generator,
    drivers: pd.DataFrame,
    origins: pd.DataFrame,
    effects: Effects,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """True score of every batch on every attribute, and the grower effects behind it.

    drivers: indexed by batch_id with the columns of `DRIVER_UNITS`.
    origins: indexed by batch_id with `grower_shares`, `variety`, `second_season`, `fault`.
    """
    growers = [grower.grower_id for grower in GROWERS]
    grower_effect = pd.DataFrame(
        {
            name: rng.normal(0, effects.grower_sd.get(name, 0.0), len(growers))
            for name in ATTRIBUTES
        },
        index=pd.Index(growers, name="grower_id"),
    )
    shares = pd.DataFrame(list(origins["grower_shares"]), index=origins.index)
    shares = shares.reindex(columns=growers).fillna(0.0)
    truth = shares @ grower_effect
    for name in ATTRIBUTES:
        truth[name] += effects.level[name]
        truth[name] += rng.normal(0, effects.batch_sd.get(name, 0.0), len(truth))
        truth[name] += effects.second_season.get(name, 0.0) * origins["second_season"]
        truth[name] += _named(origins["variety"], effects.variety, name)
        truth[name] += _named(origins["fault"], effects.fault, name)
        for driver, slope in effects.slopes.get(name, {}).items():
            steps = (drivers[driver] - DRIVER_CENTRES[driver]) / DRIVER_UNITS[driver]
            truth[name] += slope * steps
    return truth, grower_effect


def _named(
    names: pd.Series, effect: Mapping[str, Mapping[str, float]], attribute: str
) -> pd.Series:
    return names.map(lambda name: effect.get(name, {}).get(attribute, 0.0)).astype(float)


def hire_panel(rng: np.random.Generator, effects: Effects) -> Panel:
    """Ten assessors; spreads average one, so a batch's true score is the panel's mean."""
    level = pd.DataFrame(
        rng.normal(0, effects.assessor_sd, (len(ASSESSORS), len(ATTRIBUTES))),
        index=pd.Index(ASSESSORS, name="assessor_id"),
        columns=list(ATTRIBUTES),
    )
    spread = pd.Series(rng.normal(1, effects.spread_sd, len(ASSESSORS)), index=level.index)
    residual = pd.Series(effects.residual_sd, index=level.index)
    if effects.poor_assessor:
        spread[effects.poor_assessor] = 0.15
        residual[effects.poor_assessor] *= 1.6
    return Panel(level, spread + (1 - spread.mean()), residual)


def plan_sittings(rng: np.random.Generator, ready: pd.DataFrame) -> list[Sitting]:
    """Sittings of five new batches and one that comes back.

    ready: columns batch_id, season, distilled_on, in order of distilling.
    """
    sittings: list[Sitting] = []
    seen: list[str] = []
    years = sorted(int(year) for year in ready["season"].unique())
    for season in years:
        group = ready[ready["season"] == season]
        chunks = [group.iloc[at : at + NEW_A_SITTING] for at in range(0, len(group), NEW_A_SITTING)]
        for number, chunk in enumerate(chunks, start=1):
            back = [str(rng.choice(seen[-12:]))] if seen else []
            names = [*chunk["batch_id"], *back]
            seen += list(chunk["batch_id"])
            first, last_season = season == years[0], season == years[-1]
            absent = "A05" if first and number == 3 else ""
            sittings.append(
                Sitting(
                    tasting_id=f"T{season % 100:02d}-{number}",
                    season=season,
                    tasted_on=chunk["distilled_on"].max() + pd.Timedelta(days=2),
                    batches=tuple(names),
                    assessors=tuple(name for name in ASSESSORS if name != absent),
                    replicates=1 if last_season and number == 4 else 2,
                )
            )
    return sittings


def score(
    rng: np.random.Generator,
    truth: pd.DataFrame,
    panel: Panel,
    sittings: Sequence[Sitting],
    effects: Effects,
) -> pd.DataFrame:
    """Every score, long; a hidden control is served in every sitting."""
    level = np.array([effects.level[name] for name in ATTRIBUTES])
    known = {str(name): row for name, row in zip(truth.index, truth.to_numpy(), strict=True)}
    known[CONTROL] = level + rng.normal(0, 0.3, len(level))
    together = {
        (assessor, sample): rng.normal(0, effects.assessor_batch_sd, len(level))
        for assessor in ASSESSORS
        for sample in known
    }
    facts: list[dict[str, object]] = []
    found: list[np.ndarray] = []
    for sitting in sittings:
        shift = rng.normal(0, effects.sitting_sd, len(level))
        for assessor in sitting.assessors:
            own = level + shift + panel.level.loc[assessor].to_numpy()
            spread, error = float(panel.spread[assessor]), float(panel.residual_sd[assessor])
            for serving in _servings(rng, sitting, assessor):
                sample = str(serving["batch_id"])
                heard = own + spread * (known[sample] - level) + together[assessor, sample]
                facts.append(serving)
                found.append(heard + rng.normal(0, error, len(level)))
    scores = pd.DataFrame(np.clip(found, 0, 10).round(1), columns=list(ATTRIBUTES))
    return _decline(rng, pd.concat([pd.DataFrame(facts), scores], axis=1))


def _servings(
    rng: np.random.Generator, sitting: Sitting, assessor: str
) -> Iterator[dict[str, object]]:
    """The glasses one assessor gets, each replicate in an order of its own."""
    samples = [*sitting.batches, CONTROL]
    for replicate in range(1, sitting.replicates + 1):
        for place, index in enumerate(rng.permutation(len(samples)), start=1):
            sample = samples[index]
            yield {
                "tasting_id": sitting.tasting_id,
                "tasted_on": sitting.tasted_on,
                "assessor_id": assessor,
                "batch_id": sample,
                "replicate": replicate,
                "position": place + (replicate - 1) * len(samples),
                "sample_kind": "control" if sample == CONTROL else "batch",
                "served_abv_pct": 20.0,
                "scale": "0-10",
            }


def _decline(rng: np.random.Generator, wide: pd.DataFrame) -> pd.DataFrame:
    """Long scores, a few of them declined (missing)."""
    facts = [name for name in wide.columns if name not in ATTRIBUTES]
    long = wide.melt(id_vars=facts, var_name="attribute", value_name="score")
    declined = rng.choice(len(long), size=min(15, len(long)), replace=False)
    long.loc[declined, "score"] = np.nan
    order = ["tasting_id", "assessor_id", "replicate", "position", "attribute"]
    rank = {name: place for place, name in enumerate(ATTRIBUTES)}
    long = long.sort_values(order, key=lambda c: c.map(rank) if c.name == "attribute" else c)
    return long.reset_index(drop=True)
