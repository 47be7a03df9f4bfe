"""The questions people ask of a season, one call each; what one answer needs of another is kept.

asked = origin_compare.ask(origin_compare.load_folder("sheets"))
print(asked.split.sentence())
asked.effects.table()
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import pandas as pd

from origin_compare.errors import NotEnoughData
from origin_compare.recent import Recent
from origin_compare.season.season import Season

if TYPE_CHECKING:
    from origin_compare.chain.steps import ChainView, GrowerChain
    from origin_compare.drivers import (
        Doubted,
        DriverAnswers,
        Effects,
        FieldAndHandling,
        FieldOfBatch,
        FieldOfGrower,
        Separability,
        Split,
    )
    from origin_compare.families import Families, Likeness
    from origin_compare.fermentation import (
        BatchReview,
        Comparison,
        Departures,
        Derived,
        Judged,
        Trusted,
        Uncorrected,
        Watch,
    )
    from origin_compare.growers import GrowerLetter
    from origin_compare.panel import Drift, Performance, Profile
    from origin_compare.review import NeedsAWord, SeasonReview, ThisWeek
    from origin_compare.vatting import Recipes


class Questions:
    """A season and what was asked of it. Answers are computed when first asked for, then kept.

    Every answer has `sentence()`, `table()` and `rests_on()`. A question the data cannot answer
    raises `NotEnoughData`, which says what is missing.
    """

    def __init__(self, season: Season, in_style: Sequence[str] | None = None) -> None:
        self.season = season
        self.in_style = in_style
        self._accepting: Recent[Questions] = Recent()
        self._opened: Recent[BatchReview] = Recent()
        self._drivers: Recent[DriverAnswers] = Recent()

    @cached_property
    def derived(self) -> Derived:
        """Length, peak, attenuation, yield and the like, one row per batch."""
        from origin_compare import fermentation

        return fermentation.derived(self.season)

    @cached_property
    def trusted(self) -> Trusted:
        """The same without figures an instrument in doubt stands behind. Needs the departures."""
        from origin_compare import fermentation

        return fermentation.trusted(self.derived, self.departures)

    @cached_property
    def uncorrected(self) -> Uncorrected:
        """Does a vessel's or a shift's gravity look read warm and not corrected?"""
        from origin_compare import fermentation

        return fermentation.uncorrected(self.season, self.judged)

    @cached_property
    def batches(self) -> pd.DataFrame:
        """One row per batch: the chain joined, derived measures beside it."""
        from origin_compare.review import batches_with_measures

        return batches_with_measures(self.season, self.derived)

    @cached_property
    def review(self) -> SeasonReview:
        """How did the season's lots compare?"""
        from origin_compare.review import season_review

        return season_review(self.batches, self.season.rules)

    def this_week(self, harvest: int | None = None) -> ThisWeek:
        """What does this harvest's stage call for? None: everything on record."""
        from origin_compare.panel.tastings.due import due
        from origin_compare.review import this_week

        rows = self.season.batches
        waiting = due(rows if harvest is None else rows[rows["season"].eq(harvest)])
        return this_week(
            self.batches, self.season.rules, self.departures, self.watch, waiting, harvest
        )

    @cached_property
    def needs_a_word(self) -> NeedsAWord:
        """Which batches need a word, by their figures or by how they fermented?"""
        from origin_compare.review import needs_a_word

        return needs_a_word(self.review, self.departures)

    @cached_property
    def departures(self) -> Departures:
        """Which batches left the house band, at what hour, and why?"""
        from origin_compare import fermentation

        return fermentation.departures(self.season, self.in_style, self.judged_if_possible())

    @cached_property
    def judged(self) -> Judged:
        """The house settled on its examples and every log weighed against it, once."""
        from origin_compare import fermentation

        return fermentation.judge_season(self.season, self.in_style)

    def accepting(self, batch_ids: Sequence[str]) -> Questions:
        """The same season held against a house band of these batches; with none, as proposed."""
        key = tuple(sorted(set(batch_ids)))
        if not key:
            return self
        return self._accepting.get(key, lambda: Questions(self.season, key))

    @cached_property
    def watch(self) -> Watch:
        """Where does every vessel stand, where are the running ones heading, what to watch?"""
        from origin_compare import fermentation

        return fermentation.watch(self.season, self.departures, self.judged_if_possible())

    def batch(self, batch_id: str) -> BatchReview:
        """One batch's channels, band and events."""
        from origin_compare import fermentation

        return self._opened.get(
            batch_id, lambda: fermentation.review(self.season, batch_id, self.departures)
        )

    def side_by_side(
        self, batch_ids: Sequence[str], by: Literal["hours", "attenuation"] = "hours"
    ) -> Comparison:
        """How did these batches run beside one another?"""
        from origin_compare import fermentation

        return fermentation.side_by_side(self.season, batch_ids, self.departures, by)

    @property
    def scales(self) -> Mapping[str, tuple[float, float]] | None:
        """How the house pools tasting scales; None where it says nothing or has only one."""
        several = self.season.sheets["scores"]["scale"].nunique(dropna=False) > 1
        return self.season.rules.scales or None if several else None

    @cached_property
    def profile(self) -> Profile:
        """What does the panel say of each batch, and how sure is that?"""
        from origin_compare import panel

        return panel.adjusted(self._scores(), self.scales)

    @cached_property
    def performance(self) -> Performance:
        """How well do the panel and each assessor tell batches apart?"""
        from origin_compare import panel

        return panel.assess(self._scores(), self.scales, self.profile)

    @cached_property
    def drift(self) -> Drift:
        """Does the panel, or an assessor, drift from tasting to tasting?"""
        from origin_compare import panel

        return panel.drift(self._scores(), self.scales)

    def drivers(self, leave_out: Sequence[str] = ()) -> DriverAnswers:
        """What goes with flavour, with some batches left out by hand if any are named."""
        from origin_compare.drivers import DriverAnswers

        key = tuple(sorted(set(leave_out)))
        return self._drivers.get(
            key,
            lambda: DriverAnswers(self.batches, self.profile, key, self._sound_readings()),
        )

    def _sound_readings(self) -> pd.DataFrame:
        from origin_compare.fermentation.doubtful_readings import without

        return without(self.season.sheets["readings"], list(self.derived.aside))

    @cached_property
    def separable(self) -> Separability:
        """What moved together, so that this data cannot tell it apart? Needs no tasting."""
        from origin_compare import drivers

        return drivers.separable(self.batches)

    @property
    def effects(self) -> Effects:
        """Which of length, peak temperature and final pH go with each attribute?"""
        return self.drivers().effects

    @property
    def fields(self) -> FieldAndHandling:
        """What did each field give, and did our handling hide it?"""
        return self.drivers().field

    def field(self, batch_id: str) -> FieldOfBatch:
        """What did this batch's field give, and did our handling hide it?"""
        return self.fields.of(batch_id)

    def field_of_grower(self, grower_id: str) -> FieldOfGrower:
        """What stays with this grower's barley over all its batches?"""
        return self.fields.of_grower(grower_id)

    @property
    def split(self) -> Split:
        """How much goes with origin, how much with process, and how much cannot be told?"""
        return self.drivers().split

    @cached_property
    def doubted(self) -> Doubted:
        """Which batches left the house band by a fault of reading?"""
        from origin_compare import drivers

        return drivers.doubted(self.departures)

    @property
    def departures_known(self) -> bool:
        """Whether every log was already held against the house band."""
        return "departures" in self.__dict__

    @cached_property
    def families(self) -> Families:
        """Which batches are alike, if there are families at all?"""
        from origin_compare import families

        return families.find(self.profile, seed=20)

    def nearest(self, batch_id: str, margin: float = 1.0) -> Likeness:
        """Which batches are nearest to this one, and how sure is that?"""
        from origin_compare import families

        return families.nearest(self.profile, batch_id, margin=margin)

    def recipes(
        self,
        target: pd.Series,
        lpa: float | None = None,
        most_batches: int = 4,
        must_hold: Sequence[str] = (),
    ) -> Recipes:
        """Which volumes of which batches come nearest to this profile?"""
        from origin_compare import vatting

        return vatting.recipes(
            self.profile, self.season.batches, target, lpa, most_batches, must_hold=must_hold
        )

    def grower(self, grower_id: str, year: int) -> GrowerLetter:
        """What can we honestly tell this grower?"""
        from origin_compare.growers import grower_letter

        profile = self.profile_if_tasted()
        return grower_letter(self.season, self.batches, profile, grower_id, year, self.departures)

    def chain(self, batch_id: str) -> ChainView:
        """Which grain is in this batch?"""
        from origin_compare.chain.steps import chain_of

        return chain_of(self.season, batch_id)

    def grower_chain(self, grower_id: str) -> GrowerChain:
        """What became of this grower's barley?"""
        from origin_compare.chain.steps import grower_chain

        return grower_chain(self.season, grower_id)

    @cached_property
    def table(self) -> pd.DataFrame:
        """The season table: chain, derived measures and panel profile, one row per batch."""
        from origin_compare.review import season_table

        return season_table(self.season, self.derived, self.profile_if_tasted())

    def profile_if_tasted(self) -> Profile | None:
        """The panel profile, or None when there is nothing to make one from."""
        try:
            return self.profile
        except NotEnoughData:
            return None

    def judged_if_possible(self) -> Judged | None:
        """The season judged, or None with too few batches in style to draw a house band."""
        try:
            return self.judged
        except NotEnoughData:
            return None

    def _scores(self) -> pd.DataFrame:
        scores = self.season.sheets["scores"]
        if scores.empty:
            raise NotEnoughData(
                "Nothing was tasted in these harvests yet. Take in a tasting sheet first."
            )
        return scores


def ask(season: Season) -> Questions:
    """The questions one can ask of a season."""
    return Questions(season)
