"""Joins lots, malt, fermentations and panel scores, and says honestly what each field gave."""

__version__ = "0.1.0"
