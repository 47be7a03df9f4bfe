"""How much a log speaks for each signature: closed-form evidence, onset by onset.

The departure of a log from the house course is Gaussian with the house's covariance; a signature
adds patterns with normal sizes, so its evidence against "in style" is a ratio of two normal
densities. Nothing is searched: every onset and every setting is weighed and summed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.departures.signatures import (
    CLOCK,
    LIBRARY,
    Course,
    Signature,
    course_of,
)
from origin_compare.fermentation.house.course import HouseModel
from origin_compare.fermentation.logs import GRAVITY, Log

LONE_SD = (15.0, 0.7, 8.0)
"""How far one wrong reading may stand off: degrees, pH, °C."""
LONE_PRIOR = float(np.log(0.02))
EXTRA_NOISE = (0.25, 0.015, 0.15)
"""What no house model foresees, as a reading's own doubt: degrees, pH, °C."""
ONSET_STEP_H = 2.0
DENSE_STEP_H = 1.0


@dataclass(frozen=True)
class Sheet:
    """One signature: `onsets` (o,) and where its columns stand in the bank, `shape` (s, o, m) for
    s settings, o onsets and m patterns; `possible` (s, o) what physics says beforehand (log)."""

    signature: Signature
    onsets: Array
    columns: slice
    shape: tuple[int, int, int]
    possible: Array


@dataclass(frozen=True)
class Bank:
    """Every signature's patterns for one house course, made once and read off for each log:
    `patterns` (3 channels, grid, all columns) at `hours` (grid,)."""

    hours: Array
    og_deg: float
    patterns: Array
    sheets: tuple[Sheet, ...]


@dataclass(frozen=True)
class Weighed:
    """What one log says.

    `evidence` by cause: log of its density ratio to "in style". `onset` (o,) hours and `by_onset`
    (causes, o) the same apart by onset, -inf where none. `lone`: the single reading that, taken as
    wrong, explains most: its position and log evidence. `surprise`: standardised distance from
    the house model, whatever the cause; about 0 +- 1 in style.
    """

    causes: tuple[str, ...]
    evidence: Array
    onset: Array
    by_onset: Array
    lone: tuple[int, float]
    surprise: float

    @property
    def total(self) -> float:
        """Log evidence for any departure of the library."""
        return float(log_sum(self.evidence, axis=0) - np.log(len(self.evidence)))


def bank(
    model: HouseModel, step_h: float = ONSET_STEP_H, library: Sequence[Signature] = LIBRARY
) -> Bank:
    """The patterns of `library` about the mean course of `model`, onsets every `step_h` hours."""
    course = course_of(model)
    sheets, blocks, begin = [], [], 0
    for signature in library:
        low, high = signature.window
        onsets = np.arange(low, min(high, 142.0) + 0.1, step_h) if signature.onsets else np.zeros(1)
        made = np.stack(
            [signature.patterns(course, onsets, setting) for setting in signature.settings]
        )
        s, o, m = made.shape[:3]
        blocks.append(made.reshape(s * o * m, 3, -1))
        where = slice(begin, begin + s * o * m)
        sheets.append(
            Sheet(signature, onsets, where, (s, o, m), _possible(signature, course, onsets))
        )
        begin += s * o * m
    patterns = np.ascontiguousarray(np.moveaxis(np.concatenate(blocks), 0, -1))
    return Bank(course.hours, model.og_deg, patterns, tuple(sheets))


def _possible(signature: Signature, course: Course, onsets: Array) -> Array:
    if signature.possible is None:
        return np.zeros((len(signature.settings), len(onsets)))
    return np.stack([signature.possible(course, onsets, one) for one in signature.settings])


