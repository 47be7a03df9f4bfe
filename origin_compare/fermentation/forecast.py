"""Where a running batch is heading: the house model, given what has been read so far.

The rest of the batch is drawn from the house's Gaussian process conditioned on the readings there
are, so the interval is as wide as like batches have differed from here on. Mean and spread of the
process are known from n batches only, so the draws are Student's with n - 1 degrees of freedom
about a mean that is itself in doubt (the prediction interval of any textbook, exact for one
normal figure: Hahn and Meeker, Statistical Intervals, 1991, section 4.7, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.stats import norm, t

from origin_compare.answers import count
from origin_compare.errors import NotEnoughData, UnknownName
from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.house.band import HouseBand
from origin_compare.fermentation.house.course import HouseModel, design, posterior
from origin_compare.fermentation.house.season_house import Judged, judge_season
from origin_compare.fermentation.logs import GRAVITY, PH, TEMPERATURE, Log
from origin_compare.house import HouseRules, Window
from origin_compare.season.season import Season

DRAWS = 4000
JACKKNIFE_DRAWS = 2000
LEVEL = 0.9
FEWEST = 3
LEVEL_DEG = 1.0
"""Gravity within this of its end counts as level: what a hydrometer can be read to."""


@dataclass(frozen=True)
class Forecast:
    """`final_sg`, `final_ph` and `target_h` (the hour pH passes the house's target) each as (low,
    likely, high) of the 90 % interval; `chance_in_style` of ending inside the house's windows for
    final gravity, final pH and peak temperature; `holds` is False when the batch has already left
    the band, so that the house is no guide. `path`: hours, channel, low, mid, high from now on.
    `terminal_h`: from when gravity stays within `LEVEL_DEG` of its end. `chance_interval`: how far
    the chance rests on which batches the house was learned from (90 %). `band`: the house band by
    channel up to the end, hours, low, mid, high. `held`: of past batches foreseen the same way at
    this hour, how many ended inside the gravity and the pH interval, and how many there were.
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
    terminal_h: tuple[float, float, float] = (float("nan"),) * 3
    chance_interval: tuple[float, float] = (float("nan"),) * 2
    band: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    held: tuple[int, int, int] = (0, 0, 0)

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
            f"{self.end_h:.0f} h; {in_hundred(self.chance_in_style)} such batches end in style."
        )

    def chance_words(self) -> str:
        """The chance of ending in style with its interval, as counts of a hundred batches."""
        low, high = self.chance_interval
        said = in_hundred(self.chance_in_style)
        if not np.isfinite(low) or in_hundred(low) == in_hundred(high) == said:
            return said
        return f"{said} ({_bare(low)} to {_bare(high)})"

    def table(self) -> pd.DataFrame:
        """what, low, likely, high: the figures with their 90 % intervals."""
        rows = [
            ("final gravity", *self.final_sg),
            (f"pH at {self.end_h:.0f} h", *self.final_ph),
            (f"hour pH passes {self.target_ph:.2f}", *self.target_h),
            ("hour gravity stops falling", *self.terminal_h),
        ]
        return pd.DataFrame(rows, columns=["what", "low", "likely", "high"])

    def rests_on(self) -> str:
        examples = count(self.n_examples, "batch")
        said = f"{count(self.n_readings, 'reading')} so far, {examples} that ran in style"
        gravity, ph, played = self.held
        if not played:
            return said
        return (
            f"{said}; foreseen the same way at {self.so_far_h:.0f} h, {gravity} of {played} of "
            f"them ended inside the 90 % interval for gravity and {ph} inside that for pH"
        )


