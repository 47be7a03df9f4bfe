"""How the season's lots compared, and what can be told to one grower."""

from origin_compare.harvest.grower import GrowerLetter, grower_letter
from origin_compare.harvest.joined import batches_with_measures, season_table
from origin_compare.harvest.review import SeasonReview, season_review

__all__ = [
    "GrowerLetter",
    "SeasonReview",
    "batches_with_measures",
    "grower_letter",
    "season_review",
    "season_table",
]
