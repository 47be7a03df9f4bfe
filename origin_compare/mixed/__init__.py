"""The mixed-model engine: restricted likelihood, crossed and nested groups, many responses."""

from origin_compare.mixed.mixed_fit import MixedFit, fit

__all__ = ["MixedFit", "fit"]
