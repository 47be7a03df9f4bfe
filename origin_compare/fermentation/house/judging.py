"""The house settled on its examples, and one log judged against it: in style, or left and when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.departures.weighing import (
    DENSE_STEP_H,
    ONSET_STEP_H,
    Bank,
    Weighed,
    bank,
    weigh,
)
from origin_compare.fermentation.house.course import HouseModel, learn
from origin_compare.fermentation.house.examples import FEWEST_BATCHES, Reference
from origin_compare.fermentation.logs import Log

LIMITS = (3.0, 6.0)
"""Log evidence a departure needs, at least and at most; between, the examples themselves say."""
SURPRISE_LIMIT = 6.0
CLEARLY_OFF = 5.0
MOST_ASIDE = 4
LONE_LEAST = 3.0
FALSE_ALARMS = 0.03
COARSE_STEP_H = 8.0
"""Onsets tried while the examples are being chosen: whether, not when, is asked then."""
FLAT = 15.0
"""Evidence beyond this is as much about the patterns' own roughness as about the batch, so all
evidence is divided by its excess over it: 515 against 500 is no certainty."""
FLAT_ONSET = 90.0
"""The same for the hour, which the patterns place better than they tell causes apart; set so that
planted hours lie inside about as often as stated (see tests/faults)."""


@dataclass(frozen=True)
class House:
    """What a log is judged against: `limit` and `surprise_limit` on its evidence, from how the
    examples themselves come out, each judged without itself (`totals`)."""

    model: HouseModel
    reference: Reference
    examples: tuple[Log, ...]
    patterns: Bank
    fine: Bank
    limit: float
    surprise_limit: float
    totals: Array


@dataclass(frozen=True)
class Judgement:
    """`log` without the readings set aside, whose rows are `aside` with the value expected;
    `weighed` the evidence left; `left` whether it departs."""

    log: Log
    aside: tuple[tuple[int, int, float, float], ...]
    weighed: Weighed
    left: bool
    by_surprise: bool


def settle(all_logs: Mapping[str, Log], proposed: Reference) -> House:
    """Learn the house from the proposed batches; unless they were named, leave out those that
    their own evidence says departed, take back those it says did not, and learn again."""
    names = list(proposed.names)
    left_out = dict(proposed.left_out)
    logs = {name: all_logs[name] for name in names}
    doubtful = [name for name, why in left_out.items() if why == _UNLIKE]
    for _ in range(1 if proposed.given else 3):
        model = learn([logs[name] for name in names])
        made = bank(model, COARSE_STEP_H)
        judged = {name: judge_log(model, made, all_logs[name]) for name in [*names, *doubtful]}
        logs = {name: one.log for name, one in judged.items()}
        total = {name: max(one.weighed.total, 0.0) for name, one in judged.items()}
        if proposed.given:
            break
        kept = _in_style(judged, total, at_least=max(FEWEST_BATCHES, int(0.5 * len(judged))))
        doubtful = [name for name in judged if name not in kept]
        settled = set(kept) == set(names)
        names = kept
        if settled:
            break
    examples = [logs[name] for name in names]
    model = learn(examples)
    made = bank(model, ONSET_STEP_H)
    dense = any(log.dense for log in all_logs.values())
    found = [judge_log(model, made, log) for log in examples]
    for name in doubtful:
        left_out[name] = _UNLIKE
    left_out = {name: why for name, why in left_out.items() if name not in names}
    reference = Reference(tuple(names), left_out, proposed.given)
    totals = np.array([one.weighed.total for one in found])
    surprise = np.array([one.weighed.surprise for one in found])
    return House(
        model,
        reference,
        tuple(examples),
        made,
        bank(model, DENSE_STEP_H) if dense else made,
        float(np.clip(_upper_tail(totals), *LIMITS)),
        max(SURPRISE_LIMIT, _upper_tail(surprise)),
        totals,
    )


_UNLIKE = "runs unlike most batches"


def _in_style(
    judged: Mapping[str, Judgement], total: Mapping[str, float], at_least: int
) -> list[str]:
    ordered = sorted(judged, key=lambda name: total[name])
    kept = [
        name
        for place, name in enumerate(ordered)
        if place < at_least
        or (total[name] <= LIMITS[0] and judged[name].weighed.surprise < SURPRISE_LIMIT)
    ]
    return [name for name in judged if name in kept]


def _upper_tail(values: Array) -> float:
    """The value a share `FALSE_ALARMS` of good batches would pass, by a Gumbel tail (moments)."""
    scale = np.sqrt(6) / np.pi * np.std(values, ddof=1)
    place = np.mean(values) - 0.5772 * scale
    return float(place - scale * np.log(-np.log(1 - FALSE_ALARMS)))


def judge(house: House, log: Log) -> Judgement:
    """Judge one log; an example is judged by the house without it."""
    found = judge_log(house.model, house.fine if log.dense else house.patterns, log)
    surprised = found.weighed.surprise > house.surprise_limit
    return replace(
        found,
        left=bool(found.weighed.total > house.limit or surprised),
        by_surprise=bool(surprised and found.weighed.total <= house.limit),
    )


def judge_log(model: HouseModel, made: Bank, log: Log) -> Judgement:
    """Weigh a log; single readings that explain more than any departure are set aside first."""
    held = model.leaving_out(log.batch_id)
    aside: list[tuple[int, int, float, float]] = []
    weighed = weigh(held, log, made)
    for _ in range(MOST_ASIDE):
        at, evidence = weighed.lone
        if evidence < LONE_LEAST or evidence < weighed.total + 1.0 or log.row[at] < 0:
            break
        keep = np.arange(len(log)) != at
        expected = _expected(held, log, at, keep)
        aside.append((int(log.row[at]), int(log.channel[at]), float(log.hours[at]), expected))
        log = log.only(keep)
        weighed = weigh(held, log, made)
    return Judgement(log, tuple(aside), weighed, False, False)


def _expected(model: HouseModel, log: Log, at: int, keep: np.ndarray) -> float:
    """What the reading should have been, given all the others."""
    spread, mean = model.spread(log), model.expected(log)
    others = np.linalg.solve(spread[np.ix_(keep, keep)], (log.values - mean)[keep])
    return float(mean[at] + spread[at, keep] @ others)


def tempered(weighed: Weighed) -> Array:
    """Evidence by cause with its excess flattened; see `FLAT`."""
    return weighed.evidence / _temper(weighed)


def _temper(weighed: Weighed, flat: float = FLAT) -> float:
    return max(1.0, float(np.max(weighed.evidence)) / flat)


def onset_interval(
    weighed: Weighed, weight: Array, times: Array, share: float = 0.9
) -> tuple[float, float, float]:
    """(last good, first bad, likeliest hour) of the onset, mixed over causes.

    `weight` (causes,) is added to each cause's flattened evidence; the interval holds `share` of
    what is believed and is widened to the readings around it, since between readings nothing is
    known.
    """
    with np.errstate(under="ignore"):
        apart = weighed.by_onset / _temper(weighed, FLAT_ONSET) + weight[:, None]
        believed = np.exp(apart - np.max(apart)).sum(axis=0)
    believed = believed / believed.sum()
    cumulated = np.cumsum(believed)
    low = float(weighed.onset[np.searchsorted(cumulated, (1 - share) / 2)])
    at = min(int(np.searchsorted(cumulated, 1 - (1 - share) / 2)), len(believed) - 1)
    high = float(weighed.onset[at])
    # a fault is there before it shows: one step of the onsets tried earlier is still believed
    low -= float(np.median(np.diff(weighed.onset))) if len(weighed.onset) > 1 else 0.0
    before, after = times[times <= low], times[times > high]
    likely = float(weighed.onset[np.argmin(np.abs(cumulated - 0.5))])
    return (
        float(before[-1]) if len(before) else 0.0,
        float(after[0]) if len(after) else float(times[-1]),
        likely,
    )
