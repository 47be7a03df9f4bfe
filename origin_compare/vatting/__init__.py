"""Which volumes of which batches come nearest to a wanted profile."""

from origin_compare.vatting.recipe import Recipe
from origin_compare.vatting.recipes import FIRST_GUESS, NextPart, Recipes, recipes
from origin_compare.vatting.water import Mixed, mixed

__all__ = ["FIRST_GUESS", "Mixed", "NextPart", "Recipe", "Recipes", "mixed", "recipes"]
