"""From any figure shown back to the cells it came from."""

from origin_compare.trace.cell_origin import Traced, correct, trace

__all__ = ["Traced", "correct", "trace"]
