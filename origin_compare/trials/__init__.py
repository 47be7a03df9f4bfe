"""The next batches to make: what they should set, and what they would let one see."""

from origin_compare.trials.options import TrialOptions, trial_options
from origin_compare.trials.power import TrialPower, trial_power
from origin_compare.trials.proposal import Choices, Trials, next_trials
from origin_compare.trials.sizes import TrialSizes, trial_sizes

__all__ = [
    "Choices",
    "TrialOptions",
    "TrialPower",
    "TrialSizes",
    "Trials",
    "next_trials",
    "trial_options",
    "trial_power",
    "trial_sizes",
]
