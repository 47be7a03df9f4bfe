"""What is said of a batch: in style or not, from when, in what, and why, as frozen results."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.errors import UnknownName
from origin_compare.fermentation.departures.exits import Exit, narrows, order
from origin_compare.fermentation.doubtful_readings import SetAside
from origin_compare.fermentation.house.band import HouseBand

Status = Literal["in style", "left", "cannot tell", "still fermenting"]


@dataclass(frozen=True, slots=True)
class Cause:
    """One possible cause: `share` of the weight of evidence (all causes add to 1), what speaks
    for and against it, what is missing, and the one next check."""

    name: str
    share: float
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    missing: tuple[str, ...]
    next_check: str


@dataclass(frozen=True, slots=True)
class Question:
    """One of the questions asked in order; `share` of the weight of evidence its causes hold, and
    what was `found` on it."""

    asks: str
    share: float
    found: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Departure:
    """The verdict on one batch.

    `from_h`: the last hour still good; `to_h`: the first hour clearly not; `likely_h`: the
    likeliest hour between; NaN when in style. `channel`: where it shows first. `causes` ranked;
    `named` is the first cause's name or "cannot tell". `running`: still fermenting.
    `questions`: the five asked in order (is the reading true, could the wort ferment, was the
    yeast live and enough, temperature, bacteria). `exits`: when each channel left the band.
    """

    batch_id: str
    vessel: str
    status: Status
    channel: str
    from_h: float
    to_h: float
    likely_h: float
    causes: tuple[Cause, ...]
    named: str
    running: bool
    aside: tuple[SetAside, ...]
    note: str
    questions: tuple[Question, ...] = ()
    exits: tuple[Exit, ...] = ()

    def order(self) -> str:
        """Which channel left the band first, where the readings resolve it."""
        return order(self.exits)

    def narrows(self) -> str:
        """The reading that would have placed the hour more closely, if any."""
        return narrows(self.from_h, self.to_h, self.running)

    def sentence(self) -> str:
        if self.status == "cannot tell" and not self.causes:
            return f"{self.batch_id}: cannot tell; {self.note}."
        if self.status in ("in style", "still fermenting"):
            so_far = " so far (still fermenting)" if self.running else ""
            aside = f"; {count(len(self.aside), 'reading')} set aside" if self.aside else ""
            return f"{self.batch_id} is in style{so_far}{aside}."
        why = "the cause cannot be told from this log"
        if self.named != "cannot tell":
            why = f"most likely {self.named}"
        when = (
            f"between {self.from_h:.0f} and {self.to_h:.0f} h "
            f"(most likely about {self.likely_h:.0f} h)"
        )
        if self.likely_h == 0:  # the readings until then lie inside the band
            when = f"by {self.to_h:.0f} h, by something at work since the pitch"
        return f"{self.batch_id} left the house band {when}, first in {self.channel}: {why}."


@dataclass(frozen=True)
class Departures:
    """All batches of a season; `band` is what they were held against, None if none can be drawn.

    `bands` by batch, where batches are held against their like only; `shared` what several
    batches have in common, in words; `hour_zero` what hours count from.
    """

    found: tuple[Departure, ...]
    band: HouseBand | None
    bands: Mapping[str, HouseBand]
    shared: tuple[str, ...]
    note: str
    hour_zero: str = "yeast in"

    def __iter__(self) -> Iterator[Departure]:
        return iter(self.found)

    def of(self, batch_id: str) -> Departure:
        """The verdict on one batch; `UnknownName` if there is none."""
        for one in self.found:
            if one.batch_id == batch_id:
                return one
        raise UnknownName(f"There is no batch {batch_id}. Choose one of the season's batches.")

    def sentence(self) -> str:
        if self.band is None:
            return f"Whether batches left the house style cannot be told: {self.note}"
        left = [one.batch_id for one in self.found if one.status == "left"]
        running = sum(one.running for one in self.found)
        said = (
            f"{count(len(left), 'batch')} of {len(self.found)} left the house band"
            + (f": {listed(left)}" if left else "")
            + (f"; {count(running, 'batch')} still fermenting" if running else "")
        )
        return f"{said}."

    def table(self) -> pd.DataFrame:
        """One row per batch: batch_id, vessel, status, running, channel, from_h, to_h, likely_h,
        cause, causes (ranked, in words), next_check, set_aside (count), says."""
        return pd.DataFrame(
            [
                {
                    "batch_id": one.batch_id,
                    "vessel": one.vessel,
                    "status": one.status,
                    "running": one.running,
                    "channel": one.channel,
                    "from_h": one.from_h,
                    "to_h": one.to_h,
                    "likely_h": one.likely_h,
                    "cause": one.named,
                    "causes": "; ".join(
                        f"{cause.name} ({100 * cause.share:.0f} %)" for cause in one.causes[:3]
                    ),
                    "next_check": one.causes[0].next_check if one.causes else "",
                    "set_aside": len(one.aside),
                    "says": one.sentence(),
                }
                for one in self.found
            ],
            columns=[
                "batch_id",
                "vessel",
                "status",
                "running",
                "channel",
                "from_h",
                "to_h",
                "likely_h",
                "cause",
                "causes",
                "next_check",
                "set_aside",
                "says",
            ],
        )

    def rests_on(self) -> str:
        said = self.band.rests_on() if self.band is not None else self.note
        return "; ".join([said, *self.shared])
