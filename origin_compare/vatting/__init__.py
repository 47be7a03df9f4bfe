"""Which volumes of which batches come nearest to a wanted profile."""

from origin_compare.vatting.recipes import FIRST_GUESS, Recipe, Recipes, recipes

__all__ = ["FIRST_GUESS", "Recipe", "Recipes", "recipes"]
