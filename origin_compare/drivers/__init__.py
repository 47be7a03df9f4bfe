"""What moves flavour: process or origin, and what this data cannot tell apart."""

from origin_compare.drivers.agreement import Agreement, agreement
from origin_compare.drivers.answers_kept import DriverAnswers
from origin_compare.drivers.doubted import Doubted, doubted, pointed_at
from origin_compare.drivers.fixed_hours import FixedHours, fixed_hours
from origin_compare.drivers.foresight import Foresight, foresight
from origin_compare.drivers.growers import Origins, origins
from origin_compare.drivers.opened import Opened, opened
from origin_compare.drivers.ordering import Importance, importance
from origin_compare.drivers.overlap import Separability, separable
from origin_compare.drivers.parting import Partition, hellinger, partition
from origin_compare.drivers.paths import Path, path
from origin_compare.drivers.randomised import Randomised, randomised
from origin_compare.drivers.shares import Split, split
from origin_compare.drivers.slopes import Effects, effects
from origin_compare.drivers.spread import spread
from origin_compare.drivers.traits import FIELD, Traits, traits
from origin_compare.drivers.trial_options import TrialOptions, trial_options
from origin_compare.drivers.trial_power import TrialPower, trial_power
from origin_compare.drivers.trial_sizes import TrialSizes, trial_sizes
from origin_compare.drivers.trials import Choices, Trials, next_trials
from origin_compare.drivers.variance_parts import VarianceParts, variance_parts
from origin_compare.drivers.wording import PROCESS, Limits

__all__ = [
    "FIELD",
    "PROCESS",
    "Agreement",
    "Choices",
    "Doubted",
    "DriverAnswers",
    "Effects",
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
    "TrialOptions",
    "TrialPower",
    "TrialSizes",
    "Trials",
    "VarianceParts",
    "agreement",
    "doubted",
    "effects",
    "fixed_hours",
    "foresight",
    "hellinger",
    "importance",
    "next_trials",
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
    "trial_options",
    "trial_power",
    "trial_sizes",
    "variance_parts",
]
