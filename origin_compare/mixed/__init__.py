"""The mixed-model engine: restricted likelihood, crossed and nested groups, many responses."""

from origin_compare.mixed.result import MixedFit, fit

__all__ = ["MixedFit", "fit"]
