"""Which batches are alike, and how sure that is."""

from origin_compare.families.find import Families, find
from origin_compare.families.likeness import Likeness, nearest

__all__ = ["Families", "Likeness", "find", "nearest"]
