"""Seasons by the hundred with a known split: does an interval hold what it says it holds?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from origin_compare.drivers import effects, split
from origin_compare.drivers.shares.split import _parts, _Spans
from origin_compare.errors import NotEnoughData
from tests.drivers.seasons import Invented, invent, two_true

Floats = NDArray[np.float64]
PROCESS = ["length_h", "peak_temp_c", "final_ph"]


@dataclass
class Tally:
    """Counts over the seasons tried."""

    seasons: int = 0
    held: list[bool] = field(default_factory=list)
    found: list[bool] = field(default_factory=list)
    false_share: list[float] = field(default_factory=list)
    refused: list[bool] = field(default_factory=list)
    origin_held: list[bool] = field(default_factory=list)
    split_held: dict[str, list[bool]] = field(default_factory=dict)
    split_off: dict[str, list[float]] = field(default_factory=dict)
    split_refused: int = 0


def true_split(season: Invented) -> dict[str, float]:
    """Shares of these growers and batches: the signal parted without error, per cent."""
    from origin_compare.drivers.model.coding import coded

    process = season.batches[PROCESS].to_numpy()
    names = ["grower_id", "season"] if season.batches["season"].nunique() > 1 else ["grower_id"]
    origin = np.hstack([coded(season.batches[name].astype(str)) for name in names])
    spans = _Spans(origin, process)
    n = spans.n
    signal = season.signal - season.signal.mean(axis=0)
    size = (signal**2).sum(axis=0)
    # What is expected of each adjusted fraction: a signal is never inflated, only left out.
    seen = {"all": size / (n - 1) + season.batch_sd**2}
    for name, span in spans.bases.items():
        inside = ((span.T @ signal) ** 2).sum(axis=0)
        seen[name] = seen["all"] - (
            (size - inside) / (n - 1 - spans.rank[name]) + season.batch_sd**2
        )
    parts = _parts(seen)
    return {name: float(100 * part.sum() / seen["all"].sum()) for name, part in parts.items()}


def tally(seeds: Iterable[int], with_split: bool = True, **world: float | int) -> Tally:
    """Slopes, shares and splits of one kind of season (see `invent`) over many seeds."""
    told = Tally()
    for seed in seeds:
        season = invent(seed, slopes=two_true(), **world)  # type: ignore[arg-type]
        told.seasons += 1
        found = effects(season.batches, season.profile)
        table = found.table()
        truth = season.slopes.T.ravel()
        asked = table["verdict"] != "cannot be told apart"
        told.refused += list(~asked)
        held = (table["low"] <= truth) & (truth <= table["high"])
        told.held += list(held[asked])
        clear = table["verdict"] == "clear"
        told.found += list(clear[(truth != 0) & asked])
        told.false_share.append(float((clear & (truth == 0)).sum() / max(clear.sum(), 1)))
        if not with_split:
            continue
        try:
            parted = split(season.batches, season.profile, draws=299, seed=seed)
        except NotEnoughData:
            told.split_refused += 1
            continue
        for part, share in true_split(season).items():
            estimate, low, high = parted.of(part)
            told.split_held.setdefault(part, []).append(low - 1e-9 <= share <= high + 1e-9)
            told.split_off.setdefault(part, []).append(estimate - share)
    return told


def growers_held(seeds: Iterable[int], sd: float, **world: float | int) -> list[bool]:
    """Whether the interval of the growers' share holds the share planted."""
    held = []
    for seed in seeds:
        season = invent(seed, grower_sd=sd, slopes=two_true(), **world)  # type: ignore[arg-type]
        origins = effects(season.batches, season.profile).origins
        truth = sd**2 / (sd**2 + season.batch_sd**2)
        held += list((origins["low"] <= truth) & (truth <= origins["high"]))
    return held
