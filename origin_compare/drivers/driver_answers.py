"""All questions about one set of batches, each answered when first asked for and then kept."""

from __future__ import annotations

from functools import cached_property

import pandas as pd

from origin_compare.drivers.field_and_handling import FieldAndHandling, field_and_handling_of
from origin_compare.drivers.foresight import Foresight, foresight_of
from origin_compare.drivers.grower_places import Agreement, agreement_of
from origin_compare.drivers.grower_profiles import Origins, origins_of
from origin_compare.drivers.model.study import Study, Tasted
from origin_compare.drivers.overlap.overlap import Separability, separable
from origin_compare.drivers.shares.importance import Importance, importance
from origin_compare.drivers.shares.split import Split, split_of
from origin_compare.drivers.shares.variance_parts import VarianceParts, variance_parts_of
from origin_compare.drivers.slopes.fixed_hours import FixedHours, fixed_hours_of
from origin_compare.drivers.slopes.one_attribute import LongProfile, Opened, opened
from origin_compare.drivers.slopes.paths import Path, path_of
from origin_compare.drivers.slopes.randomised import Randomised, randomised_of
from origin_compare.drivers.slopes.slopes import Effects, effects_of
from origin_compare.drivers.slopes.traits import Traits, traits_of
from origin_compare.drivers.spread import spread_of
from origin_compare.drivers.wording import title
from origin_compare.errors import NotEnoughData


class DriverAnswers:
    """What goes with flavour in these `batches`, some of them left out by hand.

    Batches, columns, scores and panel error are settled once (`study`) and handed to each
    question. A question that the batches cannot answer raises `NotEnoughData`, each for itself.
    """

    def __init__(
        self,
        batches: pd.DataFrame,
        profile: LongProfile,
        leave_out: tuple[str, ...] = (),
        readings: pd.DataFrame | None = None,
    ) -> None:
        """`readings`: the logs (`batch_id, hours, ph, sg`), those not to be trusted taken out."""
        self.tasted = Tasted(batches, profile, leave_out)
        self.profile = profile
        self.readings = readings

    @property
    def study(self) -> Study:
        """The batches asked about, by grower and the usual process variables."""
        return self.tasted.study()

    @cached_property
    def separable(self) -> Separability:
        """What moved together, so that this data cannot tell it apart?"""
        return separable(self.tasted.batches, leave_out=self.tasted.leave_out)

    @cached_property
    def effects(self) -> Effects:
        """Which of length, peak temperature and final pH go with each attribute?"""
        return effects_of(self.study)

    @cached_property
    def field(self) -> FieldAndHandling:
        """What did each field give, and did our handling hide it?"""
        return field_and_handling_of(self.study)

    @cached_property
    def split(self) -> Split:
        """How much goes with origin, how much with process, and how much cannot be told?"""
        return split_of(self.study)

    @cached_property
    def origins(self) -> Origins:
        """Growers side by side, each drawn towards the mean as far as it is uncertain."""
        return origins_of(self.study)

    @cached_property
    def agreement(self) -> Agreement:
        """Do growers keep their place from season to season?"""
        return agreement_of(self.tasted)

    @cached_property
    def lots(self) -> Origins:
        """Lots side by side, each drawn towards the mean as far as it is uncertain."""
        return origins_of(self.tasted.study(origin="lot_id"))

    @cached_property
    def traits(self) -> Traits:
        """Which figures of field and malt go with flavour?"""
        return traits_of(self.tasted)

    @cached_property
    def foresight(self) -> Foresight:
        """Do process and field foretell a grower, or a season, never seen?"""
        return foresight_of(self.tasted)

    @cached_property
    def fixed_hours(self) -> FixedHours:
        """Does pH or gravity at the same hour of every batch go with flavour?"""
        if self.readings is None:
            raise NotEnoughData("No readings were handed over, so no value at a fixed hour.")
        return fixed_hours_of(self.tasted, self.readings)

    @cached_property
    def variance_parts(self) -> VarianceParts:
        """Season, grower, the two together, batch, panel: how far does each set scores apart?"""
        return variance_parts_of(self.tasted)

    @cached_property
    def randomised(self) -> Randomised:
        """What does a randomised trial, where the records state one, show to cause what?"""
        return randomised_of(self.tasted)

    def importance(self, attribute: str) -> Importance:
        """How much of an attribute's variation each of season, grower and process carries."""
        kept = self.effects.kept
        scores = self.profile.wide().loc[kept.rows.index, attribute]
        names = [self.effects.origin, *self.effects.process, *kept.still]
        if kept.rows["season"].nunique() > 1:
            names = ["season", *names]
        table = kept.rows[names].assign(season=kept.rows["season"].astype(str))[names]
        named = table.reset_index(drop=True).rename(columns=title)
        return importance(scores.reset_index(drop=True), named)

    @cached_property
    def spread(self) -> pd.DataFrame:
        """How far like batches still differ, per attribute: what a trial must beat."""
        return spread_of(self.study)

    def opened(self, attribute: str) -> Opened:
        """One attribute, batch by batch."""
        return opened(self.effects, self.profile, attribute)

    def path(self, trait: str, by_way_of: str) -> Path:
        """What goes with a field's trait by way of a process variable?"""
        return path_of(self.tasted.study((trait, by_way_of)))
