"""What each fault does to gravity, pH and temperature: how it departs from the house course.

Each signature turns the house's own course into one to three patterns (n readings x onsets) whose
sizes are normal with a mean and spread from practice. Heat follows gravity: about 0.26 °C per
degree fermented before losses [own arithmetic; between 0.25 and 0.28]. What the patterns look like
is common practice, no source; how big they may be is set wide on purpose.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np
from scipy.signal import lfilter

from origin_compare import measures
from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.house.course import HouseModel
from origin_compare.fermentation.logs import GRAVITY, PH, TEMPERATURE

WARMING = 0.26
"""°C per degree of gravity fermented, before losses."""
COOLS_PER_H = 0.02
"""Share of a temperature difference lost in an hour, cooling valve at work."""
FASTER_PER_C = 0.065
"""Rate of fermenting gained per °C: about twice as fast for ten degrees."""

HALF_WAY_SG = 1.020

Setting = tuple[float, ...]
Patterns = Callable[["Course", Array, Setting], Array]
"""`patterns(course, onsets (o,), setting)` -> (o, m, 3 channels, grid)."""


@dataclass(frozen=True)
class Signature:
    """`patterns` with the mean and standard deviation of each one's size; `settings` are tried
    in turn; `onsets` says whether it begins at some hour or is there from the pitch;
    `window` is where it may begin, h; `prior` the log of how common it is beforehand."""

    cause: str
    instrument: bool
    patterns: Patterns
    means: tuple[float, ...]
    spreads: tuple[float, ...]
    channel: str
    settings: tuple[Setting, ...] = ((),)
    onsets: bool = True
    window: tuple[float, float] = (0.0, 144.0)
    prior: float = 0.0
    possible: Callable[[Course, Array, Setting], Array] | None = None
    """(o,) log of how possible each onset is under a setting, where physics has a say."""


@dataclass(frozen=True)
class Course:
    """The house's mean course of one batch on an hourly grid, from before the pitch to the end."""

    hours: Array
    gravity: Array
    ph: Array
    temp: Array

    @cached_property
    def rate(self) -> Array:
        """Degrees an hour, negative while fermenting."""
        return np.gradient(self.gravity, self.hours)

    @cached_property
    def fermented(self) -> Array:
        """Share of the fall that is done, 0 to 1."""
        fall = self.gravity[0] - self.gravity.min()
        return np.clip((self.gravity[0] - self.gravity) / max(fall, 1.0), 0, 1)

    def since(self, onsets: Array) -> Array:
        """(o, grid): hours since each onset, 0 before it."""
        return np.maximum(self.hours[None, :] - onsets[:, None], 0.0)

    def shifted(self, values: Array, by: Array | float) -> Array:
        """`values` read `by` hours earlier on the clock, held at both ends."""
        return np.interp(self.hours - by, self.hours, values)

    def warmth(self, gravity_off: Array) -> Array:
        """Temperature that follows from gravity standing `gravity_off` (o, grid) above course."""
        given_off = -WARMING * np.diff(gravity_off, axis=-1, prepend=gravity_off[..., :1])
        return lfilter([1.0], [1.0, -(1.0 - COOLS_PER_H)], given_off, axis=-1)


def course_of(model: HouseModel) -> Course:
    """The mean course at the house's usual original gravity; gravity made to fall only."""
    hours = np.arange(-24.0, 169.0, 1.0)
    inside = np.clip(hours, 0.0, None)
    gravity = np.minimum.accumulate(model.course(inside, GRAVITY))
    return Course(hours, gravity, model.course(inside, PH), model.course(inside, TEMPERATURE))


def _one(gravity: Array | None, ph: Array | None, temp: Array | None, like: Array) -> Array:
    """(o, 3, grid): one pattern over the three channels, absent ones nought."""
    nought = np.zeros_like(like)
    parts = (gravity, ph, temp)
    return np.stack([nought if part is None else part for part in parts], axis=1)


def _together(*patterns: Array) -> Array:
    return np.stack(patterns, axis=1)


