"""A season of growers, batches and a tasting panel, with the truth behind every score.

    made = season(7, batches=60, growers=12, tie="pair", r=0.9)
    write(made, "folder")

A batch's true score on an attribute is its level, plus what its grower gives, plus what its lot
gives, plus slopes times process figures, plus the batch's own; families are laid on top.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from tests.faults.worlds import making, tasting
from tests.faults.worlds.field import EXTRACT_SLOPES, chain, shares_out
from tests.faults.worlds.paper import write_rules, write_sheets

__all__ = ["Flavours", "Truth", "World", "season", "write"]

Tail = Literal["gaussian", "heavy", "skewed"]
WINDOWS = {"length_h": (100.0, 150.0), "peak_temp_c": (26.0, 33.5), "final_ph": (2.9, 3.9)}
SMALLEST_SLOPE, LARGEST_SLOPE = 0.15, 0.40


@dataclass(frozen=True, slots=True)
class World:
    """What a season is made with; every sd is in points of the 0-10 scale."""

    batches: int = 60
    growers: int = 12
    lots_each: int = 1
    uneven: float = 0.5
    tie: making.Tie = "none"
    r: float = 0.0
    cards: making.Cards = field(default_factory=making.Cards)
    slope_share: float = 0.5
    """Share of the slopes that are not zero."""
    grower_sd: float = 0.45
    lot_sd: float = 0.15
    batch_sd: float = 0.35
    tail: Tail = "gaussian"
    families: int = 1
    apart_sd: float = 4.0
    """Distance between families' centres, in sds of one batch about its centre on one attribute."""
    outliers: int = 0
    panel: tasting.Panel = field(default_factory=tasting.Panel)


@dataclass(frozen=True, slots=True)
class Truth:
    """What no sheet tells.

    `batches`: `batch_id`, `grower_id`, `lot_id`, true process figures, `family` (-1: outlier).
    `profile`, `grower_part`, `lot_part`, `process_part`: batch x attribute, points.
    `slopes`: process x attribute, points per 10 h, 1 °C, 0.1 pH, 1 % vol.
    `growers`: grower x attribute, points from the middle.
    `traits`: extract, % dry, per unit of each field trait.
    """

    batches: pd.DataFrame
    profile: pd.DataFrame
    grower_part: pd.DataFrame
    lot_part: pd.DataFrame
    process_part: pd.DataFrame
    slopes: pd.DataFrame
    growers: pd.DataFrame
    traits: pd.Series

    def shares(self) -> pd.DataFrame:
        """Share of each part in the batches' variance, %, by attribute and for all together.

        `origin` is grower and lot, `process` is length, peak temperature and final pH (what the
        cuts gave is in neither). `both` is twice the covariance of origin and process.
        """
        origin = self.grower_part + self.lot_part
        cut = "cut_off_abv_pct"
        steps = (self.batches[cut] - making.MIDDLE[cut]).to_numpy() / making.STEP[cut]
        process = self.process_part - np.outer(steps, self.slopes.loc[cut])
        variances = {
            "origin": origin.var(ddof=0),
            "process": process.var(ddof=0),
            "all": self.profile.var(ddof=0),
            "with_both": (origin + process).var(ddof=0),
        }
        table = pd.DataFrame(variances)
        table.loc["whole profile"] = table.sum()
        table["both"] = table["with_both"] - table["origin"] - table["process"]
        return 100 * table[["origin", "process", "both"]].div(table["all"], axis=0)


@dataclass(frozen=True, slots=True)
class Flavours:
    """The sheets by name in the program's columns, and the truth."""

    sheets: dict[str, pd.DataFrame]
    truth: Truth
    world: World

    def __iter__(self) -> Iterator[object]:
        return iter((self.sheets, self.truth))


def season(seed: int, **options: object) -> Flavours:
    """One season of the `World` with these options."""
    world = World(**options)  # type: ignore[arg-type]
    rng = np.random.default_rng(seed)
    dealt = shares_out(rng, world.batches, world.growers, world.lots_each, world.uneven)
    made = making.process(rng, dealt, world.tie, world.r)
    made.insert(0, "batch_id", [f"F{k + 1:03d}" for k in range(world.batches)])
    cards = making.fermentations(rng, made)
    origin = chain(rng, cards, dealt, making.FIRST.year)
    truth = _truth(rng, world, dealt, made, origin.origin)
    sheets = {
        **origin.sheets,
        "yeasts": making.yeasts(cards),
        "fermentations": cards,
        "readings": making.readings(rng, made, cards, world.cards),
        "spirits": making.spirits(rng, made, cards),
        "scores": tasting.scores(rng, truth.profile, world.panel),
    }
    return Flavours(sheets, truth, world)


