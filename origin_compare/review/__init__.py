"""The season as a whole: how its lots compared, and its table from field to flavour."""

from origin_compare.review.needs_a_word import NeedsAWord, needs_a_word
from origin_compare.review.season_review import SeasonReview, season_review
from origin_compare.review.season_table import batches_with_measures, season_table
from origin_compare.review.this_week import ThisWeek, in_four_sentences, latest_harvest, this_week

__all__ = [
    "NeedsAWord",
    "SeasonReview",
    "ThisWeek",
    "batches_with_measures",
    "in_four_sentences",
    "latest_harvest",
    "needs_a_word",
    "season_review",
    "season_table",
    "this_week",
]
