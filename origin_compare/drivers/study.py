"""All questions about one set of batches, each answered when first asked for and then kept."""

from __future__ import annotations

from functools import cached_property

import pandas as pd

from origin_compare.drivers.foresight import Foresight, foresight
from origin_compare.drivers.grower_places import Agreement, agreement
from origin_compare.drivers.grower_profiles import Origins, origins
from origin_compare.drivers.overlap.overlap import Separability, separable
from origin_compare.drivers.shares.importance import Importance, importance
from origin_compare.drivers.shares.split import Split, split
from origin_compare.drivers.shares.variance_parts import VarianceParts, variance_parts
from origin_compare.drivers.slopes.fixed_hours import FixedHours, fixed_hours
from origin_compare.drivers.slopes.one_attribute import LongProfile, Opened, opened
from origin_compare.drivers.slopes.paths import Path, path
from origin_compare.drivers.slopes.randomised import Randomised, randomised
from origin_compare.drivers.slopes.slopes import Effects, effects
from origin_compare.drivers.slopes.traits import Traits, traits
from origin_compare.drivers.spread import spread
from origin_compare.drivers.wording import title
from origin_compare.errors import NotEnoughData


class DriverAnswers:
    """What goes with flavour in these `batches`, some of them left out by hand.

    A question that the batches cannot answer raises `NotEnoughData`, each for itself.
    """

    def __init__(
        self,
        batches: pd.DataFrame,
        profile: LongProfile,
        leave_out: tuple[str, ...] = (),
        readings: pd.DataFrame | None = None,
    ) -> None:
        """`readings`: the logs (`batch_id, hours, ph, sg`), those not to be trusted taken out."""
        self.batches = batches
        self.profile = profile
        self.leave_out = leave_out
        self.readings = readings

    @cached_property
    def separable(self) -> Separability:
        """What moved together, so that this data cannot tell it apart?"""
        return separable(self.batches, leave_out=self.leave_out)

    @cached_property
    def effects(self) -> Effects:
        """Which of length, peak temperature and final pH go with each attribute?"""
        return effects(self.batches, self.profile, leave_out=self.leave_out)

    @cached_property
    def split(self) -> Split:
        """How much goes with origin, how much with process, and how much cannot be told?"""
        return split(self.batches, self.profile, leave_out=self.leave_out)

    @cached_property
    def origins(self) -> Origins:
        """Growers side by side, each drawn towards the mean as far as it is uncertain."""
        return origins(self.batches, self.profile, leave_out=self.leave_out)

    @cached_property
    def agreement(self) -> Agreement:
        """Do growers keep their place from season to season?"""
        return agreement(self.batches, self.profile, leave_out=self.leave_out)

    @cached_property
    def lots(self) -> Origins:
        """Lots side by side, each drawn towards the mean as far as it is uncertain."""
        return origins(self.batches, self.profile, origin="lot_id", leave_out=self.leave_out)

    @cached_property
    def traits(self) -> Traits:
        """Which figures of field and malt go with flavour?"""
        return traits(self.batches, self.profile, leave_out=self.leave_out)

    @cached_property
    def foresight(self) -> Foresight:
        """Do process and field foretell a grower, or a season, never seen?"""
        return foresight(self.batches, self.profile, leave_out=self.leave_out)

    @cached_property
    def fixed_hours(self) -> FixedHours:
        """Does pH or gravity at the same hour of every batch go with flavour?"""
        if self.readings is None:
            raise NotEnoughData("No readings were handed over, so no value at a fixed hour.")
        return fixed_hours(self.batches, self.profile, self.readings, leave_out=self.leave_out)

    @cached_property
    def variance_parts(self) -> VarianceParts:
        """Season, grower, the two together, batch, panel: how far does each set scores apart?"""
        return variance_parts(self.batches, self.profile, leave_out=self.leave_out)

    @cached_property
    def randomised(self) -> Randomised:
        """What does a randomised trial, where the records state one, show to cause what?"""
        return randomised(self.batches, self.profile, leave_out=self.leave_out)

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
        return spread(self.batches, self.profile, leave_out=self.leave_out)

    def opened(self, attribute: str) -> Opened:
        """One attribute, batch by batch."""
        return opened(self.effects, self.profile, attribute)

    def path(self, trait: str, by_way_of: str) -> Path:
        """What goes with a field's trait by way of a process variable?"""
        return path(self.batches, self.profile, trait, by_way_of, leave_out=self.leave_out)
