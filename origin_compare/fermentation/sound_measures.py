"""Figures of a batch that its own departure says not to trust, taken out of the derived measures.

`derived` reads what was written down, and a probe that drifts writes down a false peak. Once the
departures are known, what an instrument in doubt (or a reading set aside) stands behind is emptied,
with the cause beside it.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.fermentation.departures.causes import CHANNEL_OF, INSTRUMENT, SURE_ENOUGH
from origin_compare.fermentation.departures.signatures import CLOCK
from origin_compare.fermentation.departures.verdict import Departure, Departures
from origin_compare.fermentation.derived import LABELS, Derived
from origin_compare.fermentation.doubtful_readings import CHANNEL_WORDS

_ONE_READING = {
    "gravity": (
        "final_sg",
        "apparent_attenuation_pct",
        "real_attenuation_pct",
        "wash_abv_calc_pct",
        "co2_kg",
    ),
    "pH": ("final_ph",),
    "temperature": ("peak_temp_c", "peak_temp_h", "h_above_window"),
}
"""By channel: the columns of `Derived` that one reading decides."""
_FIGURES = {
    "gravity": (
        *_ONE_READING["gravity"],
        "lag_h",
        "lag_se_h",
        "max_rate_deg_h",
        "hour_90_pct",
        "level_h",
        "secondary_h",
    ),
    "pH": (*_ONE_READING["pH"], "after_yeast_ph", "lactic_from_h", "lactic_from_se_h"),
    "temperature": _ONE_READING["temperature"],
    "clock": (
        "lag_h",
        "hour_90_pct",
        "level_h",
        "secondary_h",
        "lactic_from_h",
        "peak_temp_h",
    ),
}
"""By what is in doubt: the columns read off it."""
_HOUR_OF = {"gravity": "final_sg_h", "pH": "final_ph_h", "temperature": "peak_temp_h"}
"""The hour of that one reading."""


@dataclass(frozen=True)
class Trusted:
    """`frame`: the table of `Derived` with what is not trusted emptied and a column `not_trusted`
    that says which figures and why ("" for none). `untrusted`: batch_id, figure, recorded (the
    value taken out), cause, says."""

    frame: pd.DataFrame
    untrusted: pd.DataFrame

    def table(self) -> pd.DataFrame:
        """One row per batch, as `Derived.table`, and `not_trusted`."""
        return self.frame

    def sentence(self) -> str:
        if self.untrusted.empty:
            return "No figure is in doubt for what was read."
        batches = self.untrusted.groupby("batch_id", sort=False)["says"].first()
        return " ".join(batches)

    def rests_on(self) -> str:
        given = count(self.untrusted["batch_id"].nunique(), "batch")
        return f"{count(len(self.frame), 'batch')}, {given} with figures not trusted"


def trusted(derived: Derived, verdicts: Departures) -> Trusted:
    """The derived measures without those an instrument in doubt stands behind.

    An instrument is in doubt when faults of it carry half the evidence of a batch that left the
    band; a temperature recorded highest before the probe went off is kept.
    """
    rows: list[tuple[str, str, float, str, str]] = []
    kept: list[dict[Hashable, object]] = []
    for row in derived.table().to_dict("records"):
        batch_id = str(row["batch_id"])
        causes = _causes(row, verdicts.of(batch_id))
        taken = [(name, float(row[name]), why) for name, why in causes.items()]
        taken = [one for one in taken if np.isfinite(one[1])]
        says = _says(batch_id, taken) if taken else ""
        rows += [(batch_id, *one, says) for one in taken]
        emptied: dict[Hashable, object] = {name: float("nan") for name, *_ in taken}
        kept.append({**row, **emptied, "not_trusted": says})
    frame = pd.DataFrame(kept, columns=[*derived.table().columns, "not_trusted"])
    columns = ["batch_id", "figure", "recorded", "cause", "says"]
    return Trusted(frame, pd.DataFrame(rows, columns=columns))


def _causes(row: Mapping[Hashable, Any], verdict: Departure) -> dict[str, str]:
    """By column of `Derived` not trusted: why."""
    out: dict[str, str] = {}
    for channel, hour in _HOUR_OF.items():
        for one in verdict.aside:
            if CHANNEL_WORDS[one.channel] == channel and one.hours == row[hour]:
                out |= dict.fromkeys(_ONE_READING[channel], f"the reading is set aside: {one.why}")
    for channel, cause in _in_doubt(verdict).items():
        for name in _FIGURES[channel]:
            if channel != "temperature" or not row["peak_temp_h"] < verdict.from_h:
                out[name] = cause
    return out


def _in_doubt(verdict: Departure) -> dict[str, str]:
    """What was read in doubt (a channel, or `clock`): the likeliest cause."""
    if verdict.status != "left":
        return {}
    share: dict[str, float] = {}
    named: dict[str, str] = {}
    for cause in verdict.causes:
        if INSTRUMENT[cause.name]:
            what = "clock" if cause.name == CLOCK else CHANNEL_OF[cause.name]
            share[what] = share.get(what, 0.0) + cause.share
            named.setdefault(what, cause.name)
    return {what: named[what] for what, weight in share.items() if weight >= SURE_ENOUGH}


def _says(batch_id: str, taken: list[tuple[str, float, str]]) -> str:
    told = [LABELS[name].partition(",")[0] for name, *_ in taken if name in LABELS]
    told = [one.partition(" (")[0] for one in told]
    verb = "is" if len(told) == 1 else "are"
    why = listed(list(dict.fromkeys(why for *_, why in taken)))
    return f"{batch_id}: {listed(told)} {verb} not trusted ({why})."