def _stuck(course: Course, onsets: Array, _: Setting) -> Array:
    since = course.since(onsets)
    held = np.interp(onsets, course.hours, course.gravity)[:, None]
    off = np.where(since > 0, held - course.gravity[None, :], 0.0)
    ph_held = np.interp(onsets, course.hours, course.ph)[:, None]
    acid = np.where(since > 0, ph_held - course.ph[None, :], 0.0)
    return _together(
        _one(off, None, None, off),
        _one(None, None, course.warmth(off), off),
        _one(None, acid * np.exp(-since / 24.0), None, off),
    )


def _shift(course: Course, onsets: Array, setting: Setting) -> Array:
    """All that yeast does comes `by` hours later: gravity, its heat, its acid."""
    (by,) = setting
    off = (course.shifted(course.gravity, by) - course.gravity)[None, :]
    acid = (course.shifted(course.ph, by) - course.ph)[None, :]
    return _together(
        _one(off, None, course.warmth(off), off),
        _one(None, acid, None, off),
    )


def _stretched(course: Course, onsets: Array, setting: Setting) -> Array:
    """Everything takes `by` times as long, and more is left at the end."""
    (by,) = setting
    at = np.where(course.hours > 0, course.hours / by, course.hours)
    off = (np.interp(at, course.hours, course.gravity) - course.gravity)[None, :]
    acid = (np.interp(at, course.hours, course.ph) - course.ph)[None, :]
    more = course.fermented[None, :]
    return _together(
        _one(off, None, course.warmth(off), off),
        _one(None, acid, None, off),
        _one(more, None, course.warmth(more), more),
    )


def _ahead(course: Course, onsets: Array, setting: Setting) -> Array:
    """Hardly a lag, and everything in less time: `by` hours earlier (negative), times `pace`."""
    by, pace = setting
    at = np.where(course.hours > 0, course.hours / pace, course.hours) - by
    at = np.where(course.hours > 0, np.minimum(at, course.hours * (1 - by / 8)), course.hours)
    off = (np.interp(at, course.hours, course.gravity) - course.gravity)[None, :]
    acid = (np.interp(at, course.hours, course.ph) - course.ph)[None, :]
    return _together(_one(off, None, course.warmth(off), off), _one(None, acid, None, off))


def _less_fermentable(course: Course, onsets: Array, _: Setting) -> Array:
    off = course.fermented[None, :]
    return _together(_one(off, None, course.warmth(off), off))


def _warped(course: Course, pace: Array) -> Array:
    """(o, grid): gravity off course when time in the vessel runs at `pace` (1 is usual)."""
    own = course.hours[0] + np.cumsum(pace, axis=1) - 1.0
    return np.interp(own, course.hours, course.gravity) - course.gravity[None, :]


def _temperature(course: Course, onsets: Array, setting: Setting) -> Array:
    """Temperature goes off by `by` °C for `lasts` hours, and gravity follows: the yeast's time
    runs faster warm and slower cold. The second pattern is temperature's own further way."""
    by, lasts = setting
    since = course.since(onsets)
    away = (1 - np.exp(-since / 6.0)) * np.exp(-np.maximum(since - lasts, 0) / 14.0)
    off = _warped(course, np.exp(FASTER_PER_C * by * away))
    end = (since > 0) * course.fermented[None, :]
    late = away * np.minimum(since / 24.0, 2.0)
    return _together(
        _one(off, None, by * away, away),
        _one(None, None, late, away),
        _one(None, None, course.warmth(off), away),
        _one(end, None, None, end),
    )


def _enough_heat(course: Course, onsets: Array, setting: Setting) -> Array:
    """Wash warms by what it ferments and by nothing else: with little left to ferment, a rise
    of temperature is the probe's, not the wash's."""
    left = np.interp(onsets, course.hours, course.gravity) - course.gravity.min()
    short = np.maximum(setting[0] - WARMING * left - 1.0, 0.0)
    return -4.0 * short


def _lactic(course: Course, onsets: Array, setting: Setting) -> Array:
    """Acid before its time: pH goes early to where it ends, or (`plain`) by a drop of its own
    that the late fall swallows in part; sugar and room taken slow the yeast."""
    grows_h, slowed, plain = setting
    since = course.since(onsets)
    end = float(course.ph[course.hours >= 96].mean())
    grown = 1 - np.exp(-((since / grows_h) ** 2))
    acid = (end - course.ph)[None, :] * grown
    if plain:
        start = float(course.ph[course.hours <= 0].mean())
        done = np.clip((start - course.ph) / max(start - end, 0.1), 0, 1)
        acid = -0.8 * grown * (1 - 0.7 * done[None, :])
    off = _warped(course, 1 - slowed * grown)
    more = course.fermented[None, :] * (since > 0)
    held = [_one(None, acid, None, acid), _one(off, None, course.warmth(off), acid)]
    return _together(*held, _one(more, None, course.warmth(more), acid))


