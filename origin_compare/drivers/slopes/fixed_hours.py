"""pH and gravity at the same hour of every batch: their final values depend on when it ended."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.drivers.model.study import Study, Tasted
from origin_compare.drivers.model.usable_batches import Kept, ProfileLike, numbers_of
from origin_compare.drivers.verdicts import CLEAR, TIED, judged
from origin_compare.drivers.wording import STILL, USUAL, Limits, plain, signed, step, title
from origin_compare.errors import NotEnoughData

HOURS = (24, 48, 72, 96)
APART_H = 16.0
"""Readings further apart than two of the usual eight hours leave the value between them unknown."""
LEAST_KNOWN = 0.9
BESIDE = ("length_h", "peak_temp_c")
"""What is allowed for beside the value at an hour."""


@dataclass(frozen=True)
class FixedHours:
    """One row per value, hour and attribute (`slopes`): `column` (`ph_72h`), `hour`, `slope, low,
    high` in score points per `step`, length and peak temperature allowed for; `p`, `q` over all
    that were tested, `verdict`, `with_length` (correlation of the value with the length) and `n`
    batches. `not_used`: values known for fewer than nine batches in ten.
    """

    slopes: pd.DataFrame
    not_used: tuple[str, ...]
    tested: int
    kept: Kept

    def table(self) -> pd.DataFrame:
        """One row per value, hour and attribute."""
        return self.slopes.copy()

    def of(self, attribute: str) -> pd.DataFrame:
        """The values at fixed hours beside one attribute."""
        return self.slopes[self.slopes["attribute"] == attribute].reset_index(drop=True)

    def sentence(self) -> str:
        """What goes with a value at a fixed hour, and whether that can be told from length."""
        clear = self.slopes[self.slopes["verdict"] == CLEAR].sort_values("q")
        told = [
            f"{row['attribute']} goes with {title(row['column'])} ({signed(row['slope'])} per "
            f"{row['step']}, {plain(row['low'])} to {plain(row['high'])})"
            for row in clear.to_dict("records")
        ]
        tied = self.slopes.loc[self.slopes["verdict"] == TIED, "column"].unique()
        found = (
            f"{listed(told)[:1].upper()}{listed(told)[1:]}."
            if told
            else "No value at a fixed hour clearly goes with any flavour."
        )
        if len(tied):
            found += f" Cannot be told apart: {listed([title(name) for name in tied])}."
        return found

    def rests_on(self) -> str:
        """How the values come about, and what was tested."""
        absent = (
            f" Known for too few batches: {listed([title(name) for name in self.not_used])}."
            if self.not_used
            else ""
        )
        return (
            f"{self.kept.words()} Values read between neighbouring readings at most "
            f"{APART_H:.0f} h apart; season, grower, length and peak temperature allowed for, one "
            f"value at a time; {count(self.tested, 'slope')} tested together (false-discovery "
            f"bound).{absent}"
        )


def at_hours(readings: pd.DataFrame, hours: Sequence[int] = HOURS) -> pd.DataFrame:
    """One row per batch (index `batch_id`): `ph_24h`, `sg_24h` and so on for each of `hours`.

    `readings`: `batch_id, hours, ph, sg`, those not to be trusted taken out. Straight lines between
    neighbouring readings; missing before the first, after the last, and in a gap over 16 h.
    """
    rows = {}
    for batch, log in readings.dropna(subset=["hours"]).groupby("batch_id"):
        rows[str(batch)] = {
            f"{name}_{hour}h": value
            for name in ("ph", "sg")
            for hour, value in zip(hours, _at(log, name, hours), strict=True)
        }
    columns = [f"{name}_{hour}h" for name in ("ph", "sg") for hour in hours]
    return pd.DataFrame.from_dict(rows, orient="index", columns=columns).rename_axis("batch_id")


def _at(log: pd.DataFrame, name: str, hours: Sequence[int]) -> list[float]:
    read = log.loc[log[name].notna(), ["hours", name]].astype(float).groupby("hours")[name].mean()
    at, values = read.index.to_numpy(dtype=float), read.to_numpy()
    found = []
    for hour in hours:
        after = int(np.searchsorted(at, hour))
        if after < len(at) and at[after] == hour:
            found.append(float(values[after]))
        elif 0 < after < len(at) and at[after] - at[after - 1] <= APART_H:
            found.append(float(np.interp(hour, at, values)))
        else:
            found.append(np.nan)
    return found


def fixed_hours(
    batches: pd.DataFrame,
    profile: ProfileLike,
    readings: pd.DataFrame,
    hours: Sequence[int] = HOURS,
    origin: str = "grower_id",
    *,
    still: Iterable[str] = STILL,
    leave_out: Iterable[str] = (),
    limits: Limits = USUAL,
) -> FixedHours:
    """Slope of every attribute on pH and on gravity at each of `hours`, one value at a time.

    The model of `effects` with the value in place of final pH. Raises NotEnoughData where no value
    is known at any hour for nine ended batches in ten.
    """
    tasted = Tasted(batches, profile, tuple(leave_out), limits)
    return fixed_hours_of(tasted, readings, hours, origin, still=still)


def fixed_hours_of(
    tasted: Tasted,
    readings: pd.DataFrame,
    hours: Sequence[int] = HOURS,
    origin: str = "grower_id",
    *,
    still: Iterable[str] = STILL,
) -> FixedHours:
    """`fixed_hours` of batches already settled."""
    values = at_hours(readings, hours)
    own = tasted.batches.drop(columns=[name for name in values if name in tasted.batches])
    joined = tasted.over(own.join(values, on="batch_id"))
    known = joined.ended()
    used = [str(name) for name in values if known[name].notna().mean() >= LEAST_KNOWN]
    studies = dict(_studies(joined, used, origin, tuple(still)))
    if not studies:
        raise NotEnoughData(
            "pH and gravity are not known at any fixed hour for nine batches in ten. Read each "
            "batch at least every 16 h."
        )
    table = pd.concat([_slopes(study, name) for name, study in studies.items()], ignore_index=True)
    told = table["attribute"].isin(list(tasted.profile.told))
    table = judged(table, told, table["tied"], tasted.limits).drop(columns="tied")
    unused = tuple(str(name) for name in values if name not in studies)
    kept = next(iter(studies.values())).kept
    return FixedHours(table, unused, int(table["q"].notna().sum()), kept)


def _studies(
    tasted: Tasted, used: list[str], origin: str, still: tuple[str, ...]
) -> Iterator[tuple[str, Study]]:
    """Each value whose slope the batches bear, with its study."""
    beside = [name for name in BESIDE if name in tasted.batches]
    for name in used:
        study = tasted.study([name, *beside], origin, still=still)
        if len(study.rows) < len(beside) + 5:
            continue
        if name in study.layout.place and len(study.rows) >= study.layout.least:
            yield name, study


def _slopes(study: Study, name: str) -> pd.DataFrame:
    found = study.fit().estimates(study.layout.place[name])
    return pd.DataFrame(
        {
            "column": name,
            "hour": int(name.split("_")[1].removesuffix("h")),
            "attribute": list(study.names),
            **found.columns("slope"),
            "step": step(name)[1],
            "p": found.p,
            "tied": name in study.tied,
            "with_length": _with_length(study.kept, name),
            "n": len(study.rows),
        }
    )


def _with_length(kept: Kept, name: str) -> float:
    if "length_h" not in kept.rows:
        return np.nan
    value, length = numbers_of(kept.rows, [name, "length_h"]).T
    return float(np.corrcoef(np.stack([value, length]))[0, 1])
