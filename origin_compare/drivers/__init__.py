"""What moves flavour: process or origin, and what this data cannot tell apart."""

from origin_compare.drivers.foresight import Foresight, foresight
from origin_compare.drivers.growers import Origins, origins
from origin_compare.drivers.ordering import Importance, importance
from origin_compare.drivers.overlap import Separability, separable
from origin_compare.drivers.parting import Partition, hellinger, partition
from origin_compare.drivers.paths import Path, path
from origin_compare.drivers.shares import Split, split
from origin_compare.drivers.slopes import Effects, effects
from origin_compare.drivers.trials import Trials, next_trials
from origin_compare.drivers.wording import PROCESS, Limits

__all__ = [
    "PROCESS",
    "Effects",
    "Foresight",
    "Importance",
    "Limits",
    "Origins",
    "Partition",
    "Path",
    "Separability",
    "Split",
    "Trials",
    "effects",
    "foresight",
    "hellinger",
    "importance",
    "next_trials",
    "origins",
    "partition",
    "path",
    "separable",
    "split",
]