def forecast(
    season: Season, batch_id: str, seed: int = 20, judged: Judged | None = None
) -> Forecast:
    """Forecast a running batch to its planned end (else the middle of the house's window).

    Raises `UnknownName` for no such batch, `NotEnoughData` read at fewer than three hours or
    with no house band. `judged` may hand over the result of `judge_season`, to save time.
    """
    judged = judged or judge_season(season)
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
    rules = season.rules
    end_h = _planned(rows.iloc[0], rules)
    model = judged.ahead_of(str(batch_id))
    made = ahead(model, clean, end_h, rules, seed)
    played = replay(judged, float(log.hours.max()))
    return Forecast(
        str(batch_id),
        float(log.hours.max()),
        end_h,
        **made,
        chance_interval=_chance_interval(model, clean, end_h, rules, seed, made["chance_in_style"]),
        band=_band(judged.band_of(str(batch_id)), end_h, clean.og_deg),
        holds=found is None or not found.left,
        n_examples=len(model.names) - (str(batch_id) in model.names),
        n_readings=len(log),
        held=(int(played["sg_inside"].sum()), int(played["ph_inside"].sum()), len(played)),
    )


def _band(band: HouseBand, end_h: float, og_deg: float) -> dict[str, pd.DataFrame]:
    grid = np.arange(0.0, end_h + 1, 1.0)
    return {name: band.at(grid, name, 1 + og_deg / 1000) for name in band.multiplier}


def ahead(model: HouseModel, log: Log, end_h: float, rules: HouseRules, seed: int) -> dict:
    """The figures of `Forecast` for a log cut off anywhere."""
    mean, covariance = _given(model, log)
    rng = np.random.default_rng(seed)
    draws = rng.multivariate_normal(np.zeros(len(mean)), covariance, DRAWS, method="eigh")
    draws = mean + draws * _stretch(rng, model, DRAWS)
    now = float(log.hours.max())
    grid = np.arange(now, max(end_h, now + 1) + 0.5, 1.0)
    share = log.og_deg / model.og_deg if np.isfinite(log.og_deg) else 1.0
    courses = {channel: draws @ design(grid, np.full(len(grid), channel)).T for channel in range(3)}
    courses[GRAVITY] = courses[GRAVITY] * share
    end = {
        channel: values[:, -1] + rng.normal(0, np.sqrt(model.noise.level[channel]), DRAWS)
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
        "terminal_h": _interval(_level_from(courses[GRAVITY], grid)),
    }


def _given(model: HouseModel, log: Log) -> tuple[Array, Array]:
    """Mean and covariance of a batch's coefficients given its readings so far; the house's own
    mean is known to one part in n of the spread between batches."""
    spread = model.covariance * (1 + 1 / len(model.names))
    return posterior(model.design(log), log.values, model.doubt(log), model.mean, spread)


def _stretch(rng: np.random.Generator, model: HouseModel, draws: int) -> Array:
    """(draws, 1): what makes normal draws Student's, since the spread is learned from n batches."""
    free = len(model.names) - 1
    return np.sqrt(free / rng.chisquare(free, (draws, 1)))


def replay(judged: Judged, at_h: float) -> pd.DataFrame:
    """Every batch forecasts are learned from foreseen as it stood at `at_h`, without itself:
    batch_id, final_sg and final_ph as read, whether each lay inside its 90 % interval, and the
    intervals' widths."""
    rows = []
    for name in [name for model in judged.ahead.values() for name in model.names]:
        whole = judged.found[name].log
        then = whole.only(whole.hours <= at_h)
        last = {c: whole.values[whole.channel == c] for c in (GRAVITY, PH)}
        later = whole.hours.max() > at_h
        if not later or len(then.times()) < FEWEST or not all(map(len, last.values())):
            continue
        model = judged.ahead_of(name)
        low_sg, high_sg = (1 + one / 1000 for one in end_interval(model, then, whole, GRAVITY))
        low_ph, high_ph = end_interval(model, then, whole, PH)
        sg, ph = 1 + float(last[GRAVITY][-1]) / 1000, float(last[PH][-1])
        rows.append(
            (
                name,
                sg,
                ph,
                low_sg <= sg <= high_sg,
                low_ph <= ph <= high_ph,
                high_sg - low_sg,
                high_ph - low_ph,
            )
        )
    columns = ["batch_id", "final_sg", "final_ph", "sg_inside", "ph_inside", "sg_wide", "ph_wide"]
    return pd.DataFrame(rows, columns=columns)


