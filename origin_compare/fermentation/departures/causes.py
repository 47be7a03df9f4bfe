"""Causes ranked: the log's own evidence and what stands beside it, each with one next check."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from origin_compare.answers import listed
from origin_compare.fermentation.curves.least_squares import Array
from origin_compare.fermentation.departures.clues import Beside, Scene
from origin_compare.fermentation.departures.signatures import (
    CHILLED,
    CLOCK,
    DRIFTS,
    EARLY_LACTIC,
    FROZEN_GRAVITY,
    FROZEN_TEMP,
    HOT,
    LESS_ACID,
    LESS_FERMENTABLE,
    LIBRARY,
    MORE_ACID,
    OFFSETS,
    OVER_PITCH,
    POOR_YEAST,
    SLOW_LAG,
    STUCK,
    UNCORRECTED,
    WILD,
)
from origin_compare.fermentation.departures.verdict import Cause, Question
from origin_compare.fermentation.doubtful_readings import CHANNEL_WORDS
from origin_compare.fermentation.house.band import outside
from origin_compare.fermentation.house.judging import Judgement, tempered
from origin_compare.fermentation.logs import GRAVITY, TEMPERATURE

SURE_ENOUGH = 0.5
SHOWN = 4
LEAST_SHARE = 0.02
WARMING_LOW, WARMING_HIGH = 0.25, 0.28

NEXT_CHECK: Mapping[str, str] = {
    STUCK: "a bench limit test of this wash with fresh yeast",
    SLOW_LAG: "viability and age of the yeast pitched",
    POOR_YEAST: "viability of the same yeast delivery, and its other batches",
    OVER_PITCH: "the yeast weighed in, against the plan",
    LESS_FERMENTABLE: "a bench limit test of this wort, and mash temperatures of its mashes",
    HOT: "valve and coolant log of the hours before",
    CHILLED: "valve and coolant log: was cooling stuck on?",
    EARLY_LACTIC: "a plate count or microscope slide, and acetic and lactic acid",
    MORE_ACID: "a microscope slide; is this lactic fall one the house wants?",
    LESS_ACID: "a microscope slide: are the usual lactic bacteria there?",
    WILD: "a microscope slide and a nose for phenolic notes; do this vessel's others end low too?",
    CLOCK: "the clock of whoever read, against the yeast-in time",
    UNCORRECTED: "was the hydrometer read warm? Ask who read it",
    FROZEN_GRAVITY: "a hydrometer reading by hand, from a drawn sample",
    FROZEN_TEMP: "a second thermometer in a drawn sample",
    OFFSETS[GRAVITY]: "a hydrometer reading by hand, from a drawn sample",
    OFFSETS[1]: "the pH meter in two fresh buffers",
    OFFSETS[TEMPERATURE]: "a second thermometer in a drawn sample",
    DRIFTS[GRAVITY]: "a hydrometer reading by hand, from a drawn sample",
    DRIFTS[1]: "the pH meter in two fresh buffers",
    DRIFTS[TEMPERATURE]: "a second thermometer in a drawn sample",
}
CHANNEL_OF: Mapping[str, str] = {one.cause: one.channel for one in LIBRARY}
INSTRUMENT: Mapping[str, bool] = {one.cause: one.instrument for one in LIBRARY}


def weights(found: Judgement, known: Beside) -> Array:
    """(causes,): what the sheets add to each cause."""
    return np.array([known.adds(cause) for cause in found.weighed.causes])


QUESTIONS: Mapping[str, tuple[str, ...]] = {
    "Is the reading true?": tuple(one.cause for one in LIBRARY if one.instrument),
    "Could the wort ferment?": (LESS_FERMENTABLE,),
    "Was the yeast live and enough?": (SLOW_LAG, POOR_YEAST, OVER_PITCH, STUCK),
    "Was it temperature?": (HOT, CHILLED),
    "Was it bacteria or wild yeast?": (EARLY_LACTIC, MORE_ACID, LESS_ACID, WILD),
}
"""Asked in this order; every cause of the library stands under one of them."""


def asked(found: Judgement, known: Beside) -> tuple[Question, ...]:
    """The five questions with the weight their causes hold and the clues that bear on them."""
    share = dict(zip(found.weighed.causes, _shares(found, known), strict=True))
    return tuple(
        Question(
            asks,
            float(sum(share[cause] for cause in causes)),
            tuple(
                clue.says
                for clue in known.clues
                if max((abs(clue.adds.get(cause, 0.0)) for cause in causes), default=0.0) >= 1.0
            ),
        )
        for asks, causes in QUESTIONS.items()
    )


def _shares(found: Judgement, known: Beside) -> Array:
    score = tempered(found.weighed) + weights(found, known)
    share = np.exp(score - score.max())
    return np.asarray(share / share.sum(), dtype=np.float64)


def ranked(found: Judgement, known: Beside, scene: Scene) -> tuple[Cause, ...]:
    """The causes that carry weight, heaviest first; their shares are of all causes tried."""
    share = _shares(found, known)
    moved = _moved(scene)
    order = [at for at in np.argsort(-share)[:SHOWN] if share[at] >= LEAST_SHARE]
    out = []
    for at in order:
        cause = found.weighed.causes[at]
        for_it, against = _from_channels(cause, moved, scene)
        out.append(
            Cause(
                cause,
                float(share[at]),
                (*for_it, *known.speak(cause, 1)),
                (*against, *known.speak(cause, -1)),
                tuple(known.missing.get(cause, ())),
                NEXT_CHECK[cause],
            )
        )
    return tuple(out)


def _moved(scene: Scene) -> tuple[str, ...]:
    """The channels with a reading outside the band."""
    out = outside(scene.band, scene.log)["channel"].unique()
    return tuple(name for name in ("sg", "ph", "temp_c") if name in out)


def _from_channels(
    cause: str, moved: tuple[str, ...], scene: Scene
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What the channels together say for and against a cause."""
    if not moved:
        return (), ("no single reading lies outside the band; only their run together does",)
    words = [CHANNEL_WORDS[name] for name in moved]
    alone = len(moved) == 1
    said = f"only {words[0]} left the band" if alone else f"{listed(words)} left the band"
    one_instrument = INSTRUMENT[cause] and cause != CLOCK
    fits = alone if one_instrument else not alone
    if one_instrument and alone and words[0] != CHANNEL_OF[cause]:
        fits = False
    if not INSTRUMENT[cause] and alone and words[0] == CHANNEL_OF[cause]:
        fits = True
    for_it, against = ([said], []) if fits else ([], [said])
    heat = _heat(scene) if "sg" in moved else ""
    if heat:
        agrees = heat.endswith("as heat demands")
        (for_it if agrees != one_instrument else against).append(heat)
    return tuple(for_it), tuple(against)


