"""The batches that need a word: one list, from the house windows and from how they fermented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from origin_compare import words
from origin_compare.answers import count, listed

if TYPE_CHECKING:
    from pandas.api.typing import NaTType

    from origin_compare.fermentation import Departure, Departures, Watch
    from origin_compare.house import HouseRules
    from origin_compare.review.season_review import SeasonReview

COLUMNS = ["batch_id", "vessel", "from_h", "to_h", "by_the_clock", "why", "next_check", "running"]
_MOMENT = "%a %d %b %H:%M"
_HOUR, _DAY_AND_HOUR = "%H:%M", "%a %H:%M"
_LOOK = "the figure in its sheet, then the batch"


@dataclass(frozen=True, slots=True)
class NeedsWord:
    """One batch and why somebody should look at it.

    `from_h`, `to_h`: the hours between which it began, NaN where no hour can be named; `from_at`,
    `to_at`: the same by the site's clock, NaT likewise. `why` in words, the weightiest reason
    first; `next_check`: the one next step. `running`: still fermenting; `growers` of its barley.
    """

    batch_id: str
    vessel: str
    from_h: float
    to_h: float
    from_at: pd.Timestamp | NaTType
    to_at: pd.Timestamp | NaTType
    why: str
    next_check: str
    running: bool
    growers: tuple[str, ...] = ()

    def hours(self) -> str:
        """The hours between which it began, `17 to 22 h`; "" if none can be named."""
        return "" if pd.isna(self.from_h) else f"{self.from_h:.0f} to {self.to_h:.0f} h"

    def clock(self) -> str:
        """The same by the clock, `Tue 18 Nov 07:00 to 12:00`; "" if it cannot be told."""
        if pd.isna(self.from_at):
            return ""
        same_day = self.from_at.date() == self.to_at.date()
        last = f"{self.to_at:{_HOUR if same_day else _DAY_AND_HOUR}}"
        return f"{self.from_at:{_MOMENT}} to {last}"


@dataclass(frozen=True, slots=True)
class NeedsAWord:
    """`words`: one for every batch that needs one, running batches first, then the latest pitched.

    `batches`: how many were looked at; `note`: why no fermentation could be judged, if so.
    """

    words: tuple[NeedsWord, ...]
    batches: int
    note: str = ""

    def sentence(self) -> str:
        """How many and which."""
        looked_at = count(self.batches, "batch")
        if not self.words:
            return f"None of {looked_at} needs a word."
        verb = "needs" if len(self.words) == 1 else "need"
        names = listed([one.batch_id for one in self.words])
        return f"{len(self.words)} of {looked_at} {verb} a word: {names}."

    def table(self) -> pd.DataFrame:
        """One row per batch, `COLUMNS`."""
        rows = [
            (
                *(one.batch_id, one.vessel, one.from_h, one.to_h, one.clock()),
                *(one.why, one.next_check, one.running),
            )
            for one in self.words
        ]
        return pd.DataFrame(rows, columns=COLUMNS)

    def rests_on(self) -> str:
        how = self.note or "Fermentations are held against the house's normal range."
        return f"Figures are held against the house windows, see Rules. {how}"


def needs_a_word(
    review: SeasonReview, departures: Departures, seen: Watch | None = None
) -> NeedsAWord:
    """Every batch with a figure outside a window or a fermentation outside the normal range.

    `review` sets the batches that are asked about; `seen` adds what a running batch's own readings
    call for.
    """
    flags = {str(name): mine for name, mine in review.outside.groupby("batch_id")}
    asked_of: dict[str, list[tuple[str, str]]] = {}
    for item in seen.items if seen is not None else ():
        asked_of.setdefault(item.batch_id, []).append((item.kind, item.do))
    rows = review.batches
    if "pitched_at" in rows:
        rows = rows.sort_values("pitched_at", ascending=False, na_position="last", kind="stable")
    needing = []
    for batch in rows.to_dict("records"):
        name = str(batch["batch_id"])
        one = departures.of(name)
        outside = _outside(flags.get(name), review.rules, brief=one.status == "left")
        why, check = _reasons(one, outside, asked_of.get(name, []))
        if why:
            needing.append(_word(one, batch, why, check, review.rules.time_zone))
    in_order = sorted(needing, key=lambda word: not word.running)
    return NeedsAWord(tuple(in_order), len(review.batches), departures.note)


def _reasons(one: Departure, outside: str, watched: list[tuple[str, str]]) -> tuple[str, str]:
    """Why, weightiest first, and the next step the weightiest reason calls for."""
    reasons: list[tuple[str, str]] = []
    if one.status == "left":
        check = one.causes[0].next_check if one.causes else "read again, by hand"
        reasons.append((_cause(one), check))
    reasons += [(_WATCHED[kind], do) for kind, do in watched if kind in _WATCHED]
    if outside:
        reasons.append((outside, _LOOK))
    return "; ".join(why for why, _ in reasons), reasons[0][1] if reasons else ""


_WATCHED = {
    "overdue": "a reading is overdue",
    "outside": "the newest reading lies outside the normal range",
    "chance": "fewer than half of such batches end in style",
    "set aside": "a reading was set aside",
}
"""What the watch says of a running batch, in a few words; what left is said by its cause."""


def _cause(one: Departure) -> str:
    if one.named == "cannot tell" or not one.causes:
        likely = " or ".join(cause.name for cause in one.causes[:2])
        return f"the cause cannot be told{likely and f'; perhaps {likely}'}"
    return f"most likely {one.named} ({_percent(one.causes[0].share)})"


def _percent(share: float) -> str:
    """A share nobody should read as certainty."""
    return "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def _outside(flags: pd.DataFrame | None, rules: HouseRules, *, brief: bool) -> str:
    """One figure outside its window in full, several by name; by number where a cause is said."""
    if flags is None:
        return ""
    if len(flags) > 1:
        number = f"{len(flags)} figures outside their windows"
        return number if brief else f"{number}: {listed(list(flags['says']), 2)}"
    one = flags.iloc[0]
    places = words.decimals(one["measure"])
    value = f"{one['value']:.4g}" if places is None else f"{one['value']:.{places}f}"
    return f"{one['says']} {value} (window: {rules.windows[one['measure']].words()})"


def _word(one: Departure, batch: Mapping, why: str, check: str, time_zone: str) -> NeedsWord:
    zero = batch.get("hour_zero_at", batch.get("pitched_at"))
    local = pd.NaT if pd.isna(zero) else pd.Timestamp(zero).tz_convert(time_zone)
    known = one.status == "left"
    from_at, to_at = (
        local + pd.Timedelta(hours=hour) if known else pd.NaT for hour in (one.from_h, one.to_h)
    )
    hours = (one.from_h, one.to_h) if known else (float("nan"), float("nan"))
    said = batch.get("growers")
    growers = tuple(str(said).split(", ")) if pd.notna(said) and str(said) else ()
    return NeedsWord(
        one.batch_id, one.vessel, *hours, from_at, to_at, why, check, one.running, growers
    )
