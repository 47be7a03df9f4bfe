"""What moves flavour: process or origin, and what this data cannot tell apart."""

from origin_compare.drivers.doubted_batches import Doubted, doubted, pointed_at
from origin_compare.drivers.driver_answers import DriverAnswers
from origin_compare.drivers.field_and_handling import (
    FieldAndHandling,
    FieldOfBatch,
    FieldOfGrower,
    field_and_handling,
)
from origin_compare.drivers.foresight import Foresight, foresight
from origin_compare.drivers.grower_places import Agreement, agreement
from origin_compare.drivers.grower_profiles import Origins, origins
from origin_compare.drivers.overlap.overlap import Separability, separable
from origin_compare.drivers.shares.importance import Importance, importance
from origin_compare.drivers.shares.partition import Partition, hellinger, partition
from origin_compare.drivers.shares.split import Split, split
from origin_compare.drivers.shares.variance_parts import VarianceParts, variance_parts
from origin_compare.drivers.slopes.fixed_hours import FixedHours, fixed_hours
from origin_compare.drivers.slopes.one_attribute import Opened, opened
from origin_compare.drivers.slopes.paths import Path, path
from origin_compare.drivers.slopes.randomised import Randomised, randomised
from origin_compare.drivers.slopes.slopes import Effects, effects
from origin_compare.drivers.slopes.traits import FIELD, Traits, traits
from origin_compare.drivers.spread import spread
from origin_compare.drivers.wording import PROCESS, Limits

__all__ = [
    "FIELD",
    "PROCESS",
    "Agreement",
    "Doubted",
    "DriverAnswers",
    "Effects",
    "FieldAndHandling",
    "FieldOfBatch",
    "FieldOfGrower",
    "FixedHours",
    "Foresight",
    "Importance",
    "Limits",
    "Opened",
    "Origins",
    "Partition",
    "Path",
    "Randomised",
    "Separability",
    "Split",
    "Traits",
    "VarianceParts",
    "agreement",
    "doubted",
    "effects",
    "field_and_handling",
    "fixed_hours",
    "foresight",
    "hellinger",
    "importance",
    "opened",
    "origins",
    "partition",
    "path",
    "pointed_at",
    "randomised",
    "separable",
    "split",
    "spread",
    "traits",
    "variance_parts",
]