def weigh(model: HouseModel, log: Log, made: Bank) -> Weighed:
    """Weigh every signature of the bank and every single reading against "in style"."""
    spread = model.spread(log) + np.diag((np.array(EXTRA_NOISE) ** 2)[log.channel])
    lower = np.linalg.cholesky(spread)
    inverse = solve_triangular(lower, np.eye(len(log)), lower=True, check_finite=False)
    z = inverse @ (log.values - model.expected(log))
    white = inverse @ _read_off(made, log)
    last = max(float(log.hours.max()), 2.0)
    onset = np.unique(np.concatenate([sheet.onsets for sheet in made.sheets]))
    onset = onset[onset < last]
    evidence = np.full(len(made.sheets), -np.inf)
    by_onset = np.full((len(made.sheets), len(onset)), -np.inf)
    for row, sheet in enumerate(made.sheets):
        signature, usable = sheet.signature, int(np.sum(sheet.onsets < last))
        if not usable:
            continue
        turned = white[:, sheet.columns].T.reshape(*sheet.shape, len(log))[:, :usable]
        ratio = _ratio(signature, z, turned) + sheet.possible[:, :usable]
        ratio += _beforehand(signature, log)[:, None]
        apart = log_sum(ratio, axis=0) - np.log(len(ratio) * usable)
        evidence[row] = log_sum(apart, axis=0) + signature.prior
        if signature.onsets:
            by_onset[row, np.searchsorted(onset, sheet.onsets[:usable])] = apart + signature.prior
    surprise = float((z @ z - len(log)) / np.sqrt(2 * len(log)))
    causes = tuple(sheet.signature.cause for sheet in made.sheets)
    return Weighed(causes, evidence, onset, by_onset, _lone(inverse, z, log), surprise)


def log_sum(values: Array, axis: int) -> Array:
    """log(sum(exp(values))) along `axis`, safe for large ones."""
    top = np.max(values, axis=axis, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore", under="ignore"):
        out: Array = np.log(np.exp(values - top).sum(axis=axis)) + np.squeeze(top, axis)
    return out


def _read_off(made: Bank, log: Log) -> Array:
    """(n, columns): every pattern at the log's hours and channels, at its own gravity."""
    place = np.clip(log.hours - made.hours[0], 0, len(made.hours) - 1.001)
    before = place.astype(int)
    share = (place - before)[:, None]
    own = log.og_deg / made.og_deg if np.isfinite(log.og_deg) else 1.0
    scale = np.where(log.channel == GRAVITY, own, 1.0)[:, None]
    first = made.patterns[log.channel, before]
    return (first * (1 - share) + made.patterns[log.channel, before + 1] * share) * scale


def _ratio(signature: Signature, z: Array, turned: Array) -> Array:
    """(s, o): log of the normal density with the patterns over that without."""
    spread, mean = np.array(signature.spreads), np.array(signature.means)
    off = z - np.einsum("somn,m->son", turned, mean)
    scaled = turned * spread[:, None]
    inner = np.eye(len(mean)) + scaled @ np.swapaxes(scaled, -1, -2)
    along = (scaled @ off[..., None])[..., 0]
    won = np.sum(along * np.linalg.solve(inner, along[..., None])[..., 0], axis=-1)
    distance = np.sum(off**2, axis=-1) - won
    ratio: Array = 0.5 * (z @ z - distance - np.linalg.slogdet(inner)[1])
    return ratio


def _beforehand(signature: Signature, log: Log) -> Array:
    """(s,): a shifted clock shows in the first reading's hour as well."""
    if signature.cause != CLOCK:
        return np.zeros(len(signature.settings))
    first, by = float(log.hours.min()), np.array([one[0] for one in signature.settings])
    fits = np.where(by > 0, first > by - 2.0, first < by + 4.0)
    return np.where(fits, 1.5, -12.0)


def _lone(inverse: Array, z: Array, log: Log) -> tuple[int, float]:
    precision = np.einsum("kn,kn->n", inverse, inverse)
    pull = inverse.T @ z
    size = (np.array(LONE_SD) ** 2)[log.channel]
    evidence = 0.5 * (pull**2 * size / (1 + size * precision) - np.log1p(size * precision))
    best = int(np.argmax(evidence))
    return best, float(evidence[best] + LONE_PRIOR)