def _acid_only(course: Course, onsets: Array, setting: Setting) -> Array:
    """The late lactic fall earlier or deeper than usual; gravity has gone already."""
    return _lactic(course, onsets, (*setting, 0.0, 0.0))[:, :1]


def _less_acid(course: Course, onsets: Array, _: Setting) -> Array:
    """The late lactic fall comes late or not at all."""
    at_40 = float(np.interp(40.0, course.hours, course.ph))
    missing = np.where(course.hours > 40, at_40 - course.ph, 0.0)[None, :]
    return _together(_one(None, missing, None, missing))


def _late_extra(course: Course, onsets: Array, _: Setting) -> Array:
    off = -(1 - np.exp(-course.since(onsets) / 40.0))
    return _together(_one(off, None, None, off))


def _step(channel: int) -> Patterns:
    def patterns(course: Course, onsets: Array, _: Setting) -> Array:
        return _alone(channel, (course.since(onsets) > 0).astype(float))

    return patterns


def _ramp(channel: int) -> Patterns:
    def patterns(course: Course, onsets: Array, _: Setting) -> Array:
        return _alone(channel, course.since(onsets) / 24.0)

    return patterns


def _frozen(channel: int) -> Patterns:
    def patterns(course: Course, onsets: Array, _: Setting) -> Array:
        values = (course.gravity, course.ph, course.temp)[channel]
        held = np.interp(onsets, course.hours, values)[:, None]
        return _alone(channel, np.where(course.since(onsets) > 0, held - values[None, :], 0.0))

    return patterns


def _alone(channel: int, off: Array) -> Array:
    parts: list[Array | None] = [None, None, None]
    parts[channel] = off
    return _together(_one(parts[0], parts[1], parts[2], off))


def _clock(course: Course, onsets: Array, setting: Setting) -> Array:
    (by,) = setting
    rows = [course.shifted(one, by) - one for one in (course.gravity, course.ph, course.temp)]
    return np.stack(rows)[None, None, :, :]


def _uncorrected(course: Course, onsets: Array, _: Setting) -> Array:
    """A hydrometer read warm and not corrected reads low (see `reads_low`)."""
    return _alone(GRAVITY, reads_low(course.temp)[None, :] * (course.since(onsets) > 0))


def reads_low(temp_c: Array) -> Array:
    """Degrees by which a hydrometer read at `temp_c` and not corrected to 20 °C is off, negative
    when warm. What it is read in changes the correction by hardly a tenth."""
    read = np.clip(temp_c, 0.0, 40.0)
    return np.asarray(1000 * (HALF_WAY_SG - measures.sg_at_20c(HALF_WAY_SG, read)))


STUCK = "stuck fermentation"
SLOW_LAG = "slow lag"
POOR_YEAST = "poor or too little yeast"
OVER_PITCH = "over-pitch"
LESS_FERMENTABLE = "wort that would not ferment lower"
HOT = "hot fermentation (cooling failed)"
CHILLED = "chilled (cooling stuck on)"
EARLY_LACTIC = "early lactic growth"
MORE_ACID = "lactic fall earlier or stronger than house style"
LESS_ACID = "weak or late lactic fall"
WILD = "wild yeast"
CLOCK = "clock or shift error"
UNCORRECTED = "gravity not corrected for temperature"
FROZEN_GRAVITY = "frozen gravity probe"
FROZEN_TEMP = "frozen temperature probe"
OFFSETS: Mapping[int, str] = {
    GRAVITY: "gravity instrument off by a step",
    PH: "pH meter off by a step",
    TEMPERATURE: "temperature probe off by a step",
}
DRIFTS: Mapping[int, str] = {
    GRAVITY: "gravity probe drift",
    PH: "pH meter drift",
    TEMPERATURE: "temperature probe drift",
}
_STEP_SD = {GRAVITY: 6.0, PH: 0.4, TEMPERATURE: 4.0}
_RAMP_SD = {GRAVITY: 3.0, PH: 0.35, TEMPERATURE: 2.5}
SHIFTS = (-14.0, -12.0, -10.0, -7.0, -4.0, 4.0, 7.0, 10.0, 12.0, 14.0)
_WORDS = {GRAVITY: "gravity", PH: "pH", TEMPERATURE: "temperature"}


