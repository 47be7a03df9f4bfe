"""Which batches left the house band, between which hours, in what, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
import pandas as pd

from origin_compare.answers import listed
from origin_compare.errors import NotEnoughData
from origin_compare.fermentation.departures.causes import (
    CHANNEL_OF,
    SURE_ENOUGH,
    asked,
    ranked,
    weights,
)
from origin_compare.fermentation.departures.clues import Scene, beside
from origin_compare.fermentation.departures.exits import exits
from origin_compare.fermentation.departures.signatures import LIBRARY, POOR_YEAST, SLOW_LAG
from origin_compare.fermentation.departures.uncorrected import uncorrected
from origin_compare.fermentation.departures.verdict import Departure, Departures, Status
from origin_compare.fermentation.doubtful_readings import (
    CHANNEL_WORDS,
    SetAside,
    swaps,
)
from origin_compare.fermentation.house.band import HouseBand, outside
from origin_compare.fermentation.house.judging import Judgement, onset_interval
from origin_compare.fermentation.house.season_house import Judged, judge_season
from origin_compare.fermentation.logs import GRAVITY, MODELLED, Log, hour_zero
from origin_compare.house import HouseRules
from origin_compare.season.season import Season

_NAN = float("nan")
FROM_PITCH = frozenset(one.cause for one in LIBRARY if not one.onsets)
SAME_HOURS = 12.0


def departures(
    season: Season,
    in_style: Sequence[str] | None = None,
    judged: Judged | None = None,
) -> Departures:
    """The verdict on every batch of the season, in their order.

    `in_style`: batch_ids the house accepts as examples; else they are proposed and shown in
    `band.reference`. With fewer than eight such batches every verdict is "cannot tell" and says
    so. A batch still fermenting is judged on what it has so far. `judged` may hand over the
    result of `judge_season` for the same readings, to save it being worked out again.
    """
    try:
        judged = judged or judge_season(season, in_style)
    except NotEnoughData as few:
        found = [_untold(batch, str(few)) for batch in season.batches.to_dict("records")]
        return Departures(tuple(found), None, {}, (), str(few), hour_zero(season.batches))
    rows = season.batches.to_dict("records")
    onsets = _first_onsets(rows, judged)
    found = [_verdict(batch, season, judged, rows, onsets) for batch in rows]
    bands = {name: judged.band_of(name) for name in judged.kind}
    said = (f"each held against its own {judged.split}",) if judged.split else ()
    warm = uncorrected(season, judged).named()
    shared = (*said, *_shared(found, rows), *warm)
    return Departures(tuple(found), judged.band, bands, shared, "", hour_zero(season.batches))


def _first_onsets(rows: list[dict], judged: Judged) -> dict[str, tuple[str, float]]:
    """By batch that left: the cause its log alone puts first, and the hour."""
    out = {}
    for batch in rows:
        name = str(batch["batch_id"])
        found = judged.found.get(name)
        if found is not None and found.left:
            best = found.weighed.causes[int(np.argmax(found.weighed.evidence))]
            nothing = np.zeros(len(found.weighed.causes))
            hour = onset_interval(found.weighed, nothing, found.log.times())[2]
            out[name] = (best, 0.0 if best in FROM_PITCH else hour)
    return out


def _verdict(
    batch: dict,
    season: Season,
    judged: Judged,
    rows: list[dict],
    onsets: Mapping[str, tuple[str, float]],
) -> Departure:
    name = str(batch["batch_id"])
    found = judged.found.get(name)
    if found is None:
        return _untold(batch, "too few readings")
    aside = (
        *(one for one in judged.aside if one.batch_id == name),
        *_named_aside(name, found, season.sheets["readings"]),
    )
    running, vessel = batch.get("status") == "fermenting", _vessel(batch)
    if not found.left:
        status: Status = "still fermenting" if running else "in style"
        return Departure(name, vessel, status, "", _NAN, _NAN, _NAN, (), "", running, aside, "")
    readings = season.sheets["readings"]
    mine = readings.loc[readings["batch_id"].astype(str) == name].sort_values("hours")
    scene = _scene(batch, mine, judged, season.rules, rows, onsets)
    known = beside(scene)
    causes = ranked(found, known, scene)
    first = causes[0].name if causes else ""
    sure = bool(causes) and causes[0].share >= SURE_ENOUGH and not found.by_surprise
    interval = _interval(found, weights(found, known), first, judged.band_of(name))
    channel = CHANNEL_OF[first] if sure else _first_channel(judged.band_of(name), found.log, first)
    note = "" if sure else "the causes listed fit about equally well"
    return Departure(
        name,
        vessel,
        "left",
        channel,
        *interval,
        causes,
        first if sure else "cannot tell",
        running,
        aside,
        note,
        asked(found, known),
        exits(judged.band_of(name), found.log),
    )


def _interval(
    found: Judgement, added: np.ndarray, first: str, band: HouseBand
) -> tuple[float, float, float]:
    times = found.log.times()
    if first not in FROM_PITCH:
        return onset_interval(found.weighed, added, times)
    # there from the pitch: good until then, seen by the first reading that lies outside
    out = outside(band, found.log)
    seen = float(out["hours"].iloc[0]) if len(out) else float(times[-1])
    return 0.0, max(seen, float(times[times > 0][0]) if (times > 0).any() else 0.0), 0.0


def _scene(
    batch: dict,
    mine: pd.DataFrame,
    judged: Judged,
    rules: HouseRules,
    rows: list[dict],
    onsets: Mapping[str, tuple[str, float]],
) -> Scene:
    name = str(batch["batch_id"])
    delivery = batch.get("delivery_id")
    sisters = [
        str(row["batch_id"])
        for row in rows
        if pd.notna(delivery) and row.get("delivery_id") == delivery and row["batch_id"] != name
    ]
    slow = [one for one in sisters if onsets.get(one, ("", 0))[0] in (SLOW_LAG, POOR_YEAST)]
    hour = onsets[name][1]
    begun = _hour_zero(batch) + pd.Timedelta(hours=hour)
    near = [
        str(row["batch_id"])
        for row in rows
        if str(row["batch_id"]) in onsets
        and str(row["batch_id"]) != name
        and _vessel(row) != _vessel(batch)
        and abs(_hours_apart(row, onsets[str(row["batch_id"])][1], begun)) <= SAME_HOURS
    ]
    found = judged.found[name]
    model, band = judged.house_of(name).model.leaving_out(name), judged.band_of(name)
    return Scene(
        batch, found.log, mine, model, band, rules, tuple(slow), tuple(sisters), tuple(near), hour
    )


def _hours_apart(row: dict, hour: float, begun: pd.Timestamp) -> float:
    own = _hour_zero(row) + pd.Timedelta(hours=hour)
    return (own - begun).total_seconds() / 3600


def _hour_zero(batch: Mapping) -> pd.Timestamp:
    return pd.Timestamp(batch.get("hour_zero_at", batch["pitched_at"]))


def _first_channel(band: HouseBand, log: Log, first: str) -> str:
    out = outside(band, log)
    if len(out):
        return CHANNEL_WORDS[str(out["channel"].iloc[0])]
    return CHANNEL_OF.get(first, "")


def _named_aside(name: str, found: Judgement, readings: pd.DataFrame) -> list[SetAside]:
    out = []
    for row, channel, hour, expected in found.aside:
        column = MODELLED[channel]
        value = float(readings[column].to_numpy(float)[readings.index.get_loc(row)])
        out.append(SetAside(row, name, hour, column, value, _why(channel, value, expected)))
    return out


def _why(channel: int, value: float, expected: float) -> str:
    word = CHANNEL_WORDS[MODELLED[channel]]
    if channel != GRAVITY:
        return f"{word} {value:g} does not go with the rest of the log, which says {expected:.1f}"
    degrees = round((value - 1) * 1000)
    fits = [one for one in swaps(degrees) if abs(one - expected) <= 3]
    more = f"; two digits may be swapped, 1.{fits[0]:03d} would fit" if fits else ""
    return (
        f"{word} {value:g} does not go with the rest of the log, which says about "
        f"{1 + expected / 1000:.3f}{more}"
    )


def _shared(found: Sequence[Departure], rows: list[dict]) -> tuple[str, ...]:
    """Departures in different vessels within the same hours of the clock."""
    left = [
        (_hour_zero(row) + pd.Timedelta(hours=one.likely_h), one)
        for one, row in zip(found, rows, strict=True)
        if one.status == "left" and one.likely_h > 0
    ]
    left.sort(key=lambda pair: pair[0])
    said = []
    for (at, one), (after, other) in pairwise(left):
        if (after - at).total_seconds() / 3600 <= SAME_HOURS and one.vessel != other.vessel:
            both = listed(sorted([one.batch_id, other.batch_id]))
            said.append(
                f"{both} departed within {SAME_HOURS:.0f} h of "
                "one another in different vessels: look for a shared utility or clock"
            )
    return tuple(said)


def _vessel(batch: dict) -> str:
    return str(batch["vessel"]) if pd.notna(batch.get("vessel")) else ""


def _untold(batch: dict, why: str) -> Departure:
    running = batch.get("status") == "fermenting"
    return Departure(
        str(batch["batch_id"]),
        _vessel(batch),
        "cannot tell",
        "",
        _NAN,
        _NAN,
        _NAN,
        (),
        "cannot tell",
        running,
        (),
        why,
    )
