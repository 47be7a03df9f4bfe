"""What moves flavour: process or origin, and what this data cannot tell apart."""

from origin_compare.drivers.ordering import Importance, importance
from origin_compare.drivers.overlap import Separability, separable
from origin_compare.drivers.parting import Partition, hellinger, partition
from origin_compare.drivers.shares import Split, split
from origin_compare.drivers.slopes import Effects, effects
from origin_compare.drivers.wording import PROCESS, Limits

__all__ = [
    "PROCESS",
    "Effects",
    "Importance",
    "Limits",
    "Partition",
    "Separability",
    "Split",
    "effects",
    "hellinger",
    "importance",
    "partition",
    "separable",
    "split",
]
