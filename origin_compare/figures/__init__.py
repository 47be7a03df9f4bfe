"""Plotly figures drawn from result objects; nothing is computed here."""

from origin_compare.figures.profiles import families, grower, groups, likeness, profile, recipe
from origin_compare.figures.season import season_review

__all__ = ["families", "grower", "groups", "likeness", "profile", "recipe", "season_review"]
