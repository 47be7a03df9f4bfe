"""The season as a whole: how its lots compared, and its table from field to flavour."""

from origin_compare.review.needs_a_word import NeedsAWord, needs_a_word
from origin_compare.review.season_review import SeasonReview, season_review
from origin_compare.review.season_table import batches_with_measures, season_table

__all__ = [
    "NeedsAWord",
    "SeasonReview",
    "batches_with_measures",
    "needs_a_word",
    "season_review",
    "season_table",
]
