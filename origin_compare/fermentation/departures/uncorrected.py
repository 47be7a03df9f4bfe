"""Is a hydrometer read warm and not corrected? Asked of a vessel's or a shift's batches together.

A hydrometer read warm reads low by a known function of the recorded temperature, so there is one
number to find: the share of that correction the readings are off by. 0 is as the house reads, 1
not corrected. Eight-hourly readings of one batch give it to about a third of the correction
(see `batch_se`), too little to accuse one batch; batches of one vessel or shift are pooled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import t

from origin_compare.answers import count, listed
from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.departures.signatures import reads_low
from origin_compare.fermentation.house.course import HouseModel
from origin_compare.fermentation.house.season_house import Judged
from origin_compare.fermentation.logs import GRAVITY, TEMPERATURE, Log
from origin_compare.season.season import Season

FALSE_PCT = 1.0
"""Of seasons in which everybody reads alike, so many may see a group named."""
SHIFTS = {"06 to 14 h": (6, 14), "14 to 22 h": (14, 22), "22 to 06 h": (22, 30)}
"""Common practice, no source: who reads goes by the shift."""
FEWEST = 3
"""Batches a group needs for its own scatter to be known."""
PEAK_C = 29.0


@dataclass(frozen=True)
class Uncorrected:
    """`groups`: one row per vessel and shift: group, kind (`vessel`, `shift`), batches, share (of
    the correction its gravity is off by, against the others), se, seen (the share that would have
    been found four times in five), p, named. `batch_se`: middle standard error of one batch's own.
    """

    groups: pd.DataFrame
    batch_se: float
    n_batches: int

    def named(self) -> tuple[str, ...]:
        """A sentence for each vessel or shift that stands out."""
        told = self.groups.loc[self.groups["named"]]
        return tuple(_said(row) for row in told.to_dict("records"))

    def sentence(self) -> str:
        if self.groups.empty:
            return "Too few batches to tell whether gravity is corrected for temperature."
        if self.named():
            return " ".join(f"{one}." for one in self.named())
        hidden = self.groups.loc[self.groups["seen"] > 1, "group"]
        more = f"; of {listed(list(hidden))} it cannot be told" if len(hidden) else ""
        return f"No vessel or shift reads gravity as if not corrected for temperature{more}."

    def table(self) -> pd.DataFrame:
        """The groups, unrounded."""
        return self.groups.copy()

    def rests_on(self) -> str:
        peak = abs(float(reads_low(np.array([PEAK_C]))[0]))
        return (
            f"{count(self.n_batches, 'batch')}, {count(len(self.groups), 'group')} tested; one "
            f"batch alone gives the share to {self.batch_se:.2f} "
            f"({self.batch_se * peak:.1f} degrees at {PEAK_C:.0f} °C), one standard error"
        )


def uncorrected(season: Season, judged: Judged) -> Uncorrected:
    """The share of the temperature correction by which each vessel's and each shift's gravity is
    off against the others', by generalised least squares under the house model.

    Batches that left the band and probes by the minute are not used. Shifts are told apart within
    batches, so they need readings with a moment.
    """
    logs = {
        name: one.log
        for name, one in judged.found.items()
        if not one.left and not one.log.dense and _told(one.log)
    }
    models = {name: judged.house_of(name).model.leaving_out(name) for name in logs}
    shift = _shifts(season)
    whole, errors, apart = {}, [], {}
    for name, log in logs.items():
        ones = np.ones((len(log), 1))
        share, cov = _share(models[name], log, ones)
        whole[name] = float(share[0])
        errors.append(float(np.sqrt(cov[0, 0])))
        apart[name] = _by_shift(models[name], log, shift)
    rows = [*_vessels(whole, season.batches), *_of_shifts(apart)]
    columns = ["kind", "group", "batches", "share", "se", "free"]
    groups = pd.DataFrame(rows, columns=columns)
    groups[columns[2:]] = groups[columns[2:]].astype(float)
    limit = t.ppf(1 - FALSE_PCT / 100 / 2 / max(len(groups), 1), groups["free"])
    ratio = groups["share"] / groups["se"]
    groups["p"] = 2 * t.sf(np.abs(ratio), groups["free"])
    groups["seen"] = (limit + 0.84) * groups["se"]
    groups["named"] = np.abs(ratio) > limit
    middle = float(np.median(errors)) if errors else float("nan")
    groups = groups.drop(columns="free").astype({"batches": int})
    return Uncorrected(groups, middle, len(logs))


def _told(log: Log) -> bool:
    return bool((log.channel == GRAVITY).sum() >= 6 and (log.channel == TEMPERATURE).any())


def _share(model: HouseModel, log: Log, parts: Array) -> tuple[Array, Array]:
    """Shares (p,) of the correction and their covariance, for the readings each column of `parts`
    (n, p) speaks of."""
    gravity, heat = log.channel == GRAVITY, log.channel == TEMPERATURE
    temp = np.interp(log.hours, log.hours[heat], log.values[heat])
    pattern = np.where(gravity, reads_low(temp), 0.0)[:, None] * parts
    inside = np.linalg.solve(model.spread(log), pattern)
    cov = np.linalg.inv(pattern.T @ inside)
    return cov @ inside.T @ (log.values - model.expected(log)), cov


def _shifts(season: Season) -> pd.Series:
    """By row of the readings sheet: its shift, where it carries a moment."""
    readings = season.sheets["readings"]
    if "read_at" not in readings or readings["read_at"].isna().all():
        return pd.Series(dtype=str)
    clock = readings["read_at"].dt.tz_convert(season.rules.time_zone)
    hour = (clock.dt.hour - 6) % 24 + 6
    names = pd.Series("", index=readings.index)
    for name, (begin, end) in SHIFTS.items():
        names[(hour >= begin) & (hour < end)] = name
    return names


def _by_shift(model: HouseModel, log: Log, shift: pd.Series) -> dict[str, float]:
    """Each shift's share less the mean of the batch's other shifts."""
    known = np.isin(log.row, shift.index)
    mine = np.array([shift[row] if ok else "" for row, ok in zip(log.row, known, strict=True)])
    gravity = log.channel == GRAVITY
    held = [name for name in SHIFTS if (gravity & (mine == name)).sum() >= 2]
    if len(held) < 2:
        return {}
    parts = np.column_stack([mine == name for name in held]).astype(float)
    share, _ = _share(model, log, parts)
    return {name: float(share[at] - np.delete(share, at).mean()) for at, name in enumerate(held)}


def _vessels(whole: Mapping[str, float], batches: pd.DataFrame) -> list[tuple]:
    """Each vessel's mean share against the other vessels', by their scatter within vessels."""
    vessel = dict(zip(batches["batch_id"].astype(str), batches["vessel"], strict=True))
    frame = pd.DataFrame({"share": whole}).assign(vessel=lambda f: f.index.map(vessel)).dropna()
    sizes = frame.groupby("vessel").size()
    frame = frame.loc[frame["vessel"].map(sizes) >= FEWEST]
    groups = frame.groupby("vessel")["share"]
    free = len(frame) - groups.ngroups
    if groups.ngroups < 2 or free < FEWEST:
        return []
    sd = float(np.sqrt(((frame["share"] - groups.transform("mean")) ** 2).sum() / free))
    rows = []
    for name, mine in groups:
        others = frame.loc[frame["vessel"] != name, "share"]
        se = sd * float(np.sqrt(1 / len(mine) + 1 / len(others)))
        gap = float(mine.mean() - others.mean())
        rows.append(("vessel", str(name), len(mine), gap, se, free))
    return rows


def _of_shifts(apart: Mapping[str, Mapping[str, float]]) -> list[tuple]:
    """Each shift's share against the other shifts of the same batches."""
    frame = pd.DataFrame([dict(one) for one in apart.values()])
    rows = []
    for name in frame:
        mine = frame[name].dropna()
        if len(mine) >= FEWEST:
            se = float(mine.std() / np.sqrt(len(mine)))
            rows.append(("shift", str(name), len(mine), float(mine.mean()), se, len(mine) - 1))
    return rows


def _said(row: dict) -> str:
    who = f"in {row['group']}" if row["kind"] == "vessel" else f"between {row['group']}"
    share = f"{row['share']:.1f} ± {2 * row['se']:.1f}"
    off = f"{share} of the correction, {count(row['batches'], 'batch')}"
    if row["share"] > 0:
        return f"gravity read {who} looks not corrected for temperature ({off})"
    return f"gravity read {who} looks corrected twice, or as if only it were ({off})"
