"""Plotly figures drawn from result objects; nothing is computed here."""

from origin_compare.figures.chain import chain, grower_chain
from origin_compare.figures.drivers import effects, overlap, split
from origin_compare.figures.fermentation import batch, departures
from origin_compare.figures.fermentation_ahead import ahead
from origin_compare.figures.fermentation_side_by_side import side_by_side
from origin_compare.figures.field_and_handling import field_and_handling
from origin_compare.figures.intake import intake
from origin_compare.figures.panel import reliability
from origin_compare.figures.profiles import families, groups, grower, likeness, profile, recipe
from origin_compare.figures.season import season_review

__all__ = [
    "ahead",
    "batch",
    "chain",
    "departures",
    "effects",
    "families",
    "field_and_handling",
    "groups",
    "grower",
    "grower_chain",
    "intake",
    "likeness",
    "overlap",
    "profile",
    "recipe",
    "reliability",
    "season_review",
    "side_by_side",
    "split",
]
