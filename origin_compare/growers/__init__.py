"""What can honestly be told to one grower."""

from origin_compare.growers.grower_letter import GrowerLetter, grower_letter

__all__ = ["GrowerLetter", "grower_letter"]