def write(made: Flavours, folder: str | Path) -> None:
    """Plain CSV sheets and `house_rules.toml` in `folder`, which is made if need be."""
    write_sheets(made.sheets, folder)
    write_rules(WINDOWS, folder)


def _truth(
    rng: np.random.Generator,
    world: World,
    dealt: pd.DataFrame,
    made: pd.DataFrame,
    origin: pd.DataFrame,
) -> Truth:
    names, index = list(tasting.ATTRIBUTES), pd.Index(made["batch_id"])
    n, k = len(made), len(names)
    slopes = _slopes(rng, world.slope_share)
    steps = pd.DataFrame(
        {p: (made[p] - making.MIDDLE[p]) / making.STEP[p] for p in making.MIDDLE}
    ).set_axis(index)
    growers = rng.normal(0, 1, (world.growers, k)) * world.grower_sd * rng.uniform(0.5, 1.5, k)
    lots = rng.normal(0, world.lot_sd, (world.growers, world.lots_each, k))
    who, which = dealt["grower"].to_numpy(), dealt["lot"].to_numpy()
    own = world.batch_sd * _noise(rng, world.tail, (n, k))
    family, shift = _families(rng, world, n, k)
    level = rng.uniform(3.8, 6.2, k)
    process = steps.to_numpy() @ slopes.to_numpy()
    whole = level + growers[who] + lots[who, which] + process + own + shift
    batches = made.merge(origin[["batch_id", "grower_id", "lot_id"]], on="batch_id")

    def frame(values: np.ndarray) -> pd.DataFrame:
        return pd.DataFrame(values, index=index, columns=names)

    return Truth(
        batches.assign(family=family),
        frame(whole),
        frame(growers[who]),
        frame(lots[who, which]),
        frame(process),
        slopes,
        pd.DataFrame(growers, [f"G{g + 1:02d}" for g in range(world.growers)], names),
        pd.Series(EXTRACT_SLOPES),
    )


def _slopes(rng: np.random.Generator, share: float) -> pd.DataFrame:
    shape = (len(making.MIDDLE), len(tasting.ATTRIBUTES))
    size = rng.uniform(SMALLEST_SLOPE, LARGEST_SLOPE, shape) * rng.choice([-1, 1], shape)
    there = rng.random(shape) < share
    return pd.DataFrame(size * there, list(making.MIDDLE), list(tasting.ATTRIBUTES))


def _noise(rng: np.random.Generator, tail: Tail, shape: tuple[int, int]) -> np.ndarray:
    """Noise of mean 0 and sd 1: normal, Student's t with 3 degrees of freedom, or exponential."""
    if tail == "heavy":
        return rng.standard_t(3, shape) / np.sqrt(3)
    if tail == "skewed":
        return rng.exponential(1, shape) - 1
    return rng.normal(0, 1, shape)


def _families(
    rng: np.random.Generator, world: World, n: int, k: int
) -> tuple[np.ndarray, np.ndarray]:
    """Each batch's family and its shift: centres equally far apart, outliers twice as far off."""
    sd = float(np.hypot(world.batch_sd, np.hypot(world.grower_sd, world.lot_sd)))
    far = world.apart_sd * sd / np.sqrt(2)
    turned, _ = np.linalg.qr(rng.normal(0, 1, (k, k)))
    family = rng.permutation(np.arange(n) % world.families)
    centres = far * turned[: world.families] if world.families > 1 else np.zeros((1, k))
    shift = centres[family] - centres.mean(axis=0)
    off = rng.choice(n, world.outliers, replace=False)
    away = rng.normal(0, 1, (world.outliers, k))
    length = np.linalg.norm(away, axis=1, keepdims=True)
    shift[off] += 2 * world.apart_sd * sd * away / np.where(length > 0, length, 1.0)
    family[off] = -1
    return family, shift
