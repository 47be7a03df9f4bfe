"""Where a running batch is heading: the house model, given what has been read so far.

The rest of the batch is drawn from the house's Gaussian process conditioned on the readings there
are, so the interval is as wide as like batches have differed from here on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from origin_compare.answers import count
from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.fermentation.house_model import HouseModel, design, posterior
from origin_compare.fermentation.least_squares import Array
from origin_compare.fermentation.logs import GRAVITY, PH, TEMPERATURE, Log
from origin_compare.fermentation.season_house import Judged, judge_season
from origin_compare.house import HouseRules, Window
from origin_compare.records.season import Season

DRAWS = 4000
LEVEL = 0.9
FEWEST = 3


@dataclass(frozen=True)
class Forecast:
    """`final_sg`, `final_ph` and `target_h` (the hour pH passes the house's target) each as (low,
    likely, high) of the 90 % interval; `chance_in_style` of ending inside the house's windows for
    final gravity, final pH and peak temperature; `holds` is False when the batch has already left
    the band, so that the house is no guide. `path`: hours, channel, low, mid, high from now on.
    """

    batch_id: str
    so_far_h: float
    end_h: float
    final_sg: tuple[float, float, float]
    final_ph: tuple[float, float, float]
    target_ph: float
    target_h: tuple[float, float, float]
    chance_target: float
    chance_in_style: float
    holds: bool
    path: pd.DataFrame
    n_examples: int
    n_readings: int

    def sentence(self) -> str:
        if not self.holds:
            return (
                f"{self.batch_id} has left the house band, so the house's own batches do not say "
                "where it will end."
            )
        return (
            f"{self.batch_id} at {self.so_far_h:.0f} h: likely to end at gravity "
            f"{self.final_sg[1]:.4f} ({self.final_sg[0]:.4f} to {self.final_sg[2]:.4f}) and pH "
            f"{self.final_ph[1]:.2f} ({self.final_ph[0]:.2f} to {self.final_ph[2]:.2f}) at "
            f"{self.end_h:.0f} h; {_in_hundred(self.chance_in_style)} such batches end in style."
        )

    def table(self) -> pd.DataFrame:
        """what, low, likely, high: the three figures with their 90 % intervals."""
        rows = [
            ("final gravity", *self.final_sg),
            (f"pH at {self.end_h:.0f} h", *self.final_ph),
            (f"hour pH passes {self.target_ph:.2f}", *self.target_h),
        ]
        return pd.DataFrame(rows, columns=["what", "low", "likely", "high"])

    def rests_on(self) -> str:
        examples = count(self.n_examples, "batch")
        return f"{count(self.n_readings, 'reading')} so far, {examples} in style"


def forecast(
    season: Season,
    batch_id: str,
    rules: HouseRules,
    seed: int = 20,
    judged: Judged | None = None,
) -> Forecast:
    """Forecast a running batch to its planned end (else the middle of the house's window).

    Raises `UnknownName` for no such batch, `NotEnoughData` read at fewer than three hours or
    with no house band. `judged` may hand over the result of `judge_season`, to save time.
    """
    judged = judged or judge_season(season, rules)
    rows = season.batches.loc[season.batches["batch_id"].astype(str) == str(batch_id)]
    if rows.empty:
        raise UnknownName(f"There is no batch {batch_id}. Choose one of the season's batches.")
    log = judged.logs.get(str(batch_id))
    if log is None or len(log.times()) < FEWEST:
        raise NotEnoughData(
            f"{batch_id} has too few readings for a forecast; at least {FEWEST} hours are needed."
        )
    found = judged.found.get(str(batch_id))
    clean = found.log if found is not None else log
    end_h = _planned(rows.iloc[0], rules)
    model = judged.house_of(str(batch_id)).model.leaving_out(str(batch_id))
    made = ahead(model, clean, end_h, rules, seed)
    return Forecast(
        str(batch_id),
        float(log.hours.max()),
        end_h,
        **made,
        holds=found is None or not found.left,
        n_examples=len(judged.house_of(str(batch_id)).reference.names),
        n_readings=len(log),
    )


def ahead(model: HouseModel, log: Log, end_h: float, rules: HouseRules, seed: int) -> dict:
    """The figures of `Forecast` for a log cut off anywhere."""
    mean, covariance = posterior(
        model.design(log), log.values, model.noise[log.channel], model.mean, model.covariance
    )
    rng = np.random.default_rng(seed)
    draws = rng.multivariate_normal(mean, covariance, DRAWS, method="eigh")
    now = float(log.hours.max())
    grid = np.arange(now, max(end_h, now + 1) + 0.5, 1.0)
    share = log.og_deg / model.og_deg if np.isfinite(log.og_deg) else 1.0
    courses = {channel: draws @ design(grid, np.full(len(grid), channel)).T for channel in range(3)}
    courses[GRAVITY] = courses[GRAVITY] * share
    end = {
        channel: values[:, -1] + rng.normal(0, np.sqrt(model.noise[channel]), DRAWS)
        for channel, values in courses.items()
    }
    target = rules.windows["final_ph"].high if "final_ph" in rules.windows else None
    whole = np.arange(0.0, grid[-1] + 0.5, 1.0)
    acid = draws @ design(whole, np.full(len(whole), PH)).T
    hit = _passes(acid, whole, target if target is not None else 3.5)
    hottest = np.maximum(courses[TEMPERATURE].max(axis=1), _so_far(log, TEMPERATURE))
    return {
        "final_sg": _interval(1 + end[GRAVITY] / 1000),
        "final_ph": _interval(end[PH]),
        "target_ph": float(target if target is not None else 3.5),
        "target_h": _interval(hit[np.isfinite(hit)]),
        "chance_target": float(np.mean(np.isfinite(hit))),
        "chance_in_style": _chance(rules, 1 + end[GRAVITY] / 1000, end[PH], hottest),
        "path": _path(courses, grid),
    }


def replay(judged: Judged, at_h: float) -> pd.DataFrame:
    """Every example forecast as it stood at `at_h`, without itself: batch_id, final_sg and
    final_ph as read, whether each lay inside its 90 % interval, and the intervals' widths."""
    rows = []
    for log in [log for house in judged.houses.values() for log in house.examples]:
        then = log.only(log.hours <= at_h)
        last = {c: log.values[log.channel == c] for c in (GRAVITY, PH)}
        if len(then.times()) < FEWEST or not all(len(values) for values in last.values()):
            continue
        model = judged.house_of(log.batch_id).model.leaving_out(log.batch_id)
        low_sg, high_sg = (1 + one / 1000 for one in _end(model, then, log, GRAVITY))
        low_ph, high_ph = _end(model, then, log, PH)
        sg, ph = 1 + float(last[GRAVITY][-1]) / 1000, float(last[PH][-1])
        rows.append((log.batch_id, sg, ph, low_sg <= sg <= high_sg, low_ph <= ph <= high_ph,
                     high_sg - low_sg, high_ph - low_ph))  # fmt: skip
    columns = ["batch_id", "final_sg", "final_ph", "sg_inside", "ph_inside", "sg_wide", "ph_wide"]
    return pd.DataFrame(rows, columns=columns)


def _end(model: HouseModel, then: Log, whole: Log, channel: int) -> tuple[float, float]:
    """The interval of the last reading of `channel` in `whole`, foreseen from `then`: what the
    draws of `ahead` come to, in closed form."""
    mean, covariance = posterior(
        model.design(then), then.values, model.noise[then.channel], model.mean, model.covariance
    )
    mine = np.flatnonzero(whole.channel == channel)[-1:]
    row = model.design(whole)[mine]
    middle = float((row @ mean)[0])
    spread = np.sqrt(float((row @ covariance @ row.T)[0, 0]) + model.noise[channel])
    away = float(norm.ppf((1 + LEVEL) / 2) * spread)
    return middle - away, middle + away


def _passes(ph: Array, grid: Array, target: float) -> Array:
    """(draws,): the first hour each course is at or below the target, inf if never."""
    below = ph <= target
    return np.where(below.any(axis=1), grid[below.argmax(axis=1)], np.inf)


def _so_far(log: Log, channel: int) -> float:
    seen = log.values[log.channel == channel]
    return float(seen.max()) if len(seen) else -np.inf


def _chance(rules: HouseRules, sg: Array, ph: Array, hottest: Array) -> float:
    inside = np.ones(len(sg), bool)
    for name, values in (("final_sg", sg), ("final_ph", ph), ("peak_temp_c", hottest)):
        if name in rules.windows:
            inside &= _within(rules.window(name), values)
    return float(inside.mean())


def _within(window: Window, values: Array) -> np.ndarray:
    low = -np.inf if window.low is None else window.low
    high = np.inf if window.high is None else window.high
    return (values >= low) & (values <= high)


def _in_hundred(chance: float) -> str:
    if chance < 0.01:
        return "fewer than 1 in 100"
    return "more than 99 in 100" if chance > 0.99 else f"about {100 * chance:.0f} in 100"


def _interval(values: Array) -> tuple[float, float, float]:
    if not len(values):
        return float("nan"), float("nan"), float("nan")
    low, mid, high = np.quantile(values, [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2])
    return float(low), float(mid), float(high)


def _path(courses: dict[int, Array], grid: Array) -> pd.DataFrame:
    parts = []
    for channel, name in ((GRAVITY, "sg"), (PH, "ph"), (TEMPERATURE, "temp_c")):
        low, mid, high = np.quantile(courses[channel], [0.05, 0.5, 0.95], axis=0)
        if channel == GRAVITY:
            low, mid, high = (1 + values / 1000 for values in (low, mid, high))
        parts.append(
            pd.DataFrame({"hours": grid, "channel": name, "low": low, "mid": mid, "high": high})
        )
    return pd.concat(parts, ignore_index=True)


def _planned(batch: pd.Series, rules: HouseRules) -> float:
    planned = batch.get("planned_h")
    if planned is not None and pd.notna(planned):
        return float(planned)
    window = rules.windows.get("length_h")
    ends: Sequence[float] = [
        one for one in ((window.low, window.high) if window else ()) if one is not None
    ]
    return float(np.mean(ends)) if ends else 130.0