def _heat(scene: Scene) -> str:
    """Whether temperature follows gravity's own departure: 0.25-0.28 °C per degree fermented."""
    log, model = scene.log, scene.model
    off = log.values - model.expected(log)
    gravity, temp = log.channel == GRAVITY, log.channel == TEMPERATURE
    early = log.hours <= 72
    if (gravity & early).sum() < 4 or (temp & early).sum() < 4:
        return ""
    worst = int(np.argmax(np.where(gravity & early, np.abs(off), -1)))
    degrees, hour = float(off[worst]), float(log.hours[worst])
    if abs(degrees) < 4:
        return ""
    near = temp & (np.abs(log.hours - hour) <= 8)
    if not near.any():
        return ""
    warmer = float(np.mean(off[near]))
    low, high = sorted((-WARMING_LOW * degrees, -WARMING_HIGH * degrees))
    more = "more" if degrees > 0 else "fewer"
    said = (
        f"at {hour:.0f} h {abs(degrees):.0f} degrees {more} than usual were left, which makes the "
        f"wash {low:+.1f} to {high:+.1f} °C before cooling; it stood {warmer:+.1f} °C"
    )
    agrees = np.sign(warmer) == np.sign(low) and abs(warmer) > 0.25 * min(abs(low), abs(high))
    return f"{said}, as heat demands" if agrees else f"{said}, against what heat demands"