def _settings(*choices: tuple[float, ...]) -> tuple[Setting, ...]:
    return tuple(product(*choices))


LIBRARY: tuple[Signature, ...] = (
    Signature(STUCK, False, _stuck, (0.85, 0.85, 0.4), (0.2, 0.4, 0.4), "gravity", window=(14, 60)),
    Signature(
        SLOW_LAG,
        False,
        _shift,
        (1.0, 0.8),
        (0.15, 0.3),
        "gravity",
        _settings((5.0, 8.0, 12.0, 16.0, 22.0)),
        onsets=False,
    ),
    Signature(
        POOR_YEAST,
        False,
        _stretched,
        (1.0, 0.8, 2.0),
        (0.15, 0.4, 2.0),
        "gravity",
        _settings((1.15, 1.3, 1.5, 1.8, 2.2)),
        onsets=False,
    ),
    Signature(
        OVER_PITCH,
        False,
        _ahead,
        (1.0, 0.9),
        (0.15, 0.3),
        "gravity",
        _settings((-3.0, -6.0, -9.0, -12.0), (1.0, 0.85, 0.7)),
        onsets=False,
    ),
    Signature(LESS_FERMENTABLE, False, _less_fermentable, (7.0,), (3.0,), "gravity", onsets=False),
    Signature(
        HOT,
        False,
        _temperature,
        (1.0, 1.0, 0.7, 1.0),
        (0.3, 1.5, 0.5, 2.0),
        "temperature",
        _settings((2.5, 5.0, 8.0), (20.0, 60.0, 120.0)),
        window=(8, 72),
        possible=_enough_heat,
    ),
    Signature(
        CHILLED,
        False,
        _temperature,
        (1.0, 0.0, 0.7, 0.5),
        (0.25, 2.0, 0.5, 1.0),
        "temperature",
        _settings((-2.5, -5.0, -9.0, -14.0), (8.0, 16.0, 30.0, 60.0)),
        window=(4, 100),
    ),
    Signature(
        EARLY_LACTIC,
        False,
        _lactic,
        (0.7, 1.0, 1.0),
        (0.3, 0.3, 1.5),
        "pH",
        _settings((10.0, 20.0, 32.0), (0.05, 0.2, 0.4), (0.0, 1.0)),
        window=(0, 30),
    ),
    Signature(
        MORE_ACID,
        False,
        _acid_only,
        (0.7,),
        (0.4,),
        "pH",
        _settings((10.0, 24.0)),
        window=(30, 80),
    ),
    Signature(LESS_ACID, False, _less_acid, (0.5,), (0.4,), "pH", onsets=False),
    Signature(WILD, False, _late_extra, (5.0,), (2.5,), "gravity", window=(44, 120)),
    Signature(
        CLOCK,
        True,
        _clock,
        (1.0,),
        (0.07,),
        "gravity",
        _settings(SHIFTS),
        onsets=False,
    ),
    Signature(UNCORRECTED, True, _uncorrected, (1.0,), (0.12,), "gravity"),
    Signature(FROZEN_GRAVITY, True, _frozen(GRAVITY), (1.0,), (0.05,), "gravity", window=(4, 60)),
    Signature(FROZEN_TEMP, True, _frozen(TEMPERATURE), (1.0,), (0.05,), "temperature"),
    *(
        Signature(OFFSETS[place], True, _step(place), (0.0,), (_STEP_SD[place],), _WORDS[place])
        for place in (GRAVITY, PH, TEMPERATURE)
    ),
    *(
        Signature(DRIFTS[place], True, _ramp(place), (0.0,), (_RAMP_SD[place],), _WORDS[place])
        for place in (GRAVITY, PH, TEMPERATURE)
    ),
)
