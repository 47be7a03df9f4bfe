"""All questions about one set of batches, each answered when first asked for and then kept."""

from __future__ import annotations

from functools import cached_property

import pandas as pd

from origin_compare.drivers.agreement import Agreement, agreement
from origin_compare.drivers.foresight import Foresight, foresight
from origin_compare.drivers.growers import Origins, origins
from origin_compare.drivers.opened import LongProfile, Opened, opened
from origin_compare.drivers.overlap import Separability, separable
from origin_compare.drivers.paths import Path, path
from origin_compare.drivers.shares import Split, split
from origin_compare.drivers.slopes import Effects, effects
from origin_compare.drivers.spread import spread
from origin_compare.drivers.traits import Traits, traits


class DriverAnswers:
    """What goes with flavour in these `batches`, some of them left out by hand.

    A question that the batches cannot answer raises `NotEnoughData`, each for itself.
    """

    def __init__(
        self, batches: pd.DataFrame, profile: LongProfile, leave_out: tuple[str, ...] = ()
    ) -> None:
        self.batches = batches
        self.profile = profile
        self.leave_out = leave_out

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
    def traits(self) -> Traits:
        """Which figures of field and malt go with flavour?"""
        return traits(self.batches, self.profile, leave_out=self.leave_out)

    @cached_property
    def foresight(self) -> Foresight:
        """Do process and field foretell a grower, or a season, never seen?"""
        return foresight(self.batches, self.profile, leave_out=self.leave_out)

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
