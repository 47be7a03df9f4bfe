"""Which batches left the house band, between which hours, in what, and why."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from origin_compare.errors import NotEnoughData
from origin_compare.fermentation.band import HouseBand, draw, outside
from origin_compare.fermentation.departure import Departure, Departures
from origin_compare.fermentation.logs import Log, logs
from origin_compare.fermentation.trust import CHANNEL_WORDS, SetAside, set_aside, without
from origin_compare.house import HouseRules
from origin_compare.records.season import Season

_NAN = float("nan")


def departures(
    season: Season, rules: HouseRules, in_style: Sequence[str] | None = None
) -> Departures:
    """The verdict on every batch of the season, in their order.

    `in_style`: batch_ids the house accepts as examples; else they are proposed. With too few
    batches to draw a band every verdict is "cannot tell" and says so.
    """
    readings = season.sheets["readings"]
    aside = set_aside(readings)
    kept = without(readings, aside)
    all_logs = logs(kept, season.batches)
    try:
        band: HouseBand | None = draw(all_logs, kept, season.batches, rules, in_style)
        note = ""
    except NotEnoughData as few:
        band, note = None, str(few)
    found = [
        _verdict(batch, all_logs.get(str(batch["batch_id"])), band, aside, note)
        for batch in season.batches.to_dict("records")
    ]
    return Departures(tuple(found), band, (), note)


def _verdict(
    batch: dict, log: Log | None, band: HouseBand | None, aside: list[SetAside], note: str
) -> Departure:
    name = str(batch["batch_id"])
    running = batch.get("status") == "fermenting"
    vessel = str(batch["vessel"]) if pd.notna(batch.get("vessel")) else ""
    mine = tuple(one for one in aside if one.batch_id == name)
    if band is None or log is None or len(log) < 3:
        why = note if band is None else "too few readings"
        return Departure(name, vessel, "cannot tell", "", _NAN, _NAN, _NAN, (), "cannot tell",
                         running, mine, why)  # fmt: skip
    out = outside(band, log)
    if out.empty:
        status = "still fermenting" if running else "in style"
        return Departure(name, vessel, status, "", _NAN, _NAN, _NAN, (), "", running, mine, "")  # type: ignore[arg-type]
    first = float(out["hours"].iloc[0])
    before = log.times()[log.times() < first]
    last_good = float(before[-1]) if len(before) else 0.0
    channel = CHANNEL_WORDS[str(out["channel"].iloc[0])]
    return Departure(name, vessel, "left", channel, last_good, first, (last_good + first) / 2, (),
                     "cannot tell", running, mine, "")  # fmt: skip
