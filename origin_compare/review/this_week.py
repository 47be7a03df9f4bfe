"""What the season calls for: vessels, batches that need a word, readings and tastings due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from origin_compare.answers import count, listed
from origin_compare.review.needs_a_word import NeedsAWord, needs_a_word
from origin_compare.review.season_review import season_review

if TYPE_CHECKING:
    from origin_compare.drivers import Separability
    from origin_compare.fermentation import Departures, Watch
    from origin_compare.fermentation.watch import Vessel
    from origin_compare.house import HouseRules
    from origin_compare.panel import Profile
    from origin_compare.panel.tastings.due import Due
    from origin_compare.review.season_review import SeasonReview

RUNNING_COLUMNS = ["batch_id", "vessel", "so_far_h", "gravity", "pH", "temp_c", "next_due"]


@dataclass(frozen=True)
class ThisWeek:
    """One harvest as it stands, and every batch still fermenting whatever its harvest.

    `harvest`: the year looked at, None where no sheet names one; `running`: the vessels with a
    batch in them; `words`: the one list of batches that need a word; `tastings`: what waits to be
    tasted; `watch`: what the vessels' readings say; `latest_at`: the latest reading on record, from
    which everything due is counted (NaT without readings).
    """

    harvest: int | None
    running: tuple[Vessel, ...]
    words: NeedsAWord
    tastings: Due
    review: SeasonReview
    watch: Watch
    latest_at: pd.Timestamp

    def sentence(self) -> str:
        return " ".join([self._vessels(), self.words.sentence(), self._tastings()])

    def table(self) -> pd.DataFrame:
        """One row per batch that needs a word (`needs_a_word.COLUMNS`)."""
        return self.words.table()

    def vessels(self) -> pd.DataFrame:
        """One row per running batch, `RUNNING_COLUMNS`; `next_due` by the site's clock."""
        rows = [
            (one.batch_id, one.vessel, one.so_far_h, one.sg, one.ph, one.temp_c, one.due_at)
            for one in self.running
        ]
        return pd.DataFrame(rows, columns=RUNNING_COLUMNS)

    def readings_due(self) -> tuple[tuple[str, str], ...]:
        """Each running batch whose next reading has a time, the earliest first, with that said."""
        due = sorted(
            (one for one in self.running if pd.notna(one.due_at)), key=lambda one: one.due_at
        )
        late = {item.batch_id for item in self.watch.items if item.kind == "overdue"}
        return tuple(
            (one.batch_id, f"{_where(one)}: overdue, read it now")
            if one.batch_id in late
            else (one.batch_id, f"{_where(one)} by {one.due_at:%a %d %b, %H:%M}")
            for one in due
        )

    def rests_on(self) -> str:
        batches = count(len(self.review.batches), "batch")
        said = f"{batches} {self.of_harvest()} and every batch still fermenting. "
        if pd.isna(self.latest_at):
            return f"{said}No reading on record carries a time, so nothing is called overdue."
        zone = self.latest_at.tz
        return (
            f"{said}What is due counts from the latest reading on record, "
            f"{self.latest_at:%a %d %b %Y, %H:%M} ({zone}), not from the clock on the wall."
        )

    def of_harvest(self) -> str:
        """`of harvest 2025`; `on record` where no sheet names a harvest."""
        return "on record" if self.harvest is None else f"of harvest {self.harvest}"

    def _vessels(self) -> str:
        if not self.running:
            return "Nothing is fermenting."
        names = listed([_where(one) for one in self.running], 4)
        verb = "is" if len(self.running) == 1 else "are"
        return f"{count(len(self.running), 'batch')} {verb} fermenting ({names})."

    def _tastings(self) -> str:
        if self.tastings.batches.empty:
            return "Nothing has been distilled yet."
        return self.tastings.sentence()


def _where(one: Vessel) -> str:
    return f"{one.batch_id} in {one.vessel}" if one.vessel else one.batch_id


def in_four_sentences(
    review: SeasonReview, profile: Profile | None, tied: Separability | None
) -> tuple[tuple[str, str], ...]:
    """The season in four sentences, each with the page that tells more.

    `profile`: None where nothing was tasted; `tied`: None where too few batches can be compared.
    """
    tasted = "Nothing was tasted yet." if profile is None else profile.sentence()
    told = tied.sentences() if tied is not None else ["There are too few batches to compare."]
    apart = told[0] if told else "No two things moved together: this data can tell them apart."
    yields = review.yields() or "There are too few spirit yields to compare."
    return (
        ("season", review.kept()),
        ("season", yields),
        ("panel", tasted),
        ("trials" if told and tied is not None else "drivers", apart),
    )


def latest_harvest(batches: pd.DataFrame, years: Sequence[int]) -> int | None:
    """The harvest of the batch pitched last; the latest on record where no batch names one, None
    where no sheet does."""
    dated = batches.dropna(subset=["season", "pitched_at"])
    if dated.empty:
        return max(years, default=None)
    return int(dated.sort_values("pitched_at", kind="stable")["season"].iloc[-1])


def this_week(
    batches: pd.DataFrame,
    rules: HouseRules,
    found: Departures,
    seen: Watch,
    waiting: Due,
    harvest: int | None,
) -> ThisWeek:
    """The harvest as it stands.

    `batches`: every batch on record with its measures (`review.batches_with_measures`), so that
    the house's normal range rests on all of them; `found`, `seen` likewise of all; `waiting`:
    what of this harvest is to be tasted. Batches of another harvest count only while they ferment.
    """
    now = batches["status"].eq("fermenting") | batches["season"].isna()
    now |= True if harvest is None else batches["season"].eq(harvest).fillna(False)
    review = season_review(batches[now].reset_index(drop=True), rules)
    return ThisWeek(
        harvest,
        seen.running,
        needs_a_word(review, found, seen),
        waiting,
        review,
        seen,
        seen.latest_at,
    )
