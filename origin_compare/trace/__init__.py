"""From any figure shown back to the cells it came from."""

from origin_compare.trace.cell_origin import Traced, trace
from origin_compare.trace.correction import correct

__all__ = ["Traced", "correct", "trace"]