def end_interval(
    model: HouseModel, then: Log, whole: Log, channel: int, level: float = LEVEL
) -> tuple[float, float]:
    """The interval of the last reading of `channel` in `whole`, foreseen from `then`: what the
    draws of `ahead` come to, in closed form (degrees of freedom of the sum by Satterthwaite,
    Biometrics Bulletin 2 (1946) 110: a reading's own noise is learned from many)."""
    mean, covariance = _given(model, then)
    mine = np.flatnonzero(whole.channel == channel)[-1:]
    row = model.design(whole)[mine]
    between = float((row @ covariance @ row.T)[0, 0])
    total = between + float(model.doubt(whole)[mine][0])
    free = (len(model.names) - 1) * (total / between) ** 2
    away = float(t.ppf((1 + level) / 2, free) * np.sqrt(total))
    middle = float((row @ mean)[0])
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


def in_hundred(chance: float) -> str:
    """A chance as a count of a hundred batches."""
    if chance < 0.01:
        return "fewer than 1 in 100"
    return "more than 99 in 100" if chance > 0.99 else f"about {100 * chance:.0f} in 100"


def _bare(chance: float) -> str:
    if chance < 0.01:
        return "fewer than 1"
    return "more than 99" if chance > 0.99 else f"{100 * chance:.0f}"


def _level_from(gravity: Array, grid: Array) -> Array:
    """(draws,): the first hour of `grid` from which each course stays level to its end."""
    moving = np.abs(gravity - gravity[:, -1:]) > LEVEL_DEG
    last = moving.shape[1] - 1 - np.argmax(moving[:, ::-1], axis=1)
    return grid[np.where(moving.any(axis=1), np.minimum(last + 1, len(grid) - 1), 0)]


def _chance_interval(
    model: HouseModel, log: Log, end_h: float, rules: HouseRules, seed: int, chance: float
) -> tuple[float, float]:
    """90 % interval of the chance in style over the batches the house is learned from.

    The jackknife on the logit scale (Efron and Tibshirani, An Introduction to the Bootstrap, 1993,
    chapter 11): every example is left out in turn, the same random numbers drawn each time.
    """
    rng = np.random.default_rng(seed)
    normal = rng.standard_normal((JACKKNIFE_DRAWS, len(model.mean)))
    slip = rng.standard_normal((JACKKNIFE_DRAWS, 2)) * np.sqrt(model.noise.level[[GRAVITY, PH]])
    grid = np.arange(float(log.hours.max()), end_h + 4, 4.0).clip(max=end_h)
    ends = design(np.array([end_h, end_h]), np.array([GRAVITY, PH]))
    heat = design(grid, np.full(len(grid), TEMPERATURE))
    share = log.og_deg / model.og_deg if np.isfinite(log.og_deg) else 1.0
    stretch = _stretch(rng, model, JACKKNIFE_DRAWS)
    so_far = _so_far(log, TEMPERATURE)
    logits = []
    for name in model.names:
        one = model.leaving_out(name)
        if one is model:
            continue
        mean, covariance = _given(one, log)
        root = np.linalg.cholesky(covariance + 1e-9 * np.eye(len(mean)))
        draws = mean + normal @ root.T * stretch
        end = draws @ ends.T * np.array([share, 1.0]) + slip
        hottest = np.maximum((draws @ heat.T).max(axis=1), so_far)
        logits.append(_logit(_chance(rules, 1 + end[:, 0] / 1000, end[:, 1], hottest)))
    n = len(logits)
    if n < FEWEST:
        return float("nan"), float("nan")
    away = float(norm.ppf((1 + LEVEL) / 2)) * float(np.std(logits)) * np.sqrt(n - 1)
    middle = _logit(chance)
    low, high = (1 / (1 + np.exp(-(middle + side * away))) for side in (-1, 1))
    return float(low), float(high)


def _logit(chance: float) -> float:
    """Of a share of draws, kept off 0 and 1 by half a draw."""
    kept = (chance * JACKKNIFE_DRAWS + 0.5) / (JACKKNIFE_DRAWS + 1)
    return float(np.log(kept / (1 - kept)))


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
